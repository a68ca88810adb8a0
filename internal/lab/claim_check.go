package lab

import (
	"context"
	"errors"
	"fmt"

	"fairpull/evidence"
	"fairpull/internal/store"
)

// checkClaims holds the seals of all claims against the list of keys and the record,
// and adds what is wrong to what the doctor saw.
func (w *Workspace) checkClaims(ctx context.Context, r *DoctorReport) error {
	claims, err := w.store.Claims(ctx)
	if err != nil || len(claims) == 0 {
		return err
	}
	broken := func(what, format string, args ...any) {
		r.Problems = append(r.Problems, store.Problem{What: what, Message: fmt.Sprintf(format, args...)})
	}
	ring, _, err := w.keyring(ctx)
	if err != nil && !errors.Is(err, ErrNoKeys) {
		broken("list of keys", "%v", err)
		return nil
	}
	for _, one := range claims {
		c, err := w.store.Claim(ctx, one.Number)
		if err != nil {
			return err
		}
		if _, err := decodeClaim(c.Body); err != nil {
			broken("claim "+c.Number, "%v", err)
		}
		if len(c.Seal) == 0 {
			continue
		}
		if err := w.checkSeal(ctx, c.Seal, ring); err != nil {
			broken("seal of claim "+c.Number, "%v", err)
		}
	}
	return nil
}

// checkSeal reports whether a seal holds and its checkpoint is one of the record.
func (w *Workspace) checkSeal(ctx context.Context, text []byte, ring *evidence.Keyring) error {
	seal, err := evidence.ParseSeal(text)
	if err != nil {
		return err
	}
	// A key that was compromised since is a matter for who uses the claim, not damage.
	if failed := seal.Verify(evidence.Trust{}).Of(evidence.Failed); len(failed) > 0 {
		return errors.New(failed[0].What)
	}
	if ring == nil || !seal.Keys.Begins(ring) {
		return errors.New("its list of keys is not the beginning of the workspace's")
	}
	if seal.Receipt == nil {
		return nil
	}
	record, err := evidence.OpenRecord(recordName(ring), w.store.Record(Author{}))
	if err != nil {
		return err
	}
	head, _, err := evidence.ParseCheckpoint([]byte(seal.Receipt.Checkpoint), recordKeys(ring)...)
	if err != nil {
		return err
	}
	now, err := record.HeadAt(ctx, head.Size)
	if err != nil {
		return err
	}
	if now != head {
		return fmt.Errorf("the record of %d leaves has the root %s, and the seal's checkpoint states %s", head.Size, now.Root, head.Root)
	}
	return nil
}
