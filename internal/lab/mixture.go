package lab

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"fairpull/ingest"
	"fairpull/mixture"
	"fairpull/quantity"
	"fairpull/report"
	"fairpull/signal"
)

// MixtureQuery asks how rich an engine ran.
type MixtureQuery struct {
	What     []string // one campaign folder, or logs that are taken together
	Before   []string // logs from before a change, to compare with
	Loops    []string // logs with a mixture loop, besides those in What
	Settings string   // file that says what is wanted; empty: mixture.toml of the folder, where there is one
	// AtLoad is the range of load at which the curve stands, in % of throttle or kPa; zero:
	// full load.
	AtLoad     [2]float64
	Confidence float64 // 0: that of the campaign, or 0.95
	Version    string
}

// usualConfidence is that of intervals where nothing else is said.
const usualConfidence = 0.95

// maxMixtureLogs bounds the logs that are taken together.
const maxMixtureLogs = 200

// Mixture finds lambda over engine speed and load with its intervals, and what change of
// fuel would bring it to its target. Nothing is written to any vehicle.
func Mixture(ctx context.Context, q MixtureQuery) (*report.Mixture, error) {
	if len(q.What) == 0 || len(q.What)+len(q.Before)+len(q.Loops) > maxMixtureLogs {
		return nil, declined("the mixture is found from one campaign folder or from 1 to %d logs", maxMixtureLogs)
	}
	if q.Confidence != 0 && !(q.Confidence > 0.5 && q.Confidence < 1) {
		return nil, declined("a confidence of %g: it lies between 0.5 and 1", q.Confidence)
	}
	if len(q.What) == 1 && IsFolder(q.What[0]) {
		return mixtureOfFolder(ctx, q)
	}
	for _, name := range q.What {
		if info, err := os.Stat(name); err == nil && info.IsDir() {
			return nil, declined("%s is a folder without %s: give one campaign folder, or logs", name, ingest.CampaignFile)
		}
	}
	return mixtureOfLogs(ctx, q)
}

// readMixtureLogs reads logs in parallel.
func readMixtureLogs(ctx context.Context, files []string, s *mixtureSettings) ([]*signal.Log, error) {
	logs := make([]*signal.Log, len(files))
	err := each(ctx, len(files), func(i int) error {
		data, err := readWhole(files[i], ingest.MaxLogBytes)
		if err != nil {
			return err
		}
		logs[i], err = ingest.ParseEngineLog(filepath.Base(files[i]), data, ingest.LogOptions{Channels: s.channels})
		return err
	})
	return logs, err
}

// readWhole is readBounded for large files: the bytes are read into room of their size at
// once.
func readWhole(path string, limit int64) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() || info.Size() > limit {
		return readBounded(path, int(limit)) // which says what is wrong
	}
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data := make([]byte, info.Size())
	n, err := io.ReadFull(file, data)
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		err = nil // it was cut while it was read
	}
	return data[:n], err
}

// takeLogs takes the readings out of the logs; all with the load that all have.
func takeLogs(files []string, logs []*signal.Log, s mixtureSettings, load string) ([]*mixtureLog, error) {
	s.load = load
	out := make([]*mixtureLog, len(logs))
	for i, log := range logs {
		var err error
		if out[i], err = newMixtureLog(filepath.Base(files[i]), log, &s, 0); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// mixtureOfLogs is Mixture of logs that belong to one state of the engine.
func mixtureOfLogs(ctx context.Context, q MixtureQuery) (*report.Mixture, error) {
	s, err := readMixtureSettings(q.Settings)
	if err != nil {
		return nil, err
	}
	parsed, err := readMixtureLogs(ctx, q.What, &s)
	if err != nil {
		return nil, err
	}
	load := loadChannel(parsed, &s)
	logs, err := takeLogs(q.What, parsed, s, load)
	if err != nil {
		return nil, err
	}
	w := newMixtureWork(q, s, load)
	w.view.Title = strings.Join(baseNames(q.What), ", ")
	w.delays = findDelays(logs, &s, w.speedStep, w.loadStep)
	series := make([]mixture.Series, len(logs))
	for i, l := range logs {
		series[i] = l.series(w.delays)
	}
	if err := w.curveAtLoad(logs, series); err != nil {
		return nil, err
	}
	visits, left, err := w.visits(series)
	if err != nil {
		return nil, err
	}
	w.view.LeftOut = report.MixtureLeftOut(left)
	w.gasAgainstSensor(logs, visits)
	if load != "" {
		grid, err := mixture.NewGrid(visits, w.rule(), w.targets, w.common(), w.confidence)
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrRefused, err)
		}
		w.view.Grid = gridView(grid)
		if err := w.before(ctx, q, grid); err != nil {
			return nil, err
		}
	} else if len(q.Before) > 0 {
		return nil, declined("before and after are compared cell by cell of engine speed and load, and no load is logged; log throttle or manifold_pressure")
	}
	if _, err := w.loops(ctx, q, logs, series); err != nil {
		return nil, err
	}
	w.close(logs)
	return w.view, nil
}

func baseNames(files []string) []string {
	out := make([]string, len(files))
	for i, f := range files {
		out[i] = filepath.Base(f)
	}
	return out
}

// mixtureWork is one answer in the making.
type mixtureWork struct {
	view       *report.Mixture
	settings   mixtureSettings
	targets    mixture.Targets // loads in SI
	load       string          // channel; empty: none
	speedStep  float64         // of the grid, 1/min
	curveStep  float64
	loadStep   float64 // SI
	confidence float64
	delays     mixtureDelays
	bySensor   bool
	atLoad     [2]float64 // that was asked for, in % or kPa
}

func newMixtureWork(q MixtureQuery, s mixtureSettings, load string) *mixtureWork {
	w := &mixtureWork{settings: s, load: load, confidence: q.Confidence, bySensor: true, atLoad: q.AtLoad}
	if w.confidence == 0 {
		w.confidence = usualConfidence
	}
	w.targets, w.loadStep = s.inSI(load)
	w.speedStep, w.curveStep = s.steps()
	w.view = &report.Mixture{
		Sources: q.What, Confidence: w.confidence, Version: q.Version, Stoichiometric: s.stoichiometric(), Targeted: len(s.targets) > 0,
	}
	switch load {
	case signal.Throttle:
		w.view.Load = quantity.Ratio
	case signal.ManifoldPressure:
		w.view.Load = quantity.Pressure
	}
	return w
}

func (w *mixtureWork) rule() mixture.Rule { return mixture.DefaultRule(w.speedStep, w.loadStep) }

// common is what all readings of lambda share.
func (w *mixtureWork) common() mixture.Common {
	if !w.bySensor {
		return mixture.Common{Sensor: w.settings.gasU, Delay: w.delays.gas.UTotal}
	}
	return mixture.Common{Sensor: w.settings.sensorU, Delay: w.delays.sensor.UTotal}
}

// visits returns the stays of all logs in the cells of the grid; without a load, in those
// of engine speed alone.
func (w *mixtureWork) visits(series []mixture.Series) ([]mixture.Visit, mixture.LeftOut, error) {
	var all []mixture.Visit
	var left mixture.LeftOut
	for i, s := range series {
		if w.load == "" {
			s.Load = nil
		}
		visits, l, err := mixture.Visits(s, w.rule())
		if err != nil {
			return nil, left, fmt.Errorf("%w: %w; take wider steps under [grid] of the settings", ErrRefused, err)
		}
		left = mixture.LeftOut{Unsettled: left.Unsettled + l.Unsettled, Unread: left.Unread + l.Unread, Short: left.Short + l.Short}
		for k := range visits {
			visits[k].Log = i
		}
		all = append(all, visits...)
	}
	return all, left, nil
}

// fullLoad is the share of the greatest load from which on it is full: common practice.
const fullLoad = 0.9

// loadSpan returns the range of load in which the curve stands, in SI, and its name.
func (w *mixtureWork) loadSpan(q [2]float64, logs []*mixtureLog) (lo, hi float64, name string) {
	scale, unit := 0.01, "% throttle"
	if w.load == signal.ManifoldPressure {
		scale, unit = 1000, "kPa manifold pressure"
	}
	if q != [2]float64{} {
		return q[0] * scale, q[1] * scale, fmt.Sprintf("%g to %g %s", q[0], q[1], unit)
	}
	greatest := 0.0
	for _, l := range logs {
		for _, v := range l.load {
			if v > greatest && !math.IsInf(v, 0) {
				greatest = v
			}
		}
	}
	return fullLoad * greatest, math.Inf(1), fmt.Sprintf("%.0f %s and more", fullLoad*greatest/scale, unit)
}

// curveAtLoad fills the curve of lambda over engine speed at the load that was asked for.
func (w *mixtureWork) curveAtLoad(logs []*mixtureLog, series []mixture.Series) error {
	w.bySensor = false
	for _, l := range logs {
		w.bySensor = w.bySensor || l.sensor != nil
	}
	r := mixture.DefaultRule(w.curveStep, 0)
	var visits []mixture.Visit
	middleLoad := math.NaN()
	lo, hi := 0.0, 0.0
	if w.view.CurveLoad = "every load"; w.load != "" {
		lo, hi, w.view.CurveLoad = w.loadSpan(w.atLoad, logs)
		middleLoad = (lo + math.Min(hi, lo/fullLoad)) / 2
	}
	for _, s := range series {
		if s.Load != nil {
			s = atLoad(s, lo, hi, r.Settle)
		}
		found, _, err := mixture.Visits(s, r)
		if err != nil {
			return fmt.Errorf("%w: %w; take a wider speed_step_rpm under [grid] of the settings", ErrRefused, err)
		}
		visits = append(visits, found...)
	}
	nodes, err := mixture.Curve(visits, w.curveStep, w.common(), w.confidence)
	if err != nil {
		return err
	}
	w.view.Curves = []report.MixtureCurve{{Name: "all logs", Nodes: w.nodes(nodes, middleLoad)}}
	return nil
}

// nodes brings nodes to the view, each with the target that holds there.
func (w *mixtureWork) nodes(nodes []mixture.Node, load float64) []report.MixtureNode {
	out := make([]report.MixtureNode, len(nodes))
	for i, n := range nodes {
		out[i] = report.MixtureNode{RPM: n.SpeedRPM, Visits: n.Visits, Seconds: n.Seconds, Lambda: n.Lambda, Lo: n.Lo, Hi: n.Hi, AllLo: n.AllLo, AllHi: n.AllHi, Target: math.NaN(), Leanest: math.NaN()}
		if t, ok := w.targets.At(n.SpeedRPM, load); ok {
			out[i].Target, out[i].Leanest = t.Lambda, t.Leanest
		}
	}
	return out
}

// before compares the cells with those of logs from before a change.
func (w *mixtureWork) before(ctx context.Context, q MixtureQuery, after *mixture.Grid) error {
	if len(q.Before) == 0 {
		return nil
	}
	parsed, err := readMixtureLogs(ctx, q.Before, &w.settings)
	if err != nil {
		return err
	}
	logs, err := takeLogs(q.Before, parsed, w.settings, w.load)
	if err != nil {
		return err
	}
	delays := findDelays(logs, &w.settings, w.speedStep, w.loadStep)
	series := make([]mixture.Series, len(logs))
	for i, l := range logs {
		series[i] = l.series(delays)
	}
	visits, _, err := w.visits(series)
	if err != nil {
		return err
	}
	grid, err := mixture.NewGrid(visits, w.rule(), w.targets, w.common(), w.confidence)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrRefused, err)
	}
	changes, err := mixture.CompareGrids(grid, after, w.confidence)
	if err != nil {
		return err
	}
	if len(changes) == 0 {
		w.view.Notes = append(w.view.Notes, "No cell has three visits both before and after, so nothing is compared.")
	}
	for _, c := range changes {
		row := report.MixtureChange{RPM: c.After.SpeedRPM, Load: c.After.Load, Before: c.Before.Lambda, After: c.After.Lambda, Target: math.NaN(), Moved: c.Moved, Lo: c.Lo, Hi: c.Hi}
		if c.After.Targeted {
			row.Target = c.After.Target.Lambda
		}
		w.view.Changes = append(w.view.Changes, row)
	}
	return nil
}

// gridView takes a grid over.
func gridView(g *mixture.Grid) *report.MixtureGrid {
	out := &report.MixtureGrid{SpeedStep: g.SpeedStep, LoadStep: g.LoadStep, PooledSD: g.PooledSD, PooledFreedom: g.PooledFreedom, Effective: g.Smoothing.Effective}
	for i := range g.Cells {
		c := &g.Cells[i]
		v := report.MixtureCell{
			RPM: c.SpeedRPM, Load: c.Load, Visits: c.Visits, Seconds: c.Seconds, Known: !c.Blank(),
			Lambda: c.Lambda, Lo: c.Lo, Hi: c.Hi, Smooth: c.Smooth, SmoothLo: c.SmoothLo, SmoothHi: c.SmoothHi,
			Target: math.NaN(), Leanest: math.NaN(), Error: c.Error, ErrorLo: c.ErrorLo, ErrorHi: c.ErrorHi, Fuel: c.Change, Why: string(c.Why),
		}
		if c.Targeted {
			v.Target, v.Leanest = c.Target.Lambda, c.Target.Leanest
		}
		if v.Known {
			out.Known++
		}
		out.Cells = append(out.Cells, v)
	}
	return out
}

// gasLimit is how far sensor and gas may lie apart in lambda: the limit that two sides are
// held to.
func gasLimit() float64 { return DefaultLimits().Lambda }

// gasAgainstSensor compares the two readings visit by visit.
func (w *mixtureWork) gasAgainstSensor(logs []*mixtureLog, visits []mixture.Visit) {
	both := false
	for _, l := range logs {
		both = both || l.sensor != nil && l.gas != nil
	}
	if !both {
		return
	}
	u := mixture.Common{Sensor: math.Hypot(w.settings.sensorU, w.settings.gasU), Delay: w.delays.gas.UTotal}
	a, ok := mixture.Agreement(visits, u, w.confidence)
	if !ok {
		w.view.Notes = append(w.view.Notes, "Sensor and gas were never both read for a visit, so they are not compared: hold each place longer than the analyser is late.")
		return
	}
	w.view.Gas = &report.MixtureGas{Difference: a.Lambda, Lo: a.Lo, Hi: a.Hi, Visits: a.Visits, Limit: gasLimit(), Basis: w.settings.basis}
}

// close adds what must be said beside the figures.
func (w *mixtureWork) close(logs []*mixtureLog) {
	sensor, gas, gone := false, false, 0
	for _, l := range logs {
		sensor, gas, gone = sensor || l.sensor != nil, gas || l.gas != nil, gone+l.gone
	}
	w.view.Delays = w.delays.rows(sensor, gas)
	if gone > 0 {
		w.view.Notes = append(w.view.Notes, fmt.Sprintf("%d rows were left out because their time is not later than that of a row before.", gone))
	}
	if sensor && w.settings.sensorU == 0 {
		w.view.Notes = append(w.view.Notes, "No uncertainty of the sensor's own calibration is stated ([sensor] u_lambda of the settings): the intervals cover the scatter of visits and the delay, and a sensor that reads wrongly throughout stays unseen.")
	}
	if w.settings.afrRatio > 0 && sensor {
		w.view.Notes = append(w.view.Notes, fmt.Sprintf("Where a log has no lambda, the meter's air/fuel ratio was divided by %g, the ratio that the settings state.", w.settings.afrRatio))
	}
}

// loops finds the mixture loops in the logs and in those named for it.
func (w *mixtureWork) loops(ctx context.Context, q MixtureQuery, logs []*mixtureLog, series []mixture.Series) ([]*mixture.Sensitivity, error) {
	var points []mixture.LoopPoint
	for i, l := range logs {
		found, err := loopPoints(l, series[i], w.load)
		if err != nil {
			return nil, err
		}
		points = append(points, found...)
	}
	parsed, err := readMixtureLogs(ctx, q.Loops, &w.settings)
	if err != nil {
		return nil, err
	}
	load, loadStep := w.load, w.loadStep
	if len(logs) == 0 { // of a campaign, whose load is full throttle: the loops have their own
		load = loadChannel(parsed, &w.settings)
		_, loadStep = w.settings.inSI(load)
	}
	named, err := takeLogs(q.Loops, parsed, w.settings, load)
	if err != nil {
		return nil, err
	}
	for _, l := range named {
		if l.torque == nil {
			return nil, declined("%s: a mixture loop needs the torque that goes with each mixture; log brake_torque or brake_force", l.name)
		}
		found, err := loopPoints(l, l.series(w.delays), load)
		if err != nil {
			return nil, err
		}
		points = append(points, found...)
	}
	found, _, err := mixture.Loops(points, w.speedStep, loadStep, w.confidence)
	if err != nil {
		return nil, err
	}
	if len(q.Loops) > 0 && len(found) == 0 {
		return nil, declined("no mixture loop was found: hold one engine speed and load, and step lambda over %g or more to both sides of the greatest torque, %d points of two seconds at least", mixture.LeastLoopWidth, mixture.LeastLoopPoints)
	}
	for _, s := range found {
		w.view.Loops = append(w.view.Loops, report.MixtureLoop{
			RPM: s.SpeedRPM, Load: s.Load, From: s.From, To: s.To, Points: s.Points, Best: s.Best, BestLo: s.BestLo, BestHi: s.BestHi, Within: s.Within,
			Curvature: s.Curvature, CurvatureLo: s.CurvatureLo, CurvatureHi: s.CurvatureHi,
		})
	}
	return found, nil
}

// loopPoints cuts a log with a brake into what may be points of a mixture loop.
func loopPoints(l *mixtureLog, s mixture.Series, load string) ([]mixture.LoopPoint, error) {
	if l.torque == nil {
		return nil, nil
	}
	greatest := 1.0 // of the load
	if load == signal.ManifoldPressure {
		greatest = 100_000
	}
	return mixture.Batches(s, l.torque, mixture.DefaultBatches(greatest))
}
