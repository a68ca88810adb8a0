package lab

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"

	"fairpull/compare"
	"fairpull/ingest"
	"fairpull/mixture"
	"fairpull/report"
	"fairpull/signal"
)

// mixtureOfFolder is Mixture of a campaign: both sides at full throttle, and how much of
// a gain could come from a difference between them.
func mixtureOfFolder(ctx context.Context, q MixtureQuery) (*report.Mixture, error) {
	path := q.What[0]
	if len(q.Before) > 0 || q.AtLoad != [2]float64{} {
		return nil, declined("a campaign folder is compared side by side at full throttle: before and after, and other loads, are asked of logs")
	}
	if own := filepath.Join(path, MixtureFile); q.Settings == "" {
		if _, err := os.Stat(own); err == nil {
			q.Settings = own
		}
	}
	s, err := readMixtureSettings(q.Settings)
	if err != nil {
		return nil, err
	}
	folder, err := ingest.OpenDir(path)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	a, err := Analyse(ctx, folder, Options{})
	if err != nil {
		return nil, err
	}
	if q.Confidence == 0 {
		q.Confidence = a.Campaign.Objective.Confidence
	}
	w := newMixtureWork(q, s, "")
	w.view.Title, w.view.CurveLoad = a.Campaign.Title, "full throttle"
	pulls, err := w.pulls(ctx, folder, a)
	if err != nil {
		return nil, err
	}
	if err := w.pullCurves(a, pulls); err != nil {
		return nil, err
	}
	loops, err := w.loops(ctx, q, nil, nil)
	if err != nil {
		return nil, err
	}
	for i := range a.Comparisons {
		if err := w.sides(a, &a.Comparisons[i], pulls, loops); err != nil {
			return nil, err
		}
	}
	w.close(logsOf(pulls))
	return w.view, nil
}

// mixturePull is one pull with its lambda at full throttle.
type mixturePull struct {
	*Pull
	log    *mixtureLog
	block  int
	visits []mixture.Visit
}

// counts says whether a moment of the log belongs to full throttle: to the pull, or to a
// held speed with the throttle open.
func (p *mixturePull) counts(t float64) bool {
	if p.Steady == nil {
		return t >= p.Result.Phases.Start && t <= p.Result.Phases.End
	}
	for i := range p.Steady.Points {
		if h := &p.Steady.Points[i]; h.FullThrottle && t >= h.Start && t <= h.End {
			return true
		}
	}
	return false
}

func logsOf(pulls []mixturePull) []*mixtureLog {
	out := make([]*mixtureLog, len(pulls))
	for i := range pulls {
		out[i] = pulls[i].log
	}
	return out
}

// pulls reads the used pulls that have lambda and cuts them into visits at full throttle.
func (w *mixtureWork) pulls(ctx context.Context, folder *ingest.Folder, a *Analysis) ([]mixturePull, error) {
	found, err := w.readPulls(ctx, folder, usedPulls(a.Pulls))
	if err != nil {
		return nil, err
	}
	n := len(found)
	found = slices.DeleteFunc(found, func(p mixturePull) bool { return p.log == nil })
	if len(found) == 0 {
		return nil, declined("no used pull has a log over time, so there is no mixture in it")
	}
	if n > len(found) {
		w.view.Notes = append(w.view.Notes, fmt.Sprintf("%d of %d used pulls have no channels over time, or hold speeds beside pulls, and are left out.", n-len(found), n))
	}
	w.bySensor = slices.ContainsFunc(found, func(p mixturePull) bool { return p.log.sensor != nil })
	w.delays = w.pullDelays(found)
	r := mixture.DefaultRule(w.curveStep, 0)
	for i := range found {
		p := &found[i]
		series := p.log.series(w.delays)
		series.Load = nil
		series = only(series, func(k int) bool { return p.counts(series.Time[k]) })
		var left mixture.LeftOut
		if p.visits, left, err = mixture.Visits(series, r); err != nil {
			return nil, fmt.Errorf("%s: %w", p.Log, err)
		}
		w.view.LeftOut.Unread += left.Unread
		w.view.LeftOut.Short += left.Short
	}
	return found, nil
}

// readPulls reads the pulls' logs in parallel and numbers their blocks; a pull that is none
// at full throttle over time has no log.
func (w *mixtureWork) readPulls(ctx context.Context, folder *ingest.Folder, used []*Pull) ([]mixturePull, error) {
	found := make([]mixturePull, len(used))
	// Held speeds are looked at where there are no pulls.
	pulls := slices.ContainsFunc(used, func(p *Pull) bool { return p.Steady == nil })
	block := 0
	for i, p := range used {
		if i > 0 && (p.Configuration != used[i-1].Configuration || p.Setup != used[i-1].Setup) {
			block++
		}
		found[i] = mixturePull{Pull: p, block: block}
	}
	err := each(ctx, len(used), func(i int) error {
		p := used[i]
		if p.Kind != signal.Sampled || p.Result == nil || p.Steady != nil && pulls {
			return nil
		}
		log, err := folder.Log(p.Pull)
		if err == nil {
			found[i].log, err = newMixtureLog(p.Log, log, &w.settings, p.Result.Ratio)
		}
		return err
	})
	return found, err
}

// stepBefore and stepAfter are how long before and after the throttle opened a delay is
// looked for, s.
const stepBefore, stepAfter = 1.0, 2.0

// pullDelays finds how late the readings are from the moments at which the throttle opened:
// the mixture goes from that of a steady speed to that of full throttle.
func (w *mixtureWork) pullDelays(pulls []mixturePull) mixtureDelays {
	if pulls[0].Steady != nil {
		return findDelays(logsOf(pulls), &w.settings, w.speedStep, w.loadStep)
	}
	d := findDelays(nil, &w.settings, w.speedStep, w.loadStep)
	var sensors []mixture.Delay
	for i := range pulls {
		l := pulls[i].log
		if l.sensor == nil || w.settings.sensorDelay != nil || l.throttle == nil {
			continue
		}
		open := pulls[i].Result.Phases.FullThrottle
		from, to := rowsWithin(l.time, open-stepBefore, open+stepAfter)
		if one, err := mixture.FindDelay(l.time[from:to], l.throttle[from:to], l.sensor[from:to], sensorBounds); err == nil {
			sensors = append(sensors, one)
		}
	}
	if found, err := mixture.CombineDelays(middle(sensors)); err == nil {
		d.sensor, d.sensorSource = found, "the step of the mixture when the throttle opened"
	}
	return d
}

// pullCurves fills a curve for every configuration, a pull being one visit to each engine
// speed.
func (w *mixtureWork) pullCurves(a *Analysis, pulls []mixturePull) error {
	baseline, _ := a.Campaign.Baseline()
	for i := range a.Campaign.Configurations {
		c := &a.Campaign.Configurations[i]
		var visits []mixture.Visit
		for k := range pulls {
			if pulls[k].Configuration == c.ID {
				visits = append(visits, pulls[k].visits...)
			}
		}
		nodes, err := mixture.Curve(visits, w.curveStep, w.common(), w.confidence)
		if err != nil {
			return err
		}
		name := c.ID
		if c.Name != "" {
			name += " " + c.Name
		}
		w.view.Curves = append(w.view.Curves, report.MixtureCurve{Name: name, Candidate: c.ID != baseline.ID, Nodes: w.nodes(nodes, 1)})
	}
	return nil
}

// sides compares the two sides of a comparison.
func (w *mixtureWork) sides(a *Analysis, c *compare.Comparison, pulls []mixturePull, loops []*mixture.Sensitivity) error {
	var nodes []float64
	first, last := math.MaxInt, math.MinInt
	for i := range pulls {
		for _, v := range pulls[i].visits {
			first, last = min(first, v.Speed), max(last, v.Speed)
		}
	}
	for k := first; k <= last; k++ {
		nodes = append(nodes, float64(k)*w.curveStep)
	}
	var list []mixture.SidePull
	for i := range pulls {
		if p := &pulls[i]; p.Configuration == c.Baseline || p.Configuration == c.Candidate {
			list = append(list, p.side(p.Configuration == c.Candidate, first, len(nodes)))
		}
	}
	band := a.Campaign.Objective.BandRPM
	sides, err := mixture.CompareSides(list, nodes, band, w.common(), w.confidence)
	if errors.Is(err, mixture.ErrNoSide) {
		w.view.Notes = append(w.view.Notes, fmt.Sprintf("The mixture of %s is not compared with that of %s: %v.", c.Candidate, c.Baseline, err))
		return nil
	}
	if err != nil {
		return err
	}
	view := w.sidesView(a, c, sides)
	view.Share, view.NoShare = w.share(c, sides, loops)
	w.view.Sides = append(w.view.Sides, view)
	return nil
}

// side returns lambda of the pull at the nodes.
func (p *mixturePull) side(candidate bool, first, nodes int) mixture.SidePull {
	out := mixture.SidePull{Candidate: candidate, Block: p.block, Lambda: make([]float64, nodes), Slope: make([]float64, nodes)}
	for i := range out.Lambda {
		out.Lambda[i] = math.NaN()
	}
	for _, v := range p.visits {
		out.Lambda[v.Speed-first], out.Slope[v.Speed-first] = v.Lambda, v.Slope
	}
	return out
}

func (w *mixtureWork) sidesView(a *Analysis, c *compare.Comparison, s *mixture.Sides) report.MixtureSides {
	node := func(n mixture.SideNode) report.MixtureSideNode {
		return report.MixtureSideNode{RPM: n.SpeedRPM, Baseline: n.Baseline, Candidate: n.Candidate, Difference: n.Difference, Lo: n.Lo, Hi: n.Hi, AllLo: n.AllLo, AllHi: n.AllHi}
	}
	out := report.MixtureSides{Baseline: c.Baseline, Candidate: c.Candidate, Mean: node(s.Mean), ByBlock: s.ByBlock, Limit: a.Limits.Lambda, BandRPM: c.BandRPM}
	for i, id := range [2]string{c.Baseline, c.Candidate} {
		out.Names[i] = id
		if configuration, _ := a.Campaign.Configuration(id); configuration.Name != "" {
			out.Names[i] = id + " " + configuration.Name
		}
	}
	for _, n := range s.Nodes {
		out.Nodes = append(out.Nodes, node(n))
	}
	nan := math.NaN()
	out.Gain = report.RoadFigure{Value: nan, SE: nan, Lo: nan, Hi: nan, AtLeast: nan, AtMost: nan}
	if f := &c.Band; f.Missing == "" {
		out.Gain.Value = math.Expm1(f.Gain)
		if f.Interval {
			out.Gain.Lo, out.Gain.Hi = math.Expm1(f.Lo), math.Expm1(f.Hi)
		}
	}
	return out
}

// share returns how much of the gain could be the mixture: by the mixture loop whose engine
// speed is nearest to the middle of the sides, else by the published range.
func (w *mixtureWork) share(c *compare.Comparison, s *mixture.Sides, loops []*mixture.Sensitivity) (*report.MixtureShare, string) {
	within := *s
	within.Nodes = slices.DeleteFunc(slices.Clone(s.Nodes), func(n mixture.SideNode) bool { return !inBand(n.SpeedRPM, c.BandRPM) })
	in := mixture.ShareInput{Sides: &within, Sensor: w.settings.sensorU}
	for _, n := range within.Nodes {
		in.Weight = append(in.Weight, baselineAt(c, n.SpeedRPM))
	}
	source := mixture.Published.Source
	found, err := mixture.Published.Share(in, w.confidence)
	if len(loops) > 0 {
		nearest := loops[0]
		for _, l := range loops {
			if math.Abs(l.SpeedRPM-s.Mean.SpeedRPM) < math.Abs(nearest.SpeedRPM-s.Mean.SpeedRPM) {
				nearest = l
			}
		}
		source = fmt.Sprintf("this engine's own mixture loop at %.0f rpm", nearest.SpeedRPM)
		found, err = nearest.Share(in, w.confidence)
	}
	if err != nil {
		return nil, err.Error()
	}
	return &report.MixtureShare{Value: found.Value, Lo: found.Lo, Hi: found.Hi, Bounds: found.Bounds, Source: source}, ""
}

// baselineAt returns the baseline's torque at the node of the comparison that lies nearest.
func baselineAt(c *compare.Comparison, rpm float64) float64 {
	best, torque := math.Inf(1), 1.0
	for i := range c.Curve {
		if d := math.Abs(c.Curve[i].RPM - rpm); d < best {
			best, torque = d, c.Curve[i].Baseline
		}
	}
	return torque
}
