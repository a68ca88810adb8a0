package lab

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/internal/store"
	"fairpull/quantity"
	"fairpull/report"
)

// The files of a dossier, below data/; docs/claims.md says what is in them.
const (
	dossierReadme   = "README.txt"
	dossierClaim    = "claim.json"
	dossierStates   = "states.json"
	dossierResult   = "result.json"
	dossierSettings = "settings.json"
	dossierStudy    = "scatter.json"
	dossierHistory  = "history.json"
	dossierTrail    = "trail.json"
	dossierProgram  = "program.json"
	dossierPackage  = "datapackage.json"
	dossierDetails  = "details.toml"
	campaignFolder  = "campaign/"
	historyFolder   = "history/"
	tablesFolder    = "tables/"
	documentsFolder = "documents/"
)

// Formats of a dossier's files.
const (
	historyFormat = "fairpull.history/1"
	statesFormat  = "fairpull.claim-states/1"
)

type (
	// historyJSON is the index of the studies that a history was made of.
	historyJSON struct {
		Format    string            `json:"format"`
		Dyno      string            `json:"dyno"`
		Vehicle   string            `json:"vehicle"` // empty: those of the class, or any
		Class     string            `json:"class,omitempty"`
		Campaigns []historyStudyRow `json:"campaigns"`
	}
	historyStudyRow struct {
		Campaign string    `json:"campaign"`
		Vehicle  string    `json:"vehicle"`
		Started  time.Time `json:"started"`
		Result   string    `json:"result"`
		File     string    `json:"file"`
	}
	// statesJSON is the way of a claim to its first signature.
	statesJSON struct {
		Format string                `json:"format"`
		States []campaign.ClaimEvent `json:"states"`
	}
	trailJSON struct {
		Format  string               `json:"format"`
		Changes []report.TrailChange `json:"changes"`
	}
)

// dossierFiles makes the payload of a claim's dossier: all that a stranger needs to
// derive every figure again, and what was made of it. view is the claim as its
// documents show it.
func (w *Workspace) dossierFiles(ctx context.Context, kept store.Claim, view *report.Claim, program string) (map[string][]byte, error) {
	r, err := w.store.ResultOf(ctx, kept.Result)
	if err != nil {
		return nil, err
	}
	a, err := w.claimAnalysis(ctx, r, nil)
	if err != nil {
		return nil, err
	}
	a.fill(view, program)
	record, err := w.store.GetVersion(ctx, kept.Campaign, r.Version)
	if err != nil {
		return nil, err
	}
	folder, err := folderFiles(record)
	if err != nil {
		return nil, fmt.Errorf("campaign %s: %w", kept.Campaign, err)
	}
	files := map[string][]byte{
		dossierClaim: kept.Body, dossierResult: r.Body, dossierSettings: r.Settings, dossierStudy: r.Scatter,
		dossierReadme: dossierReadmeText(view),
	}
	for name, data := range folder {
		files[campaignFolder+name] = data
	}
	if err := w.historyFiles(ctx, r.Settings, files); err != nil {
		return nil, err
	}
	for name, make := range map[string]func() (any, error){
		dossierStates:  func() (any, error) { return statesJSON{statesFormat, view.States}, nil },
		dossierTrail:   func() (any, error) { return w.trail(ctx, a.Campaign, kept.Number) },
		dossierProgram: func() (any, error) { return programOf(program) },
	} {
		content, err := make()
		if err != nil {
			return nil, err
		}
		if files[name], err = indentedJSON(content); err != nil {
			return nil, err
		}
	}
	tables, err := dossierTables(view.Number, r.Body)
	if err != nil {
		return nil, err
	}
	maps.Copy(files, tables)
	details, err := w.detailsOf(ctx, kept.Number, false)
	if err != nil {
		return nil, err
	}
	if files[dossierDetails], err = DetailsTOML(details); err != nil {
		return nil, err
	}
	documents, err := dossierDocuments(view, &details)
	maps.Copy(files, documents)
	return files, err
}

func indentedJSON(v any) ([]byte, error) {
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	err := encoder.Encode(v)
	return out.Bytes(), err
}

// dossierDocuments makes the documents of a claim; without details no test report is
// among them. The same view and details give the same bytes.
func dossierDocuments(view *report.Claim, details *report.ReportDetails) (map[string][]byte, error) {
	files := map[string][]byte{}
	var html, pdf bytes.Buffer
	err := errors.Join(view.Gain.HTML(&html, quantity.SI), view.Gain.PDF(&pdf, quantity.SI))
	files[documentsFolder+"report.html"], files[documentsFolder+"report.pdf"] = html.Bytes(), pdf.Bytes()
	if err != nil || details == nil {
		return files, err
	}
	return files, testReportFiles(view, *details, files)
}

// historyFiles adds the studies that the settings name, and their index; nothing
// where the workspace lent no history.
func (w *Workspace) historyFiles(ctx context.Context, settings []byte, files map[string][]byte) error {
	s, err := decodeSettings(settings)
	if err != nil || s.History == nil {
		return err
	}
	index := historyJSON{Format: historyFormat, Dyno: s.History.Dyno, Vehicle: s.History.Vehicle, Class: s.History.Class}
	results := make([]string, len(s.History.Campaigns))
	for i, p := range s.History.Campaigns {
		results[i] = p.Result
	}
	past, err := w.store.PastOf(ctx, results)
	if err != nil {
		return err
	}
	for i, p := range past {
		name := historyFolder + strconv.Itoa(i+1) + ".json"
		files[name] = p.Scatter
		index.Campaigns = append(index.Campaigns, historyStudyRow{p.Campaign, p.Vehicle, p.Started, p.Result, name})
	}
	files[dossierHistory], err = indentedJSON(index)
	return err
}

// maxTrail bounds the changes of one object in a dossier; the latest are left out.
const maxTrail = 10_000

// trail returns the audit trail of what a claim rests on.
func (w *Workspace) trail(ctx context.Context, c *campaign.Campaign, number string) (trailJSON, error) {
	out := trailJSON{Format: report.TrailFormat, Changes: []report.TrailChange{}}
	for _, subject := range [][2]string{
		{"campaign", c.ID}, {"vehicle", c.Vehicle.ID}, {"dyno", c.Dyno.ID}, {"claim", number},
		{"lab", string(store.PolicyText)}, {"lab", string(store.KeysText)}, {"lab", store.LabDetails},
	} {
		changes, err := w.store.Changes(ctx, subject[0], subject[1], 0, maxTrail)
		if err != nil {
			return out, err
		}
		for _, k := range changes {
			out.Changes = append(out.Changes, trailChange(k))
		}
	}
	slices.SortFunc(out.Changes, func(a, b report.TrailChange) int { return int(a.Seq - b.Seq) })
	return out, nil
}

func dossierReadmeText(view *report.Claim) []byte {
	return []byte(strings.NewReplacer("NUMBER", view.Number, "TITLE", oneLineOf(view.Title)).Replace(`Dossier of claim NUMBER: TITLE

A bag after RFC 8493. "fairpull verify" looks at it offline: the bytes, the
signatures, the place in the lab's record; and it derives every figure again from
the raw logs. Without that program, sha256sum -c manifest-sha256.txt checks the
bytes, and minisign verifies a signature of the statement in seal.json.

data/claim.json        what is claimed, and what it rests on
data/states.json       who drafted, reviewed and signed it
data/campaign/         the campaign folder: what was measured, raw logs included
data/result.json       the gain result
data/settings.json     what the analysis depended on beside the folder
data/history*          what earlier campaigns lent of the rig's scatter, if any
data/scatter.json      what this campaign says of it
data/tables/           the figures as CSV; data/datapackage.json says what is in them
data/documents/        the report and the test report, as HTML and PDF
data/details.toml      what the test report says beside what was measured
data/trail.json        who changed what of these objects, when and why
data/program.json      which program made it
seal.json              statement, signatures, record, list of keys

Documents that are attached to the campaign are not part of it. Whether the claim
was amended or withdrawn since, the lab knows.
`))
}

// newBag returns the empty bag of a claim's dossier.
func newBag(number string, at time.Time, program string) (*evidence.Bag, error) {
	return evidence.NewBag("claim-"+number, []evidence.Field{
		{Label: "External-Identifier", Value: number},
		{Label: "Bagging-Date", Value: at.UTC().Format(time.DateOnly)},
		{Label: "Bag-Software-Agent", Value: "Fairpull " + program},
	})
}

// fillBag puts files below data/ and gives them back as they are kept.
func fillBag(bag *evidence.Bag, files map[string][]byte) error {
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if err := bag.AddPayload(name, files[name]); err != nil {
			return fmt.Errorf("the dossier cannot be made: %w", err)
		}
	}
	return nil
}
