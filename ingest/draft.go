package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"

	"fairpull/campaign"
)

// DraftFile is campaign.toml, or a file of another name that says the same, where
// pulls are still to be made.
type DraftFile struct {
	Campaign campaign.Campaign
	Text     []byte // as it came
	Pulls    bool   // a folder whose pulls.csv has rows
}

// OpenDraft reads a campaign that is to be planned: path is a file, or a campaign
// folder, of which campaign.toml is read and pulls.csv only asked whether it has
// rows. Errors are the system's, and those of [Draft].
func OpenDraft(path string) (DraftFile, error) {
	info, err := os.Stat(path)
	if err != nil {
		return DraftFile{}, err
	}
	dir, name := filepath.Split(path)
	if info.IsDir() {
		dir, name = path, CampaignFile
	}
	if dir == "" {
		dir = "."
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return DraftFile{}, err
	}
	defer root.Close()
	var d DraftFile
	if d.Text, err = readFile(root.FS(), name, MaxCampaignBytes); err != nil {
		return DraftFile{}, err
	}
	if d.Campaign, err = Draft(name, d.Text); err != nil {
		return DraftFile{}, err
	}
	if info.IsDir() {
		d.Pulls, err = hasRows(root.FS())
	}
	return d, err
}

// hasRows reports whether pulls.csv is there and has a row below its header.
func hasRows(files fs.FS) (bool, error) {
	if errors.Is(checkFile(files, PullsFile), ErrMissing) {
		return false, nil
	}
	data, err := readFile(files, PullsFile, MaxPullsBytes)
	if err != nil {
		return false, err
	}
	rows := 0
	for line := range bytes.Lines(data) {
		if len(bytes.Trim(line, " \t\r\n,;")) > 0 {
			rows++
		}
	}
	return rows > 1, nil
}

// WithPlan returns campaign.toml for a campaign and its plan. Where draft, the text
// that the campaign came from, says all but the plan, it stays as it is, remarks and
// all, with the plan behind it; else the text is [CampaignTOML].
func WithPlan(draft []byte, c campaign.Campaign) ([]byte, error) {
	whole, err := CampaignTOML(c)
	if err != nil || c.Plan == nil {
		return whole, err
	}
	var w tomlWriter
	w.Write(bytes.TrimRight(draft, "\n"))
	w.WriteString("\n")
	w.plan(c.Plan)
	back, err := Draft(CampaignFile, w.Bytes())
	if err == nil && reflect.DeepEqual(back, headAsWritten(c)) {
		return w.Bytes(), nil
	}
	return whole, nil
}

// PullsForm returns a pulls.csv without rows, for a planned campaign: a column for
// all that a pull needs, one for each set point, and one for a remark.
func PullsForm(c campaign.Campaign) []byte {
	columns := append(slices.Clone(requiredColumns), "pressure_kpa", "temperature_degc", "relative_humidity_pct", "excluded")
	for _, s := range c.Procedure {
		if !slices.Contains(columns, s.Key) {
			columns = append(columns, s.Key)
		}
	}
	for i, name := range columns {
		if strings.ContainsAny(name, "\",\n\r;") {
			columns[i] = `"` + strings.ReplaceAll(name, `"`, `""`) + `"`
		}
	}
	return fmt.Appendf(nil, "%s,note\n", strings.Join(columns, ","))
}
