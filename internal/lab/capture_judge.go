package lab

import (
	"context"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/correction"
	"fairpull/ingest"
	"fairpull/internal/store"
	"fairpull/quantity"
	"fairpull/report"
)

func newCaptured(p campaign.Pull, in incoming) *report.CapturedPull {
	nan := math.NaN()
	return &report.CapturedPull{
		Name: p.Name, Configuration: p.Configuration, Setup: p.Setup, Log: p.Log, Digest: in.digest.Hex(), Started: p.Started,
		Excluded: p.Excluded, PeakTorqueNm: nan, PeakPowerW: nan, Factor: nan,
	}
}

// running is a campaign that is still being measured, as far as it can be looked at.
type running struct {
	analysis *Analysis        // of what is there; without comparisons while there is but one side
	failed   map[string]error // why a used pull could not be reduced: it is left out here
	problem  error            // why analysis is nil
}

// failedPull is a pull that could not be reduced as it stands.
type failedPull struct {
	campaign.Pull
	err error
}

// running analyses what a campaign has so far: configurations without a pull, and
// pulls that cannot be reduced, are left out. Those that could not before, and say the
// same still, are known and are not tried again; known is brought up to date. Nothing
// is written.
func (w *Workspace) running(ctx context.Context, id string, known map[string]failedPull) (*running, error) {
	record, err := w.store.Get(ctx, id)
	if err != nil {
		return nil, unknownCampaign(err)
	}
	options, err := w.lend(ctx, &record.Campaign, time.Time{})
	if err != nil {
		return nil, err
	}
	r := &running{failed: map[string]error{}}
	c := record.Campaign
	c.Pulls = slices.Clone(c.Pulls)
	leaveOut := func(at int, err error) {
		r.failed[c.Pulls[at].Name] = err
		c.Pulls[at].Excluded = "cannot be reduced" // here only, not in the workspace
	}
	for i, p := range c.Pulls {
		if before, failed := known[p.Name]; failed && p.Used() && reflect.DeepEqual(before.Pull, p) {
			leaveOut(i, before.err)
		}
	}
	for {
		r.analysis, err = analyseSoFar(ctx, c, memory(record.Logs), options)
		var of *PullError
		at := -1
		if errors.As(err, &of) {
			at = slices.IndexFunc(c.Pulls, func(p campaign.Pull) bool { return p.Name == of.Pull && p.Used() })
		}
		if at < 0 {
			break
		}
		known[of.Pull] = failedPull{c.Pulls[at], of.Err}
		leaveOut(at, of.Err)
	}
	if errors.Is(err, context.Canceled) {
		return nil, err
	}
	r.problem = err
	return r, nil
}

// errNothing says that a campaign has no pull that counts.
var errNothing = errors.New("no pull counts yet")

// analyseSoFar analyses the configurations that have a used pull. While there is
// but one side there is no comparison, and only the checks of single pulls are
// asked.
func analyseSoFar(ctx context.Context, c campaign.Campaign, files memory, o Options) (*Analysis, error) {
	used := map[string]bool{}
	for _, p := range c.Pulls {
		if p.Used() {
			used[p.Configuration] = true
		}
	}
	if len(used) == 0 {
		return nil, errNothing
	}
	kept := c
	kept.Configurations = slices.DeleteFunc(slices.Clone(c.Configurations), func(k campaign.Configuration) bool { return !used[k.ID] })
	kept.Pulls = slices.DeleteFunc(slices.Clone(c.Pulls), func(p campaign.Pull) bool { return !used[p.Configuration] })
	if _, both := kept.Baseline(); both && len(kept.Configurations) > 1 {
		kept.Plan = nil // its blocks may name what was left out; there is no verdict here
		folder, err := ingest.FromCampaign(kept, files)
		if err != nil {
			return nil, err
		}
		return Analyse(ctx, folder, o)
	}
	return analyseOneSide(ctx, ingest.Partial(c, files), o)
}

// analyseOneSide reduces and corrects the pulls, and asks the checks that a pull
// can be asked alone or beside the others.
func analyseOneSide(ctx context.Context, folder *ingest.Folder, o Options) (a *Analysis, err error) {
	c := folder.Campaign
	a = &Analysis{Campaign: &c, Limits: DefaultLimits(), units: quantity.SI}
	if o.Limits != nil {
		a.Limits = *o.Limits
	}
	if a.Standard, err = correction.ByName(c.Correction); err != nil {
		return nil, err
	}
	if err = a.reduce(ctx, folder, o); err != nil {
		return nil, err
	}
	if err = correct(&c, a.Standard, a.Pulls); err != nil {
		return nil, err
	}
	if err = sameKindOfFigure(a.Pulls); err != nil {
		return nil, err
	}
	if a.SpeedRPM, err = sharedGrid(a.Pulls, c.Objective.BandRPM); err != nil {
		return nil, err
	}
	a.BandCovered = covers(a.SpeedRPM, c.Objective.BandRPM)
	for _, ask := range []func() []campaign.Check{
		a.checkCorrectionRange, a.checkCorrectionStated, a.checkTemperatureRange, a.checkPressurePlausible, a.checkProcedure,
		a.checkTyreSpeed, a.checkGear, a.checkSlip, a.checkLogIntegrity, a.checkSameLog, a.checkBandCovered, a.checkPullRange, a.checkResolution,
	} {
		a.Checks = append(a.Checks, ask()...)
	}
	return a, nil
}

// judge fills in what an event says of a pull that was taken, and of all so far.
func (s *session) judge(ctx context.Context, entry store.Entry, was report.CaptureNext, event *report.Capture) {
	p := event.Pull
	what := p.Configuration
	if was.Code != "" {
		what = "code " + was.Code
	}
	head := fmt.Sprintf("Pull %s, %s in setup %s", p.Name, what, p.Setup)
	r, err := s.w.running(ctx, s.o.Campaign, s.failed)
	if err != nil {
		event.Message = head + ": kept; it could not be looked at: " + firstLine(err) + "."
		return
	}
	p.Reduced = r.describe(p)
	p.Accepted = p.Reduced && p.Excluded == "" && r.passes(p.Name)
	event.Message = head + ": " + r.words(p)
	if r.airIsEntered(p.Name) {
		age, doubt := s.air.words(s.clock.now())
		event.Message = strings.TrimRight(event.Message+" "+age, " ")
		if doubt {
			p.Doubts = append(p.Doubts, age)
		}
	}
	event.SoFar = r.soFar(&entry.Campaign)
	if blindStill(&entry.Campaign) && len(event.SoFar) > 0 {
		event.SoFar = []report.SoFar{event.SoFar[0].Blind()}
	}
	for _, so := range event.SoFar {
		event.Message += " " + so.Sentence()
	}
}

// blindStill reports whether the rider is not to know what is fitted, nor what it
// brings: until a blind plan is through.
func blindStill(c *campaign.Campaign) bool {
	return c.Plan != nil && c.Plan.Blind && !c.Progress().Finished
}

// describe puts in what the pull itself gave, and reports whether it gave a curve.
func (r *running) describe(p *report.CapturedPull) bool {
	if r.analysis == nil {
		return false
	}
	of := r.analysis.pull(p.Name)
	if of == nil || of.Result == nil {
		return false
	}
	p.Factor = of.Factor
	for i := range of.Corrected.Torque {
		if !(of.Corrected.Torque[i] <= p.PeakTorqueNm) {
			p.PeakTorqueNm = of.Corrected.Torque[i]
		}
		if power := of.Corrected.Power(i); !(power <= p.PeakPowerW) {
			p.PeakPowerW = power
		}
	}
	for _, k := range r.checksOf(p.Name) {
		p.Doubts = append(p.Doubts, k.ID+": "+k.Message)
	}
	return true
}

// aloneChecks are those that a pull is asked for itself, so that what other pulls
// lack does not stand in its line.
var aloneChecks = []string{"correction-range", "temperature-range", "pressure-plausible", "procedure", "tyre-speed", "log-integrity"}

// checksOf returns the checks that a pull did not pass, the failed ones first.
func (r *running) checksOf(pull string) []campaign.Check {
	p := r.analysis.pull(pull)
	if p == nil || !p.Used {
		return nil
	}
	alone := *r.analysis
	alone.Pulls = []Pull{*p}
	asked := slices.Concat(alone.checkCorrectionRange(), alone.checkTemperatureRange(), alone.checkPressurePlausible(),
		alone.checkProcedure(), alone.checkTyreSpeed(), alone.checkLogIntegrity())
	for _, k := range r.analysis.Checks {
		if !slices.Contains(aloneChecks, k.ID) {
			asked = append(asked, k)
		}
	}
	var found []campaign.Check
	for _, status := range []campaign.Status{campaign.Fail, campaign.Warn} {
		for _, k := range asked {
			if k.Status == status && slices.Contains(k.Pulls, pull) {
				found = append(found, k)
			}
		}
	}
	return found
}

// passes reports whether no check failed on the pull.
func (r *running) passes(pull string) bool {
	if r.analysis == nil {
		return false
	}
	for _, k := range r.checksOf(pull) {
		if k.Status == campaign.Fail {
			return false
		}
	}
	return true
}

// words says what became of a pull.
func (r *running) words(p *report.CapturedPull) string {
	const exclude = " It is kept; to leave it out, with its cause: exclude last because …"
	failed, didFail := r.failed[p.Name]
	switch {
	case didFail:
		return "WRONG: " + sentence(firstLine(failed)) + exclude
	case p.Excluded != "":
		return "kept and not counted: " + sentence(p.Excluded)
	case r.analysis == nil:
		return "WRONG: " + sentence(firstLine(r.problem)) + exclude
	case !p.Accepted && len(p.Doubts) > 0:
		return "WRONG: " + sentence(p.Doubts[0]) + exclude
	case len(p.Doubts) > 0:
		return "accepted, but look: " + sentence(p.Doubts[0])
	}
	return "accepted."
}

// sentence ends a text with a full stop.
func sentence(text string) string { return strings.TrimRight(text, ". ") + "." }

// airIsEntered reports whether a part of a pull's air was entered by hand.
func (r *running) airIsEntered(pull string) bool {
	if r.analysis == nil {
		return false
	}
	p := r.analysis.pull(pull)
	return p != nil && p.Weather != campaign.Weather{}
}

// soFar returns what is known of each candidate, or of the scatter alone.
func (r *running) soFar(c *campaign.Campaign) []report.SoFar {
	if r.analysis == nil {
		return nil
	}
	sd, df := r.analysis.repeatability()
	if len(r.analysis.Comparisons) == 0 {
		return []report.SoFar{{PullSD: sd, PullDF: df, Gain: math.NaN(), HalfWidth: math.NaN(), HalfWidthAtEnd: math.NaN(), Confidence: c.Objective.Confidence}}
	}
	var out []report.SoFar
	rest := restOf(c, r.analysis)
	for i := range r.analysis.Comparisons {
		k := &r.analysis.Comparisons[i]
		var end *compare.Expectation
		if len(rest) > 0 {
			if e, err := k.Outlook(rest); err == nil {
				end = &e
			}
		}
		so := report.SoFarOf(k, end)
		so.PullSD, so.PullDF = sd, df
		out = append(out, so)
	}
	return out
}

// restOf returns the blocks of the plan that are still to be measured, at the pace
// of the pulls so far; none without a plan, or where it was left.
func restOf(c *campaign.Campaign, a *Analysis) []compare.RestBlock {
	p := c.Progress()
	used := usedPulls(a.Pulls)
	if c.Plan == nil || len(p.Departures) > 0 || p.Next >= len(c.Plan.Blocks) || len(used) < 2 {
		return nil
	}
	hours := used[len(used)-1].Hours
	pace := (hours - used[0].Hours) / float64(len(used)-1)
	var rest []compare.RestBlock
	for i := p.Next; i < len(c.Plan.Blocks); i++ {
		b, pulls := c.Plan.Blocks[i], c.Plan.Blocks[i].Pulls
		setup := b.Setup
		if i == p.Next {
			pulls = p.Left
			if len(p.Measured) == i+1 {
				setup = p.Measured[i].Setup
			}
		}
		mean := hours + pace*(float64(pulls)+1)/2
		rest = append(rest, compare.RestBlock{Configuration: b.Configuration, Setup: setup, Pulls: pulls, Hours: mean})
		hours += pace * float64(pulls)
	}
	return rest
}

// repeatability returns the SD from pull to pull within the campaign's own blocks,
// of the mean torque over the band (over the shared range without one), ln, with
// its degrees of freedom; NaN and 0 where no block has two pulls.
func (a *Analysis) repeatability() (sd, df float64) {
	var squares float64
	var block []float64
	end := func() {
		m := meanOf(block)
		for _, v := range block {
			squares += (v - m) * (v - m)
		}
		df += max(float64(len(block)-1), 0)
		block = nil
	}
	used := usedPulls(a.Pulls)
	for i, p := range used {
		if i > 0 && (p.Configuration != used[i-1].Configuration || p.Setup != used[i-1].Setup) {
			end()
		}
		block = append(block, math.Log(meanTorque(p, a.SpeedRPM, a.Campaign.Objective.BandRPM)))
	}
	end()
	if df == 0 {
		return math.NaN(), 0
	}
	return math.Sqrt(squares / df), df
}

// meanTorque returns the mean corrected torque of a pull, N·m, at the nodes of the
// grid that lie in the band.
func meanTorque(p *Pull, grid []float64, band [2]float64) float64 {
	var values []float64
	for i, ln := range logTorqueAt(p, grid) {
		if inBand(grid[i], band) {
			values = append(values, math.Exp(ln))
		}
	}
	return meanOf(values)
}
