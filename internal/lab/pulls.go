package lab

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"fairpull/campaign"
	"fairpull/correction"
	"fairpull/curve"
	"fairpull/ingest"
	"fairpull/quantity"
	"fairpull/reduce"
	"fairpull/signal"

	"fairpull/air"
)

// Pull is one pull of a campaign after reduction.
type Pull struct {
	campaign.Pull
	Used    bool // false: excluded with a reason
	Kind    signal.Kind
	AtCrank bool // a curve reduced elsewhere that gives crank figures

	Steady *reduce.Steady // the log holds steady points; nil: a pull
	Result *reduce.Result // nil: an excluded pull whose log carries no result
	Err    error          // why Result is nil

	Air    *air.State // nil: the weather is not known
	Factor float64    // correction factor of the campaign's standard; 1 without a correction
	Scale  float64    // what Result's torque is multiplied by; differs from Factor where a curve log came corrected

	Corrected curve.Curve // Result.Curve times Scale
	Hours     float64     // since the first pull of the campaign

	calibration calibrated // that it was reduced with; empty: the campaign's own rig

	inSI    map[string]bool  // log channels whose unit is known
	leftOut []signal.LeftOut // columns of the log that were not read
	digest  [sha256.Size]byte
}

// gridStep is the distance of nodes in 1/min, fixed by the gain format.
const gridStep = 50.0

// Bounds of the grid in 1/min: no engine that straps on a drum is outside them.
const gridLow, gridHigh = 300.0, 25000.0

// gridNodes returns the engine speeds at which every pull is wanted: every
// 50/min, with both ends of the riding band among them.
func gridNodes(band [2]float64) []float64 {
	anchor := math.Mod(band[0], gridStep)
	var nodes []float64
	for rpm := gridLow - math.Mod(gridLow, gridStep) + anchor; rpm <= gridHigh; rpm += gridStep {
		nodes = append(nodes, rpm)
	}
	if top := band[1]; top > 0 {
		if at, found := slices.BinarySearch(nodes, top); !found {
			nodes = slices.Insert(nodes, at, top)
		}
	}
	return nodes
}

// Fitting window: half-width 200/min for a shared range of 4,500/min, in
// proportion for others (docs/method.md, scaling of windows).
const (
	windowHalfRPM  = 200.0
	windowRangeRPM = 4500.0
)

// WindowHalfWidth returns the half-width of the fitting window in 1/min for
// pulls that share a range of the given width.
func WindowHalfWidth(widthRPM float64) float64 { return windowHalfRPM * widthRPM / windowRangeRPM }

// settings returns what the reducer must know for the configuration called id.
func settings(c *campaign.Campaign, id string) reduce.Settings {
	configuration, _ := c.Configuration(id)
	return reduce.Settings{
		Inertia:            float64(c.Dyno.DrumInertia),
		Radius:             float64(c.Dyno.DrumRadius),
		Parasitic:          c.Dyno.Parasitic,
		BrakeArm:           float64(c.Dyno.BrakeArm),
		PulsesPerRev:       c.Dyno.PulsesPerRev,
		EnginePulsesPerRev: c.Dyno.EnginePulsesPerRev,
		RevsPerDrumRev:     c.EngineRevsPerDrumRev(configuration),
		WheelInertia:       float64(c.WheelInertia(configuration)),
		WheelRadius:        float64(c.WheelRadius(configuration)),
	}
}

// reduction is one pull on its way through the reducer.
type reduction struct {
	pull     *Pull
	log      *signal.Log
	settings reduce.Settings
	phases   reduce.Phases
}

// reducePulls reads and reduces every pull of the folder, in parallel. Excluded
// pulls are reduced too, so that the report can show them; if one cannot be, it
// says why and the others go on. It also returns the half-width of the fitting
// window, 1/min. Each pull is reduced on the rig as the calibration has it that
// held when it began.
func reducePulls(ctx context.Context, folder *ingest.Folder, calibrations []Calibration, progress func(done, total int)) (pulls []Pull, halfWidthRPM float64, err error) {
	c := &folder.Campaign
	pulls = make([]Pull, len(c.Pulls))
	work := make([]reduction, len(c.Pulls))
	counter := newCounter(2*len(pulls), progress)
	err = each(ctx, len(pulls), func(i int) error {
		pulls[i] = Pull{Pull: c.Pulls[i], Used: c.Pulls[i].Excluded == ""}
		pulls[i].calibration = calibrationAt(calibrations, pulls[i].Started)
		work[i] = reduction{pull: &pulls[i], settings: settings(pulls[i].calibration.of(c), c.Pulls[i].Configuration)}
		defer counter.step()
		return work[i].keep(work[i].find(folder))
	})
	if err != nil {
		return nil, 0, err
	}
	half, err := halfWidth(work)
	if err != nil {
		return nil, 0, err
	}
	nodes := gridNodes(c.Objective.BandRPM)
	holdSpeeds(work, nodes)
	err = each(ctx, len(pulls), func(i int) error {
		work[i].settings.NodesRPM, work[i].settings.HalfWidthRPM = nodes, half
		defer counter.step()
		return work[i].keep(work[i].reduce())
	})
	if err != nil {
		return nil, 0, err
	}
	sort.SliceStable(pulls, func(i, j int) bool { return pulls[i].Started.Before(pulls[j].Started) })
	for i := range pulls {
		pulls[i].Hours = pulls[i].Started.Sub(pulls[0].Started).Hours()
	}
	return pulls, half, nil
}

// find reads the log and finds the pull and the coast-down in it.
func (r *reduction) find(folder *ingest.Folder) error {
	data, err := folder.Bytes(r.pull.Log)
	if err != nil {
		return err
	}
	r.pull.digest = sha256.Sum256(data)
	log, err := folder.Parse(r.pull.Pull, data)
	if err != nil {
		return err
	}
	r.pull.calibration.onLog(log)
	r.log, r.pull.Kind, r.pull.AtCrank, r.pull.leftOut = log, log.Kind, log.AtCrank, log.LeftOut
	r.pull.inSI = map[string]bool{}
	for _, c := range log.Channels {
		_, err := quantity.Lookup(c.Unit)
		r.pull.inSI[c.Name] = err == nil
	}
	if log.Kind == signal.Reduced {
		return nil
	}
	if err := r.findSteady(log); err != nil || r.pull.Steady != nil {
		return err
	}
	if r.phases, err = reduce.Find(log, r.settings); err != nil {
		return fmt.Errorf("%s: %w", r.pull.Log, err)
	}
	return nil
}

// reduce turns the log into a curve and lets the log go.
func (r *reduction) reduce() error {
	if r.log == nil { // an excluded pull that failed before
		return nil
	}
	var err error
	switch {
	case r.pull.Steady != nil:
		if r.pull.Result == nil {
			r.pull.Result = reduce.HeldResults([]*reduce.Steady{r.pull.Steady}, r.settings.NodesRPM, reduce.DefaultSteadyRule())[0]
		}
	case r.log.Kind == signal.Reduced:
		r.pull.Result, err = reduce.FromCurve(r.log, r.settings)
	default:
		r.pull.Result, err = reduce.Reduce(r.log, r.settings, r.phases)
	}
	r.log = nil
	if err != nil {
		return fmt.Errorf("%s: %w", r.pull.Log, err)
	}
	dropPoorNodes(r.pull.Result)
	if r.pull.Result.Curve.Len() == 0 && r.pull.Steady != nil {
		return fmt.Errorf("%s: no steady point is at full throttle, so there is nothing to compare. Hold the speeds with the throttle fully open", r.pull.Log)
	}
	if r.pull.Result.Curve.Len() == 0 {
		return fmt.Errorf("%s: no engine speed has a torque that could be told from the noise", r.pull.Log)
	}
	return nil
}

// keep lets an excluded pull fail on its own: its error is kept beside it.
func (r *reduction) keep(err error) error {
	if err == nil || r.pull.Used {
		if err != nil {
			return &PullError{Pull: r.pull.Name, Err: err}
		}
		return nil
	}
	r.pull.Err, r.log = err, nil
	return nil
}

// PullError says which pull could not be used.
type PullError struct {
	Pull string
	Err  error
}

func (e *PullError) Error() string {
	return fmt.Sprintf("pull %s: %v\n  Mend the log, or give the pull a reason in the column \"excluded\" of pulls.csv: it then stays in the record and the report.", e.Pull, e.Err)
}

func (e *PullError) Unwrap() error { return e.Err }

// halfWidth returns the fitting half-width for the range that all used pulls
// share.
func halfWidth(work []reduction) (float64, error) {
	low, high := 0.0, math.Inf(1)
	var lowest, highest string
	for i := range work {
		r := &work[i]
		if !r.pull.Used || r.log == nil || r.log.Kind == signal.Reduced || r.pull.Steady != nil {
			continue
		}
		if r.phases.LowRPM > low {
			low, lowest = r.phases.LowRPM, r.pull.Name
		}
		if r.phases.HighRPM < high {
			high, highest = r.phases.HighRPM, r.pull.Name
		}
	}
	switch {
	case math.IsInf(high, 1): // reduced logs only: nothing is fitted
		return windowHalfRPM, nil
	case !(high > low):
		return 0, fmt.Errorf("the pulls share no engine speeds: pull %s begins at %.0f/min and pull %s ends at %.0f/min.\n  Exclude the pull that does not belong, with its reason, in pulls.csv", lowest, low, highest, high)
	}
	return WindowHalfWidth(high - low), nil
}

// correct finds each pull's air and correction factor and corrects its curve.
func correct(c *campaign.Campaign, standard correction.Standard, pulls []Pull) error {
	for i := range pulls {
		p := &pulls[i]
		if p.Result == nil {
			continue
		}
		err := p.correct(standard)
		if err == nil {
			continue
		}
		err = &PullError{Pull: p.Name, Err: err}
		if p.Used {
			return err
		}
		p.Result, p.Err = nil, err
	}
	return nil
}

// errNoWeather says that a correction was asked for and the air is not known.
var errNoWeather = errors.New("the air is not known: pulls.csv or the log must give station pressure, intake air temperature and humidity (pressure_kpa, temperature_degc, relative_humidity_pct), or the campaign must say standard = \"none\" under [correction]; for a curve that was corrected by the campaign's standard the column correction_factor will do")

func (p *Pull) correct(standard correction.Standard) error {
	weather := p.Weather
	fillWeather(&weather, p.Result.Means)
	p.calibration.onWeather(&weather)
	state, err := weather.State()
	known := err == nil
	if err != nil && !errors.Is(err, campaign.ErrNoWeather) {
		return err
	}
	p.Factor = 1
	if known {
		p.Air = &state
	}
	switch {
	case !standard.Corrects():
	case known:
		if p.Factor, err = standard.Factor(state); err != nil {
			return err
		}
	case p.factorStated(standard):
		p.Factor = p.CorrectionFactor
	default:
		return errNoWeather
	}
	p.Scale = p.Factor
	if p.Kind == signal.Reduced {
		if p.Scale, err = p.scaleOfReduced(standard); err != nil {
			return err
		}
	}
	p.Corrected = scaled(p.Result.Curve, p.Scale)
	return nil
}

// factorStated reports whether the pull is a curve that was corrected elsewhere by
// the campaign's standard, and its factor is stated: the air need not be known.
func (p *Pull) factorStated(standard correction.Standard) bool {
	applied, err := correction.ByName(p.CorrectionApplied)
	return err == nil && p.Kind == signal.Reduced && applied.Name == standard.Name && p.CorrectionFactor > 0
}

// scaleOfReduced returns the factor that brings a curve reduced elsewhere to the
// campaign's standard: what was applied is taken off first.
func (p *Pull) scaleOfReduced(standard correction.Standard) (float64, error) {
	applied, err := correction.ByName(p.CorrectionApplied)
	if err != nil {
		return 0, fmt.Errorf("correction_applied: %w", err)
	}
	switch {
	case !applied.Corrects():
		return p.Factor, nil
	case applied.Name == standard.Name:
		if p.CorrectionFactor > 0 {
			p.Factor = p.CorrectionFactor
		}
		return 1, nil
	case p.CorrectionFactor > 0:
		return p.Factor / p.CorrectionFactor, nil
	}
	return 0, fmt.Errorf("the curve was corrected by %s and the campaign asks for %s: pulls.csv must give the factor that was applied, in the column correction_factor", applied.Name, standard.Name)
}

func scaled(c curve.Curve, by float64) curve.Curve {
	out := curve.Curve{
		SpeedRPM:      c.SpeedRPM,
		Torque:        make([]float64, c.Len()),
		StandardError: make([]float64, c.Len()),
	}
	for i := range c.Torque {
		out.Torque[i] = c.Torque[i] * by
		out.StandardError[i] = c.StandardError[i] * by
	}
	return out
}

// sharedGrid returns the nodes that every used pull has: the longest stretch of
// the grid without a hole in any of them, so that no figure stands on both sides
// of one.
func sharedGrid(pulls []Pull, band [2]float64) ([]float64, error) {
	used := usedPulls(pulls)
	if used[0].Steady != nil {
		return heldGrid(used)
	}
	var shared, run []float64
	for _, rpm := range gridNodes(band) {
		if !everyPullHas(used, rpm) {
			run = nil
			continue
		}
		if run = append(run, rpm); len(run) > len(shared) {
			shared = run
		}
	}
	if len(shared) < minSharedNodes {
		return nil, fmt.Errorf("the used pulls share %d engine speeds in a row of the %.0f rpm grid; a comparison needs %d.\n  See where each pull lies with: fairpull reduce FOLDER", len(shared), gridStep, minSharedNodes)
	}
	return shared, nil
}

// worstNode is the relative standard error above which a node says nothing: its
// window lies mostly in a gap.
const worstNode = 0.05

// dropPoorNodes takes the nodes out of a result whose standard error is a large
// part of their torque.
func dropPoorNodes(r *reduce.Result) {
	at := 0
	for i, torque := range r.Curve.Torque {
		if !(torque > 0) || r.Curve.StandardError[i] > worstNode*torque {
			continue
		}
		for _, series := range [][]float64{
			r.Curve.SpeedRPM, r.Curve.Torque, r.Curve.StandardError,
			r.Time, r.DrumSpeed, r.DrumTorque, r.Resolution, r.Compensated,
			r.Acceleration, r.SlopeError, r.SpeedError,
		} {
			if i < len(series) {
				series[at] = series[i]
			}
		}
		at++
	}
	for _, series := range []*[]float64{
		&r.Curve.SpeedRPM, &r.Curve.Torque, &r.Curve.StandardError,
		&r.Time, &r.DrumSpeed, &r.DrumTorque, &r.Resolution, &r.Compensated,
		&r.Acceleration, &r.SlopeError, &r.SpeedError,
	} {
		*series = (*series)[:min(at, len(*series))]
	}
}

// minSharedNodes is the least a comparison can stand on: a curve, not a point.
const minSharedNodes = 7
