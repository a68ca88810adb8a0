package lab

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/reduce"
	"fairpull/report"
	"fairpull/signal"
)

// SteadyFolder finds the steady points of every log of the campaign folder at path
// that has a brake, or only of the one of the pull named, and how the brake did. Logs
// of pulls without a held speed are counted and not shown.
func SteadyFolder(ctx context.Context, path, only string, rule reduce.SteadyRule, progress func(done, total int)) (*report.SteadyLogs, error) {
	folder, err := ingest.OpenDir(path)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	if _, ok := folder.Campaign.Pull(only); only != "" && !ok {
		return nil, fmt.Errorf("%s has no pull %q", path, only)
	}
	c := &folder.Campaign
	logs := make([]*report.SteadyLog, len(c.Pulls))
	counter := newCounter(len(c.Pulls), progress)
	err = each(ctx, len(c.Pulls), func(i int) error {
		defer counter.step()
		if only != "" && c.Pulls[i].Name != only {
			return nil
		}
		var err error
		logs[i], err = steadyOfRow(folder, i, rule, only != "")
		return err
	})
	if err != nil {
		return nil, err
	}
	out := &report.SteadyLogs{Campaign: c.ID, Rule: rule}
	for _, log := range logs {
		switch {
		case log != nil:
			out.Logs = append(out.Logs, *log)
		case only == "":
			out.Pulls++
		}
	}
	if len(out.Logs) == 0 {
		return nil, fmt.Errorf("%s holds no steady log: none of its %d logs has a brake channel with a speed that was held.\n  Log brake_torque beside drum_speed and hold the speeds; pulls are looked at with: fairpull reduce %s", path, out.Pulls, path)
	}
	return out, nil
}

// steadyOfRow looks at the log of one row of pulls.csv: nil where it is one of a pull
// and nobody asked for it. An excluded row that cannot be read says why.
func steadyOfRow(folder *ingest.Folder, i int, rule reduce.SteadyRule, asked bool) (*report.SteadyLog, error) {
	c := &folder.Campaign
	p := c.Pulls[i]
	view := &report.SteadyLog{Pull: p.Name, Log: p.Log, Configuration: p.Configuration, Excluded: p.Excluded}
	fail := func(err error) (*report.SteadyLog, error) {
		if p.Used() {
			return nil, &PullError{Pull: p.Name, Err: err}
		}
		view.Problem = firstLine(err)
		return view, nil
	}
	data, err := folder.Bytes(p.Log)
	if err != nil {
		return fail(err)
	}
	log, err := folder.Parse(p, data)
	if err != nil {
		return fail(err)
	}
	if !reduce.HasBrake(log) && !asked && p.Values[contentColumn] != contentSteady {
		return nil, nil
	}
	s, err := reduce.FindSteady(log, settings(c, p.Configuration), rule)
	if err != nil {
		return fail(fmt.Errorf("%s: %w", p.Log, err))
	}
	if len(s.Points) == 0 && !asked && p.Values[contentColumn] != contentSteady && len(s.LeftOut) == 0 && len(s.Control.Moves) == 0 {
		return nil, nil
	}
	view.Steady, view.LeftOut = s, leftOutWords(log.LeftOut)
	return view, nil
}

// SteadyLog finds the steady points of one log that stands on its own.
func SteadyLog(path string, s LogSettings, rule reduce.SteadyRule) (*report.SteadyLogs, error) {
	data, err := readBounded(path, maxLogBytes)
	if err != nil {
		return nil, err
	}
	log, err := ingest.ParseLog(filepath.Base(path), data, ingest.LogOptions{DrumRadius: s.Radius})
	if err != nil {
		return nil, err
	}
	if log.Kind != signal.Sampled {
		return nil, fmt.Errorf("%s holds no drum speed over time with a brake: steady points are found in sampled logs", path)
	}
	steady, err := reduce.FindSteady(log, s.Settings, rule)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return &report.SteadyLogs{Rule: rule, Logs: []report.SteadyLog{{Log: path, Steady: steady, LeftOut: leftOutWords(log.LeftOut)}}}, nil
}

// SteadyRule says what counts as a held speed.
type SteadyRule = reduce.SteadyRule

// DefaultSteadyRule returns the rule that campaigns are compared with.
func DefaultSteadyRule() SteadyRule { return reduce.DefaultSteadyRule() }

// CheckSteadyRule refuses a rule under which nothing could be held, or everything.
func CheckSteadyRule(rule SteadyRule) error {
	err := rule.Check()
	var refusal *reduce.LogError
	if errors.As(err, &refusal) {
		return fmt.Errorf("%s; %s", refusal.Problem, strings.ToLower(strings.TrimSuffix(refusal.Cure, ".")))
	}
	return err
}

// Percent returns the fraction that so many per cent are.
func Percent(v float64) float64 { return v / 100 }

// steadyPhases returns the held speeds of a log as phases for a picture; nil where it
// is one of a pull.
func steadyPhases(log *signal.Log, p campaign.Pull, settings reduce.Settings) []report.RawPhase {
	r := reduction{pull: &Pull{Pull: p}, settings: settings}
	if r.findSteady(log) != nil || r.pull.Steady == nil {
		return nil
	}
	var phases []report.RawPhase
	for i := range r.pull.Steady.Points {
		q := &r.pull.Steady.Points[i]
		phases = append(phases, report.RawPhase{Name: fmt.Sprintf("%.0f rpm", q.EngineRPM), From: q.Start, To: q.End})
	}
	return phases
}
