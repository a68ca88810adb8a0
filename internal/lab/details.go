package lab

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"github.com/pelletier/go-toml/v2"

	"fairpull/internal/store"
	"fairpull/quantity"
	"fairpull/report"
)

// detailsFormat is the format of a file with what a test report says beside what was
// measured; docs/customer-sheet.md.
const detailsFormat = "fairpull.details/1"

// detailsText are a report's details as their file has them.
type detailsText struct {
	Format string `toml:"format"`
	report.ReportDetails
}

// ReadDetails reads a file of details.
func ReadDetails(file string) (report.ReportDetails, error) {
	text, err := readBounded(file, maxLook)
	if err != nil {
		return report.ReportDetails{}, err
	}
	d, err := parseDetails(text)
	if err != nil {
		return d, fmt.Errorf("%s: %w", file, err)
	}
	return d, nil
}

func parseDetails(text []byte) (report.ReportDetails, error) {
	var d detailsText
	if err := strictTOML(text, &d); err != nil {
		return report.ReportDetails{}, declined("%w", err)
	}
	if d.Format != detailsFormat {
		return report.ReportDetails{}, declined("its format is %.40q; write format = %q", d.Format, detailsFormat)
	}
	if err := d.Check(); err != nil {
		return report.ReportDetails{}, declined("%w", err)
	}
	return d.ReportDetails, nil
}

// DetailsTOML writes details as their file.
func DetailsTOML(d report.ReportDetails) ([]byte, error) {
	return toml.Marshal(detailsText{detailsFormat, d})
}

// Details returns what is kept for the test report of a claim, or where number is empty
// what is kept for all of the lab's; empty where nothing is.
func (w *Workspace) Details(ctx context.Context, number string) (report.ReportDetails, error) {
	text, err := w.store.Details(ctx, number)
	if errors.Is(err, store.ErrNotFound) {
		return report.ReportDetails{}, nil
	}
	if err != nil {
		return report.ReportDetails{}, err
	}
	return parseDetails(text)
}

// SetDetails keeps details for the test report of a claim, until it is signed, or where
// number is empty for those of all claims that are signed from now on.
func (w *Workspace) SetDetails(ctx context.Context, number string, d report.ReportDetails, by Author) (changed bool, err error) {
	if err := d.Check(); err != nil {
		return false, declined("%w", err)
	}
	if number == "" && (d.Number != "" || d.Received != "") {
		return false, declined("number and received belong to one report: keep them with its claim")
	}
	text, err := DetailsTOML(d)
	if err != nil {
		return false, err
	}
	was, err := w.store.Details(ctx, number)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return false, err
	}
	change, err := w.store.SetDetails(ctx, number, was, text, by)
	if number != "" {
		err = unknownClaim(err)
	}
	return change.Changed(), err
}

// detailsOf returns what the test report of a claim says: those in its dossier where
// that is fixed, else what is kept for it, and what it does not state as the lab's.
func (w *Workspace) detailsOf(ctx context.Context, number string, signed bool) (report.ReportDetails, error) {
	if signed {
		files, err := w.store.ClaimFiles(ctx, number)
		if err != nil {
			return report.ReportDetails{}, err
		}
		for _, f := range files {
			if f.Name == dossierDetails {
				return parseDetails(f.Data)
			}
		}
	}
	own, err := w.Details(ctx, number)
	if err != nil {
		return own, err
	}
	lab, err := w.Details(ctx, "")
	return own.Or(lab), err
}

// ReportDetails returns what the test report of a claim says beside what was measured,
// and whether that is fixed by a signature.
func (w *Workspace) ReportDetails(ctx context.Context, number string) (d report.ReportDetails, fixed bool, err error) {
	kept, err := w.store.Claim(ctx, number)
	if err != nil {
		return d, false, unknownClaim(err)
	}
	d, err = w.detailsOf(ctx, number, len(kept.Seal) > 0)
	return d, len(kept.Seal) > 0, err
}

// TestReport returns the test report of a claim. What d does not state is as it is kept
// for the claim and for the lab.
func (w *Workspace) TestReport(ctx context.Context, number string, d report.ReportDetails, program string) (*report.TestReport, error) {
	claim, err := w.ClaimDocument(ctx, number, program)
	if err != nil {
		return nil, err
	}
	kept, _, err := w.ReportDetails(ctx, number)
	if err != nil {
		return nil, err
	}
	return report.NewTestReport(claim, d.Or(kept))
}

// detailsIn returns the details among the files of a dossier; nil: it has none, as those
// that were made before test reports went into them.
func detailsIn(files map[string][]byte) (*report.ReportDetails, error) {
	text, there := files[dossierDetails]
	if !there {
		return nil, nil
	}
	d, err := parseDetails(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", dossierDetails, err)
	}
	return &d, nil
}

// testReportFiles makes the test report of a claim, as HTML and PDF.
func testReportFiles(view *report.Claim, d report.ReportDetails, files map[string][]byte) error {
	r, err := report.NewTestReport(view, d)
	if err != nil {
		return err
	}
	var html, pdf bytes.Buffer
	if err := errors.Join(r.HTML(&html, quantity.SI), r.PDF(&pdf, quantity.SI)); err != nil {
		return err
	}
	files[documentsFolder+"test-report.html"], files[documentsFolder+"test-report.pdf"] = html.Bytes(), pdf.Bytes()
	return nil
}
