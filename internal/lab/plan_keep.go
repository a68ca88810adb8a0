package lab

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/internal/store"
	"fairpull/quantity"
	"fairpull/report"
)

// WritePlanned writes a planned campaign as a folder that is ready for its pulls to
// dir, which must not exist or be empty: campaign.toml with the plan, pulls.csv
// without rows, and a folder for the logs. What the draft says beside the plan stays
// as it was written.
func WritePlanned(dir string, c campaign.Campaign, draft []byte) error {
	text, err := ingest.WithPlan(draft, c)
	if err != nil {
		return err
	}
	return writeFolder(dir, func(staging string) error {
		if err := os.Mkdir(filepath.Join(staging, "logs"), 0o777); err != nil {
			return err
		}
		return writeFiles(staging, map[string][]byte{ingest.CampaignFile: text, ingest.PullsFile: ingest.PullsForm(c)})
	})
}

// KeepPlanned takes a planned campaign into the workspace: as a new one, or as the
// next version of one that has no pull of a candidate yet.
func (w *Workspace) KeepPlanned(ctx context.Context, c campaign.Campaign, by Author) error {
	c.Pulls, c.ExtraColumns = nil, nil
	_, err := w.store.Entry(ctx, c.ID, 0)
	if errors.Is(err, store.ErrNotFound) {
		_, err = w.store.Put(ctx, store.Record{Campaign: c}, by)
		return err
	}
	if err != nil {
		return err
	}
	if by.Why == "" {
		by.Why = "planned"
	}
	_, err = w.store.Revise(ctx, c.ID, by, func(there *campaign.Campaign) error {
		if _, begun := there.FirstCandidatePull(); begun {
			return refused("campaign %s has pulls of a candidate in the workspace, and its plan stands: nothing was written", c.ID)
		}
		c.Pulls, c.ExtraColumns = there.Pulls, there.ExtraColumns
		*there = c
		return nil
	})
	return err
}

// PullSheets says which sheets of a planned campaign to write: the endings .html and
// .pdf say how. Key is the one for who fits the parts where the plan is blind.
type PullSheets struct {
	Sheet, Key []string
	Overwrite  bool
	Units      quantity.System
	Version    string
	Tyre       report.PlanTyre
}

// WritePullSheets writes the sheets of a campaign's plan, all of them checked first.
func WritePullSheets(c campaign.Campaign, o PullSheets) error {
	switch {
	case c.Plan == nil:
		return fmt.Errorf("campaign %s has no plan, and a pull sheet is made of one.\n  Choose a design: fairpull plan … --design A-B-A", c.ID)
	case len(o.Key) > 0 && !c.Plan.Blind:
		return errors.New("a key belongs to a blind plan, and this one is not: its sheet says what to fit.\n  Plan with --blind, or leave --key out")
	}
	sheet := report.PullSheet{Campaign: c, Tyre: o.Tyre, Version: o.Version}
	key := sheet
	key.Key = true
	for _, one := range []struct {
		files []string
		of    report.PullSheet
	}{{o.Sheet, sheet}, {o.Key, key}} {
		for _, file := range one.files {
			if err := writeSheet(file, o.Overwrite, func(w io.Writer, pdf bool) error {
				if pdf {
					return one.of.PDF(w, o.Units)
				}
				return one.of.HTML(w, o.Units)
			}); err != nil {
				return err
			}
		}
	}
	return nil
}

// CheckSheets refuses, before any work is done, files that are not .html or .pdf, and
// what [CheckReports] refuses.
func CheckSheets(files []string, overwrite bool) error {
	for _, file := range files {
		if e := ending(file); e != ".html" && e != ".pdf" {
			return fmt.Errorf("this is written as .html or .pdf, and %q is neither", file)
		}
	}
	return CheckReports(files, overwrite)
}

func writeSheet(file string, overwrite bool, write func(w io.Writer, pdf bool) error) error {
	var content bytes.Buffer
	if err := write(&content, ending(file) == ".pdf"); err != nil {
		return err
	}
	return WriteFile(file, content.Bytes(), overwrite)
}

// WritePlanReport writes the document of a plan, .html or .pdf.
func WritePlanReport(p *report.Plan, file string, overwrite bool, units quantity.System) error {
	return writeSheet(file, overwrite, func(w io.Writer, pdf bool) error {
		if pdf {
			return p.PDF(w, units)
		}
		return p.HTML(w, units)
	})
}

// SheetTyre returns what a pull sheet says of the tyre, and refuses a plan that would
// run it past its rating.
func SheetTyre(c *campaign.Campaign, topRPM float64) (report.PlanTyre, error) {
	return planTyre(c, topRPM)
}
