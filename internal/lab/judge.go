package lab

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/internal/store"
	"fairpull/quantity"
	"fairpull/signal"
)

// JudgeOptions say how a campaign of the workspace is judged.
type JudgeOptions struct {
	By       Author                // who keeps the result; needed with Keep
	Program  string                // the program's version; needed with Keep
	Keep     bool                  // keep the result; else nothing is written
	Progress func(done, total int) // called now and then; may be nil
	Limits   *Limits               // nil: DefaultLimits
	// AsOf: the history is that of campaigns begun before this moment. Zero: before
	// the campaign's own first pull.
	AsOf time.Time
}

// Judgement is a campaign of the workspace, judged.
type Judgement struct {
	*Analysis
	// Result is what was kept, or would be: its ID, At and Seq are set with Keep.
	Result store.Result
	// Changed says that this result was not the latest one already.
	Changed bool
}

// Judge analyses the latest version of a campaign with what the workspace knows:
// the scatter of earlier campaigns on the same dyno and the rig as it was
// calibrated. With o.Keep the result is kept beside the earlier ones; the same
// result again changes nothing. Too little evidence is a verdict and no error.
func (w *Workspace) Judge(ctx context.Context, id string, o JudgeOptions) (*Judgement, error) {
	folder, entry, err := w.folder(ctx, id, 0)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	options, err := w.lend(ctx, &folder.Campaign, o.AsOf)
	if err != nil {
		return nil, err
	}
	options.Progress, options.Limits = o.Progress, o.Limits
	a, err := Analyse(ctx, folder, options)
	if err != nil {
		return nil, fmt.Errorf("campaign %s: %w", id, err)
	}
	j := &Judgement{Analysis: a}
	if j.Result, err = resultOf(a, options); err != nil {
		return nil, fmt.Errorf("campaign %s: %w", id, err)
	}
	j.Result.Version, j.Result.Data, j.Result.Program = entry.Version, entry.Digest, o.Program
	if !o.Keep {
		return j, nil
	}
	change, err := w.store.SaveResult(ctx, j.Result, o.By)
	if err != nil {
		return nil, err
	}
	j.Changed = change.Changed()
	kept, err := w.store.LatestResult(ctx, id)
	if err != nil {
		return nil, err
	}
	j.Result.ID, j.Result.At, j.Result.Seq = kept.ID, kept.At, kept.Seq
	return j, nil
}

// lend returns the options with which a campaign of the workspace is analysed. The
// history is that of campaigns begun before asOf, where that is zero before the
// campaign's own first pull.
func (w *Workspace) lend(ctx context.Context, c *campaign.Campaign, asOf time.Time) (Options, error) {
	var o Options
	if asOf.IsZero() {
		asOf = firstStart(c)
	}
	var err error
	if o.Past, err = w.history(ctx, PastQuery{Dyno: c.Dyno.ID, Vehicle: c.Vehicle.ID, Class: c.Vehicle.Class, Before: asOf, Without: c.ID, Meets: met(c)}); err != nil {
		return o, err
	}
	check, said, err := w.keptPlanCheck(ctx, c)
	if err != nil {
		return o, err
	}
	if said {
		o.Checks = append(o.Checks, check)
	}
	if c.Dyno.ID == "" {
		return o, nil
	}
	list, err := w.store.Calibrations(ctx, c.Dyno.ID)
	if err != nil {
		return o, err
	}
	o.Calibrations = inherited(list)
	check, said, err = w.standardCheck(ctx, c.Dyno.ID, firstStart(c))
	if said {
		o.Checks = append(o.Checks, check)
	}
	return o, err
}

// firstStart returns when the first pull began; zero without a pull.
func firstStart(c *campaign.Campaign) time.Time {
	var first time.Time
	for _, p := range c.Pulls {
		if first.IsZero() || p.Started.Before(first) {
			first = p.Started
		}
	}
	return first
}

// resultOf returns what is kept of an analysis that was made with the options, but
// for the data that it rests on and the program's version.
func resultOf(a *Analysis, o Options) (store.Result, error) {
	r := store.Result{Campaign: a.Campaign.ID, Checks: a.Checks, Verdict: verdictsOf(a.Comparisons)}
	var err error
	if r.Body, err = a.View("", quantity.SI).JSON(); err != nil {
		return r, err
	}
	study, err := a.study()
	if err != nil {
		return r, err
	}
	if r.Scatter, err = encodeStudy(study); err != nil {
		return r, err
	}
	r.Settings, err = encodeSettings(settingsOf(a, o))
	return r, err
}

// verdictsOf joins the verdicts of the comparisons for a list.
func verdictsOf(comparisons []compare.Comparison) string {
	var verdicts []string
	for _, c := range comparisons {
		if !slices.Contains(verdicts, string(c.Verdict)) {
			verdicts = append(verdicts, string(c.Verdict))
		}
	}
	return strings.Join(verdicts, "; ")
}

// study returns what the campaign says of its rig's scatter.
func (a *Analysis) study() (Study, error) {
	used := usedPulls(a.Pulls)
	s, err := compare.Study(a.input(used, a.SpeedRPM))
	return Study{
		Study:  s,
		Curves: slices.ContainsFunc(used, func(p *Pull) bool { return p.Kind == signal.Reduced }), Unusable: a.unusable(),
	}, err
}

// spoiling are the checks whose open fail says that pulls scatter for another reason
// than the rig. Each rests on other evidence than the torque, so that what is kept out
// of the history is not chosen by its scatter.
var spoiling = []string{"gear", "slip", "log-integrity", "log-repeated", "correction-stated", "pressure-plausible"}

// unusable names the open fails of spoiling checks, with their pulls.
func (a *Analysis) unusable() string {
	var names []string
	for _, k := range a.Checks {
		if len(k.Withholds) > 0 && slices.Contains(spoiling, k.ID) {
			names = append(names, "the check "+k.ID+" failed ("+pullList(k.Pulls)+")")
		}
	}
	return strings.Join(names, "; ")
}

// Rederive analyses again what a kept result rests on: the same version of the
// data, with the settings that the result names, by today's program. It returns
// the result as it is found now, with r's Program and nothing kept of it: body,
// scatter, checks and verdict are today's, and so is the method that the settings
// name. Data that are not those that the result rests on are an error.
func (w *Workspace) Rederive(ctx context.Context, r store.Result) (store.Result, error) {
	folder, entry, err := w.folder(ctx, r.Campaign, r.Version)
	if err != nil {
		return store.Result{}, err
	}
	defer folder.Close()
	if entry.Digest != r.Data {
		return store.Result{}, fmt.Errorf("campaign %s, version %d: its data have the digest %s, the result rests on %s", r.Campaign, r.Version, entry.Digest, r.Data)
	}
	options, err := w.optionsOf(ctx, r.Settings, &folder.Campaign)
	if err != nil {
		return store.Result{}, fmt.Errorf("campaign %s, result %s: %w", r.Campaign, r.ID, err)
	}
	a, err := Analyse(ctx, folder, options)
	if err != nil {
		return store.Result{}, fmt.Errorf("campaign %s: %w", r.Campaign, err)
	}
	now, err := resultOf(a, options)
	now.Version, now.Data, now.Program = r.Version, r.Data, r.Program
	return now, err
}
