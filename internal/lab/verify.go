package lab

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"os"
	"strings"

	"fairpull/evidence"
	"fairpull/report"
)

// DossierTrust is what whoever verifies brings along. The zero value believes
// nothing beforehand.
type DossierTrust struct {
	Founder    string // fingerprint of the first key of the lab's list, as it is published
	KeysFile   string // the lab's list of keys, as fairpull key list --json writes it
	StampRoots string // certificates of trusted time-stamping services, a PEM file
	Origin     string // name of the lab's record
}

// read returns the trust as package evidence takes it.
func (t DossierTrust) read() (evidence.Trust, error) {
	trust := evidence.Trust{Origin: t.Origin}
	var err error
	if t.Founder != "" {
		text := strings.ToLower(strings.TrimSpace(t.Founder))
		if !strings.HasPrefix(text, "sha256:") {
			text = "sha256:" + text
		}
		if trust.Founder, err = evidence.Parse(text); err != nil {
			return trust, fmt.Errorf("the founder's fingerprint %w", err)
		}
		if trust.Founder.IsZero() {
			return trust, errors.New("the founder's fingerprint is all zeros, which is nobody's: take it from what the lab publishes")
		}
	}
	if t.KeysFile != "" {
		data, err := readBounded(t.KeysFile, 16<<20)
		if err != nil {
			return trust, err
		}
		if trust.Keys, err = evidence.ParseKeyring(data); err != nil {
			return trust, fmt.Errorf("%s: %w", t.KeysFile, err)
		}
		if trust.Keys.Founder().IsZero() {
			return trust, fmt.Errorf("%s has no keys in it: take the list that the lab publishes", t.KeysFile)
		}
	}
	if t.StampRoots != "" {
		data, err := readBounded(t.StampRoots, 16<<20)
		if err != nil {
			return trust, err
		}
		if trust.StampRoots = x509.NewCertPool(); !trust.StampRoots.AppendCertsFromPEM(data) {
			return trust, fmt.Errorf("%s holds no certificate in PEM form", t.StampRoots)
		}
	}
	return trust, nil
}

// VerifyDossier verifies the dossier in a folder or a zip file, offline and without
// a workspace: its bytes, signatures and place in the record; then it derives every
// figure again from the raw logs with the settings kept, and compares. program is
// this program's version. An error means that it could not look.
func VerifyDossier(ctx context.Context, place string, t DossierTrust, program string) (*report.Verification, error) {
	trust, err := t.read()
	if err != nil {
		return nil, err
	}
	v := &verification{Verification: report.Verification{Dossier: place}, program: program, method: Method}
	bag, err := evidence.OpenBag(place)
	var damaged *evidence.BagError
	switch {
	case errors.As(err, &damaged):
		v.failed("bag", damaged.Where, "%s", strings.TrimSpace(damaged.What))
		return v.done(), nil
	case errors.Is(err, os.ErrNotExist):
		return nil, fmt.Errorf("there is no dossier %s", place)
	case err != nil:
		return nil, fmt.Errorf("%s: %w", place, err)
	}
	return v.bag(ctx, bag, trust)
}

// bag verifies a bag that was read.
func (v *verification) bag(ctx context.Context, bag *evidence.Bag, trust evidence.Trust) (*report.Verification, error) {
	found, seal := evidence.VerifyBag(bag, trust)
	for _, f := range found {
		v.add(f.Outcome.String(), f.Part, f.Where, "%s", f.What)
	}
	if seal != nil {
		v.Number, v.Title = seal.Statement.Subject, seal.Statement.Title
	}
	if !found.Verified() || seal == nil {
		v.add(report.Caution, "figures", "", "nothing was derived again, as what failed comes before that")
		return v.done(), nil
	}
	v.files, v.seal = map[string][]byte{}, seal
	for _, name := range bag.Payload() {
		v.files[name], _ = bag.Data("data/" + name)
	}
	if err := v.derive(ctx); err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		v.failed("figures", "", "they cannot be derived again: %v", err)
	}
	v.add(report.Caution, "claim", "", "whether it was amended or withdrawn since is not in a dossier: ask the lab")
	return v.done(), nil
}

// verification is a verification that goes on.
type verification struct {
	report.Verification
	program string
	method  int         // of this program; tests set another
	made    programJSON // which program made the dossier
	files   map[string][]byte
	seal    *evidence.Seal
}

func (v *verification) add(outcome, part, where, format string, args ...any) {
	v.Findings = append(v.Findings, report.Finding{Outcome: outcome, Part: part, Where: where, What: fmt.Sprintf(format, args...)})
}

func (v *verification) failed(part, where, format string, args ...any) {
	v.add(report.Failed, part, where, format, args...)
}

func (v *verification) confirmed(part, where, format string, args ...any) {
	v.add(report.Confirmed, part, where, format, args...)
}

// done says whether something was confirmed and nothing failed. The sentence of a
// dossier that is not verified is not repeated.
func (v *verification) done() *report.Verification {
	v.Verified = false
	for _, f := range v.Findings {
		switch f.Outcome {
		case report.Confirmed:
			v.Verified = true
		case report.Caution:
		default:
			v.Verified, v.Sentence = false, ""
			return &v.Verification
		}
	}
	return &v.Verification
}
