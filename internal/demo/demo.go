// Package demo holds the built-in campaign: invented, with known truth, written
// by the simulator. testdata of the manual and the end-to-end tests.
package demo

import (
	"embed"
	"io/fs"
)

//go:generate sh -c "rm -rf campaign && go run ../../cmd/fairpull simulate --scenario demo campaign"

//go:embed campaign
var files embed.FS

// Campaign returns the campaign folder.
func Campaign() fs.FS {
	folder, err := fs.Sub(files, "campaign")
	if err != nil {
		panic(err) // the folder is compiled in
	}
	return folder
}
