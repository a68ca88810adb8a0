package lab

import (
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/drum"
	"fairpull/reduce"
	"fairpull/report"
	"fairpull/signal"
)

// contentColumn of pulls.csv says what a log holds where that is not to be told from
// the log itself: "pull" or "steady".
const (
	contentColumn = "log_content"
	contentPull   = "pull"
	contentSteady = "steady"
)

// minHeldNodes is the least number of held speeds that a comparison can stand on.
const minHeldNodes = 5

// findSteady looks whether the log is one of steady points, and keeps them if so. A
// row of pulls.csv that says what its log holds is taken at its word.
func (r *reduction) findSteady(log *signal.Log) error {
	stated := r.pull.Values[contentColumn]
	if stated == contentPull || stated != contentSteady && !reduce.HasBrake(log) {
		return nil
	}
	s, err := reduce.FindSteady(log, r.settings, reduce.DefaultSteadyRule())
	switch {
	case err != nil && stated == contentSteady:
		return fmt.Errorf("%s: %w", r.pull.Log, err)
	case err != nil: // a pull with a brake channel that says nothing
		return nil
	case len(s.Points) == 0 && stated == contentSteady:
		return fmt.Errorf("%s: pulls.csv says log_content = steady, and the log holds no steady point. %s", r.pull.Log, whyNoPoint(s))
	case stated == contentSteady || s.IsSteady():
		r.pull.Steady = s
	}
	return nil
}

// whyNoPoint says what looked held and does not count, or what counts.
func whyNoPoint(s *reduce.Steady) string {
	if len(s.LeftOut) == 0 {
		return s.Rule
	}
	l := s.LeftOut[0]
	return fmt.Sprintf("At %.1f s, %.0f rpm: %s.", l.From, l.RPM, l.Why)
}

// holdSpeeds puts the steady logs at the speeds that they hold in common.
func holdSpeeds(work []reduction, grid []float64) {
	var all, used []*reduce.Steady
	var of []*Pull
	for i := range work {
		if s := work[i].pull.Steady; s != nil {
			all, of = append(all, s), append(of, work[i].pull)
			if work[i].pull.Used {
				used = append(used, s)
			}
		}
	}
	if len(used) > 0 {
		grid = reduce.HeldNodes(used, grid, reduce.DefaultSteadyRule())
	}
	for i, r := range reduce.HeldResults(all, grid, reduce.DefaultSteadyRule()) {
		of[i].Result = r
	}
}

// takeApart takes the steady logs out of the pulls of an analysis where there are
// both: what is compared is then the one way, and the other beside it.
func (a *Analysis) takeApart() {
	var pulls, steady []Pull
	for _, p := range a.Pulls {
		if p.Steady != nil {
			steady = append(steady, p)
		} else {
			pulls = append(pulls, p)
		}
	}
	if len(usedOf(pulls)) == 0 || len(usedOf(steady)) == 0 {
		a.allSteady = len(usedOf(steady)) > 0
		return
	}
	a.Pulls, a.other = pulls, steady
	if !a.bothSides(pulls) && a.bothSides(steady) {
		a.Pulls, a.other, a.allSteady = steady, pulls, true
	}
}

func usedOf(pulls []Pull) []Pull {
	return slices.DeleteFunc(slices.Clone(pulls), func(p Pull) bool { return !p.Used })
}

// bothSides says whether every configuration has a used pull.
func (a *Analysis) bothSides(pulls []Pull) bool {
	for _, c := range a.Campaign.Configurations {
		if !slices.ContainsFunc(pulls, func(p Pull) bool { return p.Used && p.Configuration == c.ID }) {
			return false
		}
	}
	return true
}

// compareHeld analyses the steady logs of a campaign that has pulls as well, and how
// both ways of measuring differ. Steady logs that cannot be compared leave a note.
func (a *Analysis) compareHeld(ctx context.Context, o Options) error {
	if a.other == nil {
		return nil
	}
	if a.allSteady || !a.bothSides(a.other) {
		a.Checks = append(a.Checks, a.unusedWay())
		return nil
	}
	held := &Analysis{Campaign: a.Campaign, Standard: a.Standard, Limits: a.Limits, units: a.units, Pulls: a.other, allSteady: true, given: nil}
	if err := held.conclude(ctx, o); err != nil {
		return fmt.Errorf("the steady logs of the campaign: %w", err)
	}
	a.Held = held
	return a.compareWays()
}

// unusedWay says that the campaign has rows that nothing was compared with.
func (a *Analysis) unusedWay() campaign.Check {
	var names []string
	for _, p := range a.other {
		if p.Used {
			names = append(names, p.Name)
		}
	}
	what, is := "steady points", "pulls"
	if a.allSteady {
		what, is = "pulls", "steady points"
	}
	return campaign.Check{
		ID: "one-sided", Status: campaign.Warn, Pulls: names, LimitSource: "every configuration is needed", Touches: []string{"curve"},
		Message: fmt.Sprintf("The logs of %s are %s, and not every configuration has such logs: they were left aside, and the %s were compared.", pullList(names), what, is),
	}
}

// heldGrid returns the held speeds that every used steady log has.
func heldGrid(used []*Pull) ([]float64, error) {
	var shared []float64
	for _, rpm := range used[0].Corrected.SpeedRPM {
		if everyPullHas(used, rpm) {
			shared = append(shared, rpm)
		}
	}
	if len(shared) < minHeldNodes {
		return nil, fmt.Errorf("the used steady logs hold %d speeds in common at full throttle; a comparison needs %d.\n  Hold the same speeds in every log; see what each holds with: fairpull steady FOLDER", len(shared), minHeldNodes)
	}
	return shared, nil
}

// noPeaks says why no peak is read off held speeds, or nothing where they lie close
// enough together.
func noPeaks(grid []float64) string {
	if len(grid) < 2 {
		return ""
	}
	widest := 0.0
	for i := 1; i < len(grid); i++ {
		widest = math.Max(widest, grid[i]-grid[i-1])
	}
	// A peak is read on a parabola through five neighbours, which may span two
	// fifteenths of the range (docs/method.md): held speeds reach over more.
	if 4*widest <= 2*(grid[len(grid)-1]-grid[0])/15+1e-6 {
		return ""
	}
	return fmt.Sprintf("the held speeds lie up to %.0f rpm apart, too far to read a peak between them", widest)
}

// compareWays compares held with accelerating torque, configuration by
// configuration, and the gains of both ways.
func (a *Analysis) compareWays() error {
	var grid []float64
	for _, rpm := range a.Held.SpeedRPM {
		if slices.Contains(a.SpeedRPM, rpm) {
			grid = append(grid, rpm)
		}
	}
	a.Ways = &report.Ways{}
	if len(grid) < minHeldNodes {
		a.Ways.Missing = fmt.Sprintf("pulls and steady points share %d engine speeds, and %d are needed", len(grid), minHeldNodes)
		return nil
	}
	for i := range a.Campaign.Configurations {
		way, err := a.wayOf(a.Campaign.Configurations[i].ID, grid)
		if err != nil {
			return err
		}
		a.Ways.Configurations = append(a.Ways.Configurations, way)
	}
	for i := range a.Comparisons {
		a.Ways.Gains = append(a.Ways.Gains, a.gainOfWays(i))
	}
	return nil
}

// Names of the two sides of a comparison of ways.
const (
	acceleratingSide = "accelerating"
	heldSide         = "held"
)

// wayOf compares the held torque of one configuration with that of its pulls: the
// machinery of a gain, with the way of measuring in the place of the part.
func (a *Analysis) wayOf(id string, grid []float64) (report.Way, error) {
	in := a.input(nil, grid)
	in.Baseline, in.Candidates = acceleratingSide, []string{heldSide}
	in.BandRPM, in.BandCovered, in.LossPlacement, in.SmallestGain = [2]float64{}, true, nil, 0
	in.NoPeaks = "a difference of ways has no peak"
	in.History = a.waysHistory()
	sides := [2][]*Pull{}
	for k, pulls := range [2][]Pull{a.Pulls, a.Held.Pulls} {
		for i := range pulls {
			p := &pulls[i]
			if !p.Used || p.Configuration != id {
				continue
			}
			sides[k] = append(sides[k], p)
			in.Pulls = append(in.Pulls, compare.Pull{
				Name: p.Name, Configuration: [2]string{acceleratingSide, heldSide}[k], Setup: p.Setup, Hours: p.Hours,
				LogTorque: logTorqueAt(p, grid), LnFactor: math.Log(p.Factor),
			})
		}
	}
	way := report.Way{Configuration: id, Inertia: math.NaN(), InertiaLo: math.NaN(), InertiaHi: math.NaN()}
	compared, err := compare.Compare(in)
	if err != nil {
		return way, fmt.Errorf("held and accelerating torque of configuration %s: %w", id, err)
	}
	way.Comparison = compared[0]
	a.fillInertia(&way, grid, sides)
	return way, nil
}

// waysHistory is the history without what it says of pulls: the scatter of a steady
// log is another.
func (a *Analysis) waysHistory() compare.History {
	h := history(a.Campaign.History)
	h.Pull = compare.Spread{}
	return h
}

// fillInertia works out which rotating inertia the difference of ways stands for: at
// each speed it is inertia times the drum's acceleration in the pulls, so over the
// shared speeds it is the mean difference of drum torque over the mean acceleration.
// The correction for the air is taken off again, for inertia does not know of it.
func (a *Analysis) fillInertia(way *report.Way, grid []float64, sides [2][]*Pull) {
	var torque, alpha, factor float64
	n := 0.0
	for _, p := range sides[0] {
		if p.Result.Acceleration == nil {
			return // curves reduced elsewhere
		}
		for i, rpm := range p.Corrected.SpeedRPM {
			if slices.Contains(grid, rpm) {
				torque, alpha, factor, n = torque+p.Result.DrumTorque[i], alpha+p.Result.Acceleration[i], factor+p.Factor, n+1
			}
		}
	}
	if !(alpha > 0) || n == 0 {
		return
	}
	torque, alpha = torque/n, alpha/n
	way.Ratio = medianRatio(sides[0])
	f := way.Comparison.Band
	inertia := func(gain float64) float64 { return math.Expm1(gain) * torque / alpha }
	way.Acceleration, way.Inertia = alpha, inertia(f.Gain)
	if f.Interval {
		way.InertiaLo, way.InertiaHi = inertia(f.Lo), inertia(f.Hi)
	}
	s := settings(a.Campaign, way.Configuration)
	way.WheelInertia = drum.ReferWheelInertia(s.WheelInertia, s.WheelRadius, s.Radius)
	way.DrumInertia = s.Inertia
}

func medianRatio(pulls []*Pull) float64 {
	var ratios []float64
	for _, p := range pulls {
		if p.Result.Ratio > 0 {
			ratios = append(ratios, p.Result.Ratio)
		}
	}
	if len(ratios) == 0 {
		return math.NaN()
	}
	return median(ratios)
}

// gainOfWays sets the gain of comparison i in pulls against that of the steady
// points, over the speeds of the riding band that both have. Their errors are taken
// as independent: what both ways share, a setup's offset, makes the true interval of
// the difference narrower.
func (a *Analysis) gainOfWays(i int) report.GainOfWays {
	c := &a.Comparisons[i]
	nan := math.NaN()
	out := report.GainOfWays{Candidate: c.Candidate, Difference: nan, Lo: nan, Hi: nan, WheelShare: nan}
	at := slices.IndexFunc(a.Held.Comparisons, func(h compare.Comparison) bool { return h.Candidate == c.Candidate })
	if at < 0 {
		return out
	}
	held := &a.Held.Comparisons[at]
	out.Accelerating, out.Held = c.Band, held.Band
	if c.Band.Missing != "" || held.Band.Missing != "" {
		return out
	}
	out.Difference = c.Band.Gain - held.Band.Gain
	if c.Band.Interval && held.Band.Interval {
		v1, v2 := c.Band.SE*c.Band.SE, held.Band.SE*held.Band.SE
		df := (v1 + v2) * (v1 + v2) / (v1*v1/c.Band.DF + v2*v2/held.Band.DF)
		half := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.5+c.Confidence/2) * math.Sqrt(v1+v2)
		out.Lo, out.Hi = out.Difference-half, out.Difference+half
	}
	x, y := settings(a.Campaign, c.Baseline), settings(a.Campaign, c.Candidate)
	wheelA := drum.ReferWheelInertia(x.WheelInertia, x.WheelRadius, x.Radius)
	wheelB := drum.ReferWheelInertia(y.WheelInertia, y.WheelRadius, y.Radius)
	if wheelA > 0 && wheelB > 0 {
		out.WheelShare = drum.WheelShare(wheelA, wheelB, x.Inertia)
	}
	return out
}

// otherRow is the row of a log that was not compared with the pulls: it is in the
// record, and its figures stand elsewhere.
func (a *Analysis) otherRow(p *Pull) report.PullRow {
	apart := *p
	apart.Result = nil
	row := a.row(&apart, nil)
	row.Notes = row.Notes[:len(row.Notes)-1] // that it was not reduced
	what := "a pull; the comparison is of steady points"
	if p.Steady != nil {
		what = fmt.Sprintf("a steady log of %d points, compared apart", len(p.Steady.Points))
	}
	row.Notes = append(row.Notes, what)
	return row
}

// heldBand words the check of a riding band to whose ends the held speeds do not
// reach, and names the logs that do not.
func (a *Analysis) heldBand(k campaign.Check) campaign.Check {
	band := a.Campaign.Objective.BandRPM
	for _, p := range usedPulls(a.Pulls) {
		if !covers(p.Corrected.SpeedRPM, band) {
			k.Pulls = append(k.Pulls, p.Name)
		}
	}
	which := "No log lacks them by itself, but they do not hold the same ones"
	if len(k.Pulls) > 0 {
		which = "Not held at full throttle to both ends: " + pullList(k.Pulls)
	}
	k.Message = fmt.Sprintf("The used steady logs share held speeds from %.0f to %.0f rpm and the riding band is %.0f to %.0f rpm: there is no band figure, and no narrower one is put in its place. %s. Hold both ends of the band in every log, for long enough (fairpull steady says why a speed does not count), or state the band that was meant.",
		a.SpeedRPM[0], a.SpeedRPM[len(a.SpeedRPM)-1], band[0], band[1], which)
	return k
}
