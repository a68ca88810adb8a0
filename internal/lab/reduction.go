package lab

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"fairpull/ingest"
	"fairpull/reduce"
	"fairpull/report"
	"fairpull/signal"
)

// ReduceFolder reduces every pull of the campaign folder at path, or only the
// one named, on the window that all used pulls share.
func ReduceFolder(ctx context.Context, path, only string, progress func(done, total int)) (*report.Reductions, error) {
	folder, err := ingest.OpenDir(path)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	if _, ok := folder.Campaign.Pull(only); only != "" && !ok {
		return nil, fmt.Errorf("%s has no pull %q", path, only)
	}
	pulls, half, err := reducePulls(ctx, folder, nil, progress)
	if err != nil {
		return nil, err
	}
	out := &report.Reductions{Campaign: folder.Campaign.ID}
	for i := range pulls {
		p := &pulls[i]
		if only != "" && p.Name != only {
			continue
		}
		r := report.Reduction{
			Pull: p.Name, Log: p.Log, Configuration: p.Configuration, Excluded: p.Excluded,
			Problem: firstLine(p.Err), Result: p.Result, Radius: float64(folder.Campaign.Dyno.DrumRadius), Steady: p.Steady != nil,
		}
		if p.Kind != signal.Reduced && p.Steady == nil {
			r.HalfWidthRPM = half
		}
		r.LeftOut = leftOutWords(p.leftOut)
		out.Pulls = append(out.Pulls, r)
	}
	return out, nil
}

func leftOutWords(columns []signal.LeftOut) []string {
	var words []string
	for _, c := range columns {
		words = append(words, c.Column+": "+c.Reason)
	}
	return words
}

// LogSettings is what must be said of a log that stands on its own.
type LogSettings struct {
	reduce.Settings
	BandRPM [2]float64 // sets the grid's anchor; both 0: multiples of 50
}

// maxLogBytes bounds a log that is read on its own, like one in a folder.
const maxLogBytes = ingest.MaxLogBytes

// ReduceLog reduces one log that stands on its own.
func ReduceLog(path string, s LogSettings) (*report.Reductions, error) {
	data, err := readBounded(path, maxLogBytes)
	if err != nil {
		return nil, err
	}
	log, err := ingest.ParseLog(filepath.Base(path), data, ingest.LogOptions{DrumRadius: s.Radius})
	if err != nil {
		return nil, err
	}
	r := report.Reduction{Log: path, Radius: s.Radius, LeftOut: leftOutWords(log.LeftOut)}
	settings := s.Settings
	settings.NodesRPM = gridNodes(s.BandRPM)
	if log.Kind == signal.Reduced {
		r.Result, err = reduce.FromCurve(log, settings)
	} else {
		var phases reduce.Phases
		if phases, err = reduce.Find(log, settings); err == nil {
			settings.HalfWidthRPM = WindowHalfWidth(phases.HighRPM - phases.LowRPM)
			r.HalfWidthRPM = settings.HalfWidthRPM
			r.Result, err = reduce.Reduce(log, settings, phases)
		}
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return &report.Reductions{Pulls: []report.Reduction{r}}, nil
}

// readBounded returns the content of a regular file of at most limit bytes. What
// kind of file it is is asked before it is opened: opening a pipe would wait for
// its other end.
func readBounded(path string, limit int) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a regular file", path)
	}
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, int64(limit)+1))
	if err == nil && len(data) > limit {
		most := fmt.Sprintf("%d MiB", limit>>20)
		if limit < 1<<20 {
			most = fmt.Sprintf("%d KiB", limit>>10)
		}
		err = fmt.Errorf("%s is larger than %s, the most that it may have", path, most)
	}
	return data, err
}

// FolderOf returns the campaign folder that holds the log at path and the name
// of the pull that the log belongs to, and whether there is one.
func FolderOf(path string) (folder, pull string, ok bool) {
	log, err := filepath.Abs(path)
	if err != nil {
		return "", "", false
	}
	for dir, depth := filepath.Dir(log), 0; depth < maxLogDepth; dir, depth = filepath.Dir(dir), depth+1 {
		if _, err := os.Stat(filepath.Join(dir, "campaign.toml")); errors.Is(err, os.ErrNotExist) {
			continue
		} else if err != nil {
			return "", "", false
		}
		opened, err := ingest.OpenDir(dir)
		if err != nil {
			return "", "", false
		}
		defer opened.Close()
		inside, err := filepath.Rel(dir, log)
		if err != nil {
			return "", "", false
		}
		for _, p := range opened.Campaign.Pulls {
			if p.Log == filepath.ToSlash(inside) {
				return dir, p.Name, true
			}
		}
		return "", "", false
	}
	return "", "", false
}

// maxLogDepth is how many folders up from a log its campaign.toml is looked for.
const maxLogDepth = 4
