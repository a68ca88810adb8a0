package lab

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"slices"
	"strings"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/report"
)

// checkpointName says what a file that a checkpoint is taken from may be.
const checkpointName = "a checkpoint, or a dossier that has one"

// openOwnRecord returns the lab's record and its list of keys.
func (w *Workspace) openOwnRecord(ctx context.Context) (*evidence.Record, *evidence.Keyring, error) {
	ring, _, err := w.keyring(ctx)
	if err != nil {
		return nil, nil, err
	}
	name := recordName(ring)
	if name == "" {
		return nil, nil, declined("the lab has no record yet: fairpull key new record.key --for record --name lab.example/record --keeper keeper.key")
	}
	record, err := evidence.OpenRecord(name, w.store.Record(Author{}))
	return record, ring, err
}

// RecordView returns the lab's record as it stands, with its latest checkpoint.
func (w *Workspace) RecordView(ctx context.Context) (*report.Record, error) {
	record, ring, err := w.openOwnRecord(ctx)
	if err != nil {
		return nil, err
	}
	head, err := record.Head(ctx)
	if err != nil {
		return nil, err
	}
	view := &report.Record{Name: record.Origin(), Leaves: head.Size, Root: head.Root.String(), Founder: ring.Founder().String()}
	view.Checkpoint, view.Signed, err = w.latestCheckpoint(ctx, ring)
	return view, err
}

// latestCheckpoint returns the largest checkpoint that a published claim brought, and
// how many leaves it is of; empty and 0: there is none.
func (w *Workspace) latestCheckpoint(ctx context.Context, ring *evidence.Keyring) (string, int64, error) {
	claims, err := w.store.Claims(ctx)
	if err != nil {
		return "", 0, err
	}
	text, size := "", int64(0)
	for _, one := range claims {
		if !slices.ContainsFunc(one.Events, func(e campaign.ClaimEvent) bool { return e.State == campaign.ClaimPublished }) {
			continue
		}
		kept, err := w.store.Claim(ctx, one.Number)
		if err != nil {
			return "", 0, err
		}
		seal, err := evidence.ParseSeal(kept.Seal)
		if err != nil {
			return "", 0, fmt.Errorf("claim %s: %w", one.Number, err)
		}
		if seal.Receipt == nil {
			continue
		}
		head, _, err := evidence.ParseCheckpoint([]byte(seal.Receipt.Checkpoint), recordKeys(ring)...)
		if err != nil {
			return "", 0, fmt.Errorf("claim %s: %w", one.Number, err)
		}
		if head.Size > size {
			text, size = seal.Receipt.Checkpoint, head.Size
		}
	}
	return text, size, nil
}

// recordKeys are the keys that sign checkpoints, or have.
func recordKeys(ring *evidence.Keyring) []evidence.PublicKey {
	var keys []evidence.PublicKey
	for _, s := range ring.Keys() {
		if s.Purpose == evidence.ForRecord {
			keys = append(keys, s.Key)
		}
	}
	return keys
}

// Checkpoint returns a checkpoint of the record: as it stands, signed by the key of a
// file; or where none is named the latest that a published claim brought.
func (w *Workspace) Checkpoint(ctx context.Context, file KeyFile) ([]byte, error) {
	var key *evidence.PrivateKey
	if file.Path != "" {
		var err error
		if key, err = openKey(file); err != nil {
			return nil, err
		}
	}
	return w.checkpoint(ctx, key)
}

func (w *Workspace) checkpoint(ctx context.Context, key *evidence.PrivateKey) ([]byte, error) {
	_, ring, err := w.openOwnRecord(ctx)
	if err != nil {
		return nil, err
	}
	if key != nil {
		record, err := w.openRecord(ring, key, Author{})
		if err != nil {
			return nil, err
		}
		return record.Checkpoint(ctx, key)
	}
	text, size, err := w.latestCheckpoint(ctx, ring)
	if err == nil && size == 0 {
		err = declined("no claim is published, so that nobody has signed a checkpoint of the record: name its key with --key record.key")
	}
	return []byte(text), err
}

// ProveGrowth returns the proof that the record at a checkpoint begins with what it was
// at an earlier one, which is read from a file: [evidence.Growth] as JSON. The later one
// is that of Checkpoint.
func (w *Workspace) ProveGrowth(ctx context.Context, since string, file KeyFile) ([]byte, error) {
	old, err := readCheckpoint(since)
	if err != nil {
		return nil, err
	}
	later, err := w.Checkpoint(ctx, file)
	if err != nil {
		return nil, err
	}
	return w.proveGrowth(ctx, old, string(later))
}

func (w *Workspace) proveGrowth(ctx context.Context, earlier, later string) ([]byte, error) {
	record, ring, err := w.openOwnRecord(ctx)
	if err != nil {
		return nil, err
	}
	var heads [2]evidence.Head
	for i, text := range []string{earlier, later} {
		if heads[i], _, err = evidence.ParseCheckpoint([]byte(text), recordKeys(ring)...); err != nil {
			return nil, err
		}
	}
	if heads[0].Size > heads[1].Size {
		return nil, declined("the checkpoint of %d leaves is later than the latest that is signed, of %d: have the record signed as it stands with --key record.key", heads[0].Size, heads[1].Size)
	}
	for _, h := range heads {
		now, err := record.HeadAt(ctx, h.Size)
		if err != nil {
			return nil, err
		}
		if now != h {
			return nil, fmt.Errorf("the record of %d leaves has the root %s, and the checkpoint states %s: it is not this record's, or the record was changed", h.Size, now.Root, h.Root)
		}
	}
	proof, err := record.ProveConsistency(ctx, heads[1].Size, heads[0].Size)
	if err != nil {
		return nil, err
	}
	return (&evidence.Growth{Earlier: earlier, Later: later, Proof: proof, Keys: ring}).Encode()
}

// readCheckpoint reads a checkpoint from its file, or takes it out of a dossier. It is
// not verified yet.
func readCheckpoint(place string) (string, error) {
	info, err := os.Stat(place)
	if err != nil {
		return "", fmt.Errorf("there is no file %s: it is %s", place, checkpointName)
	}
	if info.IsDir() || strings.HasSuffix(strings.ToLower(place), ".zip") {
		bag, err := evidence.OpenBag(place)
		if err != nil {
			return "", fmt.Errorf("%s: %w", place, err)
		}
		data, _ := bag.Data(evidence.SealName)
		seal, err := evidence.ParseSeal(data)
		if err != nil {
			return "", fmt.Errorf("%s: %w", place, err)
		}
		if seal.Receipt == nil {
			return "", declined("%s: its claim is not published, so it has no checkpoint", place)
		}
		return seal.Receipt.Checkpoint, nil
	}
	text, err := readBounded(place, 64<<10)
	if err != nil {
		return "", err
	}
	if bytes.Count(text, []byte("\n")) < 4 {
		return "", fmt.Errorf("%s is no %s", place, checkpointName)
	}
	return string(text), nil
}

// maxGrowth bounds a proof that a record only grew, in bytes.
const maxGrowth = 16 << 20

// IsGrowth reports whether a file is a proof that a record only grew, and no dossier.
func IsGrowth(place string) bool {
	info, err := os.Stat(place)
	if err != nil || !info.Mode().IsRegular() || strings.HasSuffix(strings.ToLower(place), ".zip") {
		return false
	}
	file, err := os.Open(place)
	if err != nil {
		return false
	}
	defer file.Close()
	var first [1]byte
	n, _ := file.Read(first[:])
	return n == 1 && first[0] == '{'
}

// VerifyGrowth verifies, offline and without a workspace, that a record at a later
// checkpoint begins with what it was at an earlier one. Since names the checkpoint that
// whoever verifies kept, or a dossier that has it; empty: none.
func VerifyGrowth(place, since string, t DossierTrust) (*report.Verification, error) {
	trust, err := t.read()
	if err != nil {
		return nil, err
	}
	kept := ""
	if since != "" {
		if kept, err = readCheckpoint(since); err != nil {
			return nil, err
		}
	}
	data, err := readBounded(place, maxGrowth)
	if err != nil {
		return nil, err
	}
	v := &verification{Verification: report.Verification{Dossier: place}}
	g, err := evidence.ParseGrowth(data)
	if err != nil {
		v.failed("record", place, "%v", err)
		return v.done(), nil
	}
	for _, f := range g.Verify(trust, kept) {
		v.add(f.Outcome.String(), f.Part, f.Where, "%s", f.What)
	}
	return v.done(), nil
}
