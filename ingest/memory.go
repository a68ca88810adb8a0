package ingest

import (
	"io/fs"

	"fairpull/campaign"
)

// FromCampaign returns a folder of a campaign that is known already and of the
// files that hold its logs, as [Open] would of a folder that says the same. A
// campaign that cannot be analysed is an error of the same kinds.
func FromCampaign(c campaign.Campaign, files fs.FS) (*Folder, error) {
	r := &reading{file: CampaignFile, outline: &outline{}}
	r.problems(&c)
	if err := r.faults.err(); err != nil {
		return nil, err
	}
	return &Folder{Campaign: c, files: files, close: func() error { return nil }}, nil
}
