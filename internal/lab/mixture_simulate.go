package lab

import (
	"maps"
	"os"
	"path/filepath"
	"slices"

	"fairpull/simulate"
)

// SimulateTuning writes the logs of a session in which the mixture is mapped, with their
// truth, to dir, which must not exist or be empty. seed 0: the usual one.
func SimulateTuning(seed uint64, dir string) error {
	session := simulate.DefaultTuning()
	if seed != 0 {
		session.Seed = seed
	}
	files, err := session.Files()
	if err != nil {
		return err
	}
	return writeFolder(dir, func(staging string) error {
		for _, name := range slices.Sorted(maps.Keys(files)) {
			if err := os.WriteFile(filepath.Join(staging, name), files[name], 0o666); err != nil {
				return err
			}
		}
		return nil
	})
}
