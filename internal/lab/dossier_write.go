package lab

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/internal/store"
)

// DossierWritten says what was written.
type DossierWritten struct {
	Place string
	Files int
	State campaign.ClaimState
	Why   string // of an amended or withdrawn claim
	// Founder is the fingerprint of the first key of the lab's list, which whoever
	// verifies compares.
	Founder string
}

// WriteDossier writes the dossier of a signed claim, as one zip file where the place
// ends in .zip, else as a folder; an empty place is claim-NUMBER.zip. What is there
// already is left alone. The same claim in the same state gives the same bytes.
func (w *Workspace) WriteDossier(ctx context.Context, number, place string) (DossierWritten, error) {
	out := DossierWritten{Place: place}
	bag, kept, err := w.dossier(ctx, number)
	if err != nil {
		return out, err
	}
	last := kept.Events[len(kept.Events)-1]
	out.State, out.Why, out.Files = last.State, last.Why, len(bag.Names())
	seal, err := evidence.ParseSeal(kept.Seal)
	if err != nil {
		return out, err
	}
	out.Founder = seal.Keys.Founder().String()
	if out.Place == "" {
		out.Place = bag.Name() + ".zip"
	}
	if !strings.HasSuffix(strings.ToLower(out.Place), ".zip") {
		return out, bag.WriteFolder(out.Place)
	}
	if _, err := os.Lstat(out.Place); err == nil {
		return out, fmt.Errorf("%s exists and is not replaced: name a new place with --out", out.Place)
	}
	data, err := bag.Zip()
	if err != nil {
		return out, err
	}
	return out, WriteFile(out.Place, data, false)
}

// dossier puts a signed claim's dossier together from what was kept of it, and
// verifies it against its own seal.
func (w *Workspace) dossier(ctx context.Context, number string) (*evidence.Bag, store.Claim, error) {
	kept, err := w.store.Claim(ctx, number)
	if err != nil {
		return nil, kept, unknownClaim(err)
	}
	if len(kept.Seal) == 0 {
		return nil, kept, declined("claim %s is %s: a dossier belongs to a claim that was signed.\n  To sign it: fairpull claim %s --sign --key approver.key", number, kept.State(), number)
	}
	seal, err := evidence.ParseSeal(kept.Seal)
	if err != nil {
		return nil, kept, err
	}
	ring, _, err := w.keyring(ctx)
	if err != nil {
		return nil, kept, err
	}
	seal.Keys = ring // with what was revoked since
	files, err := w.store.ClaimFiles(ctx, number)
	if err != nil {
		return nil, kept, err
	}
	payload := map[string][]byte{}
	for _, f := range files {
		payload[f.Name] = f.Data
	}
	var program programJSON
	if err := json.Unmarshal(payload[dossierProgram], &program); err != nil {
		return nil, kept, fmt.Errorf("claim %s: %s: %w", number, dossierProgram, err)
	}
	bag, err := newBag(number, seal.Statement.Made, program.Version)
	if err != nil {
		return nil, kept, err
	}
	if err := fillBag(bag, payload); err != nil {
		return nil, kept, err
	}
	if failed := seal.VerifyFiles(bag.Entries(evidence.SealName)).Of(evidence.Failed); len(failed) > 0 {
		return nil, kept, fmt.Errorf("claim %s: what the workspace keeps is not what was signed: %v", number, failed[0])
	}
	text, err := seal.Encode()
	if err != nil {
		return nil, kept, err
	}
	kept.Seal = text
	return bag, kept, bag.AddTag(evidence.SealName, text)
}

// claimFiles returns files as the store keeps them.
func claimFiles(files map[string][]byte) []store.ClaimFile {
	out := make([]store.ClaimFile, 0, len(files))
	for _, name := range slices.Sorted(maps.Keys(files)) {
		out = append(out, store.ClaimFile{Name: name, Data: files[name]})
	}
	return out
}
