package simulate

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
)

// truthFile is the name of the truth beside a campaign.
const truthFile = "truth.json"

// Files returns the campaign folder in memory: campaign.toml, pulls.csv, the
// logs and truth.json, by slash-separated path. Pulls are simulated in parallel;
// the bytes do not depend on how many cores there are.
//
// It fails on a scenario that Validate refuses and where the engine cannot pull
// the drum through the speed range.
func (s Scenario) Files() (map[string][]byte, error) { return s.FilesContext(context.Background()) }

// FilesContext is Files that ends between two pulls, with the context's error,
// once ctx is done.
func (s Scenario) FilesContext(ctx context.Context) (map[string][]byte, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	pulls := s.session()
	logs := make([][]byte, len(pulls))
	truths := make([]PullTruth, len(pulls))
	err := parallel(ctx, len(pulls), func(i int) error {
		if pulls[i].steady {
			text, m, c, err := s.steadyLog(&pulls[i])
			if err != nil {
				return fmt.Errorf("steady log %s: %w", pulls[i].name, err)
			}
			logs[i], truths[i] = text, s.steadyPullTruth(&pulls[i], m, c)
			return nil
		}
		m, c, err := s.drivePull(&pulls[i])
		if err != nil {
			return fmt.Errorf("pull %s: %w", pulls[i].name, err)
		}
		if s.Logger.Kind == PulseLog {
			logs[i] = s.pulseLog(&pulls[i], c)
		} else {
			logs[i] = s.sampledLog(&pulls[i], c)
		}
		truths[i] = s.pullTruth(&pulls[i], m, c)
		return nil
	})
	if err != nil {
		return nil, err
	}
	truth, err := s.truth(ctx, pulls, truths)
	if err != nil {
		return nil, err
	}
	text, err := json.MarshalIndent(truth, "", " ")
	if err != nil {
		return nil, fmt.Errorf("simulate: truth: %w", err)
	}
	files := map[string][]byte{
		"campaign.toml": s.campaignTOML(), "pulls.csv": s.pullsCSV(pulls), truthFile: append(text, '\n'),
	}
	for i := range pulls {
		files[pulls[i].logName()] = logs[i]
	}
	return files, nil
}

// parallel calls do(0) … do(n−1) on all cores and returns the error of the
// lowest index. Once ctx is done no further call is begun, and its error is
// returned where no call failed.
func parallel(ctx context.Context, n int, do func(i int) error) error {
	failures := make([]error, n)
	next := make(chan int)
	var workers sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		workers.Go(func() {
			for i := range next {
				failures[i] = do(i)
			}
		})
	}
	for i := 0; i < n && ctx.Err() == nil; i++ {
		next <- i
	}
	close(next)
	workers.Wait()
	for _, err := range failures {
		if err != nil {
			return err
		}
	}
	return ctx.Err()
}

// ErrNotEmpty says that Write would have had to overwrite something.
var ErrNotEmpty = errors.New("simulate: there is something at that place already")

// Write writes the campaign folder to dir. Nothing is overwritten: dir must not
// exist or be an empty directory, else the error is ErrNotEmpty. The folder is
// built beside its place and then renamed, so that it is there whole or not at
// all.
func (s Scenario) Write(dir string) error { return s.WriteContext(context.Background(), dir) }

// WriteContext is Write that ends between two pulls or files, with the context's
// error and nothing left behind, once ctx is done.
func (s Scenario) WriteContext(ctx context.Context, dir string) error {
	if err := free(dir); err != nil {
		return err
	}
	files, err := s.FilesContext(ctx)
	if err != nil {
		return err
	}
	parent := filepath.Dir(filepath.Clean(dir))
	if err := os.MkdirAll(parent, 0o777); err != nil {
		return fmt.Errorf("simulate: %w", err)
	}
	if err := build(ctx, files, parent, dir); err != nil {
		return fmt.Errorf("simulate: %s was not written: %w", dir, reasonOf(err))
	}
	return nil
}

// build writes files into a folder in parent and renames that to dir, which is
// free or an empty folder.
func build(ctx context.Context, files map[string][]byte, parent, dir string) error {
	beside, err := os.MkdirTemp(parent, ".simulate-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(beside) // renamed away on success
	whole := filepath.Join(beside, "campaign")
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := writeFile(filepath.Join(whole, filepath.FromSlash(name)), files[name]); err != nil {
			return err
		}
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) { // an empty directory
		return err
	}
	return os.Rename(whole, dir)
}

// reasonOf returns what the system objects to, without the path of a folder that
// was built to be renamed.
func reasonOf(err error) error {
	var path *fs.PathError
	var link *os.LinkError
	switch {
	case errors.As(err, &path):
		return path.Err
	case errors.As(err, &link):
		return link.Err
	}
	return err
}

func writeFile(path string, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return err
	}
	return os.WriteFile(path, data, 0o666)
}

// free returns an error unless a folder may be written at dir.
func free(dir string) error {
	info, err := os.Lstat(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("simulate: %w", err)
	}
	if !info.IsDir() {
		return fmt.Errorf("%w: %s is not a folder", ErrNotEmpty, dir)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("simulate: %w", err)
	}
	if len(entries) > 0 {
		return fmt.Errorf("%w: %s is not empty; choose another name", ErrNotEmpty, dir)
	}
	return nil
}
