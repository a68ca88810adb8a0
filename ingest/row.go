package ingest

import (
	"bytes"
	"encoding/csv"
	"maps"
	"slices"

	"fairpull/campaign"
)

// ReadRow returns the pull that a row of pulls.csv with the given cells says, by
// column. It is read by the rules of the file, so that what is entered by hand
// means what it would mean there. Errors are as those of [Open].
func ReadRow(cells map[string]string, procedure []campaign.SetPoint) (campaign.Pull, error) {
	names := slices.Sorted(maps.Keys(cells))
	row := make([]string, len(names))
	for i, name := range names {
		row[i] = cells[name]
	}
	var text bytes.Buffer
	w := csv.NewWriter(&text)
	if err := w.WriteAll([][]string{names, row}); err != nil {
		return campaign.Pull{}, err
	}
	pulls, _, err := readPulls(PullsFile, text.Bytes(), procedure)
	if err != nil {
		return campaign.Pull{}, err
	}
	pulls[0].Line = 0
	return pulls[0], nil
}
