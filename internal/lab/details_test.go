package lab

import (
	"bytes"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fairpull/report"
)

// What is kept for a claim goes before what is kept for the lab, what is given at the
// moment before both; with the first signature the dossier has the test report, and what
// is kept for the lab afterwards changes nothing of it.
func TestDetailsOfTheTestReport(t *testing.T) {
	w, keys := claimingLab(t)
	ctx := t.Context()
	number := mustDraft(t, w, "lab-01").Number
	lab := report.ReportDetails{Laboratory: "Example Lab", Address: "1 Example Road", External: "none", Sampling: "from stock"}
	if changed, err := w.SetDetails(ctx, "", lab, anna); err != nil || !changed {
		t.Fatal(changed, err)
	}
	own := report.ReportDetails{Number: "TR-0042", Customer: "Example Parts", Sampling: "by the customer"}
	for i, want := range []bool{true, false} {
		if changed, err := w.SetDetails(ctx, number, own, dora); err != nil || changed != want {
			t.Errorf("%d: changed %v, %v", i, changed, err)
		}
	}
	d, fixed, err := w.ReportDetails(ctx, number)
	if err != nil || fixed || d.Laboratory != "Example Lab" || d.Sampling != "by the customer" || d.Number != "TR-0042" {
		t.Errorf("%+v, fixed %v, %v", d, fixed, err)
	}
	missing := strings.Join(d.Missing(), "; ")
	if strings.Contains(missing, "laboratory") || !strings.Contains(missing, "condition") || !strings.Contains(missing, "customer_contact") {
		t.Errorf("missing: %s", missing)
	}
	for want, bad := range map[string]report.ReportDetails{
		"belong to one report": {Number: "TR-1"}, "belong to one": {Received: "2031-01-02"}, "2031-05-14": {Received: "May"}, "more than": {Opinion: strings.Repeat("x", 500)}, "certif": {Opinion: "certified by us"},
	} {
		if _, err := w.SetDetails(ctx, "", bad, anna); !errors.Is(err, ErrRefused) || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", bad, err, want)
		}
	}
	if _, err := w.SetDetails(ctx, "C-0099", own, anna); !errors.Is(err, ErrUnknown) {
		t.Errorf("of no claim: %v", err)
	}
	mustPublish(t, w, keys, number)
	if _, err := w.SetDetails(ctx, number, lab, anna); !errors.Is(err, ErrRefused) {
		t.Errorf("after the signature: %v, want ErrRefused", err)
	}
	if _, err := w.SetDetails(ctx, "", report.ReportDetails{Laboratory: "Moved Lab"}, anna); err != nil {
		t.Fatal(err)
	}
	if d, fixed, err := w.ReportDetails(ctx, number); err != nil || !fixed || d.Laboratory != "Example Lab" || d.Number != "TR-0042" {
		t.Errorf("after the signature: %+v, fixed %v, %v", d, fixed, err)
	}
	place := filepath.Join(t.TempDir(), "claim.zip")
	if _, err := w.WriteDossier(ctx, number, place); err != nil {
		t.Fatal(err)
	}
	v, err := VerifyDossier(ctx, place, DossierTrust{Founder: keys.ring.Founder().String()}, "1.0")
	if err != nil || !v.Verified {
		t.Fatalf("%+v, %v", v, err)
	}
	r, err := w.TestReport(ctx, number, report.ReportDetails{}, "1.0")
	if err != nil {
		t.Fatal(err)
	}
	files, err := w.store.ClaimFiles(ctx, number)
	if err != nil {
		t.Fatal(err)
	}
	page := ""
	for _, f := range files {
		if f.Name == documentsFolder+"test-report.html" {
			page = string(f.Data)
		}
	}
	for _, want := range []string{"TR-0042", "Example Lab", "by the customer", "not stated"} {
		if !strings.Contains(page, want) {
			t.Errorf("the test report of the dossier misses %q", want)
		}
	}
	var now bytes.Buffer
	if err := r.HTML(&now, 0); err != nil || !strings.Contains(now.String(), "TR-0042") || strings.Contains(now.String(), "Moved Lab") {
		t.Errorf("the test report today: %v", err)
	}
	doctor(t, w)
}

// A dossier that was made before test reports went into them has the report alone, and
// a test report in it that is none is found.
func TestDossierWithAnotherTestReport(t *testing.T) {
	w, keys := claimingLab(t)
	number := mustDraft(t, w, "lab-01").Number
	mustPublish(t, w, keys, number)
	view, err := w.ClaimDocument(t.Context(), number, "1.0")
	if err != nil {
		t.Fatal(err)
	}
	for want, d := range map[string]*report.ReportDetails{"report.html report.pdf": nil, "report.html report.pdf test-report.html test-report.pdf": {}} {
		files, err := dossierDocuments(view, d)
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		for _, name := range slices.Sorted(maps.Keys(files)) {
			names = append(names, strings.TrimPrefix(name, documentsFolder))
		}
		if got := strings.Join(names, " "); got != want {
			t.Errorf("documents %s, want %s", got, want)
		}
	}
	if d, err := detailsIn(map[string][]byte{}); d != nil || err != nil {
		t.Errorf("without details: %v, %v", d, err)
	}
	if _, err := detailsIn(map[string][]byte{dossierDetails: []byte("x")}); err == nil {
		t.Error("details that are no TOML were read")
	}
	place := filepath.Join(t.TempDir(), "claim")
	if _, err := w.WriteDossier(t.Context(), number, place); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(place, "data", "documents", "test-report.html")
	if err := os.WriteFile(file, []byte("<p>another</p>"), 0o644); err != nil {
		t.Fatal(err)
	}
	if v, err := VerifyDossier(t.Context(), place, DossierTrust{}, "1.0"); err != nil || v.Verified {
		t.Errorf("another test report: %v", err)
	}
}
