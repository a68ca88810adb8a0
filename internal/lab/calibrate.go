package lab

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"fairpull/campaign"
	"fairpull/drum"
	"fairpull/quantity"
	"fairpull/report"
)

// The kinds of calibration.
const (
	calibrateInertia     = "inertia"
	calibrateBareDrum    = "bare-drum"
	calibrateBrake       = "brake"
	calibrateDrumSpeed   = "drum-speed"
	calibrateEngineSpeed = "engine-speed"
	calibrateBarometer   = "barometer"
	calibrateThermometer = "thermometer"
	calibrateHygrometer  = "hygrometer"
	calibrateCoastDown   = "coast-down"
)

// CalibrationKinds lists the kinds of calibration in the order in which a rig needs
// them.
func CalibrationKinds() []string {
	return []string{calibrateDrumSpeed, calibrateInertia, calibrateBareDrum, calibrateBrake, calibrateEngineSpeed, calibrateBarometer, calibrateThermometer, calibrateHygrometer, calibrateCoastDown}
}

// CalibrateQuery asks for a calibration to be worked out of readings.
type CalibrateQuery struct {
	Kind, File string
	// Files stand in the place of those on disk, by name, as they come from a browser:
	// File is then one of them. Nil: File and what it names are read from disk.
	Files   map[string][]byte
	InUse   *Calibration // that holds of the dyno; nil: not known
	Version string
}

// FoundCalibration is a calibration that was worked out.
type FoundCalibration struct {
	View *report.Calibrating
	// Keep is what can be kept of it; its date is that of the readings. CannotKeep
	// says why it cannot; nil: it can.
	Keep       Calibration
	CannotKeep error
}

// FindCalibration works a calibration out of a file of readings (docs/calibration.md).
// What the readings do not suffice for is an error that says what is to be done next;
// what they leave open stands in the view.
func FindCalibration(q CalibrateQuery) (*FoundCalibration, error) {
	work, ok := calibrators[q.Kind]
	if !ok {
		return nil, unknownKind(q.Kind)
	}
	r, err := readReadings(q.File, q.Kind, q.Files)
	if err != nil {
		return nil, err
	}
	guide := guides[q.Kind]
	f := &calibrating{
		readings: r, inUse: q.InUse,
		FoundCalibration: FoundCalibration{
			View: &report.Calibrating{Kind: q.Kind, Title: guide.Title, Dyno: r.Dyno, At: r.at, Note: r.Note, Cautions: guide.Cautions, Version: q.Version},
			Keep: Calibration{Dyno: r.Dyno, ValidFrom: r.at, Note: r.Note},
		},
	}
	if err := work(f); err != nil {
		return nil, fmt.Errorf("%s: %w", q.File, err)
	}
	if f.Keep.Note == "" {
		f.Keep.Note = "fairpull calibrate " + q.Kind
	}
	if f.CannotKeep == nil && r.at.IsZero() {
		f.CannotKeep = errors.New(`the readings have no date from which the calibration holds; write date = "2031-02-03"`)
	}
	if f.CannotKeep == nil {
		f.CannotKeep = CheckCalibration(f.Keep)
	}
	return &f.FoundCalibration, nil
}

// DynoOfReadings returns the dyno that the readings of a query are of, and the moment
// from which they hold: now where they have none.
func DynoOfReadings(q CalibrateQuery) (dyno string, at time.Time, err error) {
	r, err := readReadings(q.File, q.Kind, q.Files)
	if err != nil {
		return "", time.Time{}, err
	}
	if r.at.IsZero() {
		r.at = time.Now()
	}
	return r.Dyno, r.at, nil
}

// CalibrationInUse returns the calibration of a dyno that holds at a moment, with what
// it inherits; nil: there is none.
func (w *Workspace) CalibrationInUse(ctx context.Context, dyno string, at time.Time) (*Calibration, error) {
	if err := campaign.CheckID(dyno); err != nil {
		return nil, fmt.Errorf("the dyno's id %.80q %w", dyno, err)
	}
	list, err := w.store.Calibrations(ctx, dyno)
	if err != nil {
		return nil, err
	}
	return calibrationAt(inherited(list), at).Calibration, nil
}

// calibrating is a calibration on its way.
type calibrating struct {
	FoundCalibration
	readings *readings
	inUse    *Calibration
}

// calibrators work the kinds out.
var calibrators = map[string]func(*calibrating) error{
	calibrateInertia: (*calibrating).inertia, calibrateBareDrum: (*calibrating).bareDrum, calibrateBrake: (*calibrating).brake,
	calibrateDrumSpeed: (*calibrating).speed, calibrateEngineSpeed: (*calibrating).speed,
	calibrateBarometer: (*calibrating).sensor, calibrateThermometer: (*calibrating).sensor, calibrateHygrometer: (*calibrating).sensor,
	calibrateCoastDown: (*calibrating).coastDown,
}

// expandedAt is the confidence of the expanded uncertainties of calibrations.
const expandedAt = 0.95

// value adds a value to the view; by is what SI is multiplied by to give the unit.
func (f *calibrating) value(key, name, unit string, c drum.Calibrated, by float64) {
	v := report.CalibratedValue{Key: key, Name: name, Unit: unit, Value: by * c.Value, U: by * c.U, DF: c.DF, Expanded: by * c.Expanded(expandedAt)}
	v.Factor = math.NaN()
	if c.U > 0 {
		v.Factor = c.Expanded(expandedAt) / c.U
	}
	for _, p := range c.Parts {
		if p.U > 1e-9*c.U || p.Scatter {
			v.Parts = append(v.Parts, report.CalibrationPart{Name: p.Name, U: by * p.U, DF: p.DF, TypeA: p.Scatter})
		} else {
			f.next("The part of “" + p.Name + "” is 0, because nothing was stated of it: state it, or know that it does not count.")
		}
	}
	f.View.Values = append(f.View.Values, v)
}

func (f *calibrating) next(words string) { f.View.Next = append(f.View.Next, words) }

func (f *calibrating) fact(what, is string) {
	f.View.Facts = append(f.View.Facts, [2]string{what, is})
}

// limits adds limits of rules to the view.
func (f *calibrating) limits(list []drum.Acceptance) {
	for _, a := range list {
		f.View.Limits = append(f.View.Limits, report.CalibrationLimit{Rule: a.Rule, What: a.What, Unit: a.Unit, Measured: a.Measured, Low: a.Low, High: a.High, Met: a.Met()})
	}
}

// brake works out the arm of a brake.
func (f *calibrating) brake() error {
	r := f.readings
	t, err := r.readTable()
	if err != nil {
		return err
	}
	mass, err1 := t.numbers("mass", quantity.Mass)
	force, err2 := t.numbers("force", quantity.Force)
	falling, err3 := t.flags("falling")
	reverse, err4 := t.flags("reverse")
	if err := errors.Join(err1, err2, err3, err4); err != nil {
		return err
	}
	gravity, err := f.gravity()
	if err != nil {
		return err
	}
	in := drum.BrakeReadings{Lever: drum.Sized{Value: r.Lever, U: r.LeverU}, MassU: r.WeightsU / 100, Gravity: gravity, ArmInUse: r.InUse.Arm}
	if in.ArmInUse == 0 && f.inUse != nil {
		in.ArmInUse = float64(f.inUse.BrakeArm)
	}
	if r.ZeroBefore != nil && r.ZeroAfter != nil {
		in.HasZeros, in.ZeroBefore, in.ZeroAfter = true, *r.ZeroBefore, *r.ZeroAfter
	}
	for i := range mass {
		in.Loads = append(in.Loads, drum.Load{Mass: mass[i], Force: force[i], Falling: falling[i], Reverse: reverse[i]})
	}
	b, err := drum.CalibrateBrake(in)
	if err != nil {
		return err
	}
	f.value("brake_arm", "effective arm of the brake", "m", b.Calibrated, 1)
	f.limits(b.AcceptBrake())
	f.fact("Local gravity", fmt.Sprintf("%.5f ± %.5f m/s² (standard uncertainty)", gravity.Value, gravity.U))
	f.fact("Zero", fmt.Sprintf("%.3g ± %.2g N shown without torque: take it off before pulls", b.Zero, b.ZeroU))
	f.fact("Linearity", fmt.Sprintf("largest departure from the line %.3f %% of %.4g N·m", 100*b.Linearity, b.Most))
	if b.HasHysteresis {
		f.fact("Hysteresis", fmt.Sprintf("%.3f %% of %.4g N·m between loading and unloading", 100*b.Hysteresis, b.Most))
	} else {
		f.next("Take the weights off one by one and read again (column falling, yes): without that hysteresis is not known.")
	}
	if in.HasZeros {
		f.fact("Drift of zero", fmt.Sprintf("%.3f %% of %.4g N·m from before to after", 100*b.ZeroDrift, b.Most))
	} else {
		f.next("Read the force without weights before and after (zero_before_n, zero_after_n): without that the drift of zero is not known.")
	}
	for _, d := range b.Directions {
		f.fact(map[bool]string{false: "First direction", true: "Other direction"}[d.Reverse], fmt.Sprintf("arm %.*f ± %.*f m (standard uncertainty, scatter alone), zero %.3g N", metres(d.U), d.Arm, metres(d.U), d.U, d.Zero))
	}
	if len(b.Directions) < 2 {
		f.next("Let the lever pull the other way as well (column reverse, yes): a load cell need not be alike in both.")
	}
	f.Keep.BrakeArm, f.Keep.BrakeArmU = quantity.Metre(b.Value), quantity.Metre(b.U)
	return nil
}

// gravity is stated, or follows from the place.
func (f *calibrating) gravity() (drum.Calibrated, error) {
	r := f.readings
	switch {
	case r.Gravity > 0 && r.Latitude != nil:
		return drum.Calibrated{}, errors.New("gravity is stated twice: by gravity_m_s2 and by latitude_deg")
	case r.Gravity > 0:
		return drum.Calibrated{Value: r.Gravity, U: r.GravityU, DF: math.Inf(1)}, nil
	case r.Latitude == nil:
		return drum.Calibrated{}, errors.New("local gravity is not known: write latitude_deg and height_m, or gravity_m_s2 with gravity_u_m_s2")
	}
	return drum.Gravity(*r.Latitude, r.Height)
}

// speed works out the scale of a speed channel.
func (f *calibrating) speed() error {
	r := f.readings
	t, err := r.readTable()
	if err != nil {
		return err
	}
	read := func(name string) ([]float64, error) {
		if hertz, ok := t.columns[name+"_hz"]; ok {
			return r.ofFrequency(t, name+"_hz", len(hertz))
		}
		if unit, err := quantity.Lookup(t.units[name]); err == nil && unit.Dimension == quantity.Speed {
			if !(r.DrumRadius > 0) {
				return nil, errors.New("speeds of the drum's surface need its radius: write drum_radius_m")
			}
			v, err := t.numbers(name, quantity.Speed)
			for i := range v {
				v[i] /= r.DrumRadius
			}
			return v, err
		}
		return t.numbers(name, quantity.RotationalSpeed)
	}
	shown, err1 := read("shown")
	reference, err2 := read("reference")
	if err := errors.Join(err1, err2); err != nil {
		return err
	}
	var points []drum.SpeedPoint
	for i := range shown {
		points = append(points, drum.SpeedPoint{Shown: shown[i], Reference: reference[i]})
	}
	ofDrum := r.Kind == calibrateDrumSpeed
	radius := 0.0
	if ofDrum {
		radius = r.DrumRadius
	}
	s, err := drum.CalibrateSpeed(points, r.ReferenceU/100, r.Resolution, radius)
	if err != nil {
		return err
	}
	f.value("scale", "true speed over shown speed", "", s.Calibrated, 1)
	f.limits(s.AcceptSpeed())
	if ofDrum && radius == 0 {
		f.next("Write drum_radius_m, to hold the largest error against the 0.02 m/s of 40 CFR 1066.235(d).")
	}
	if r.Pulses > 0 {
		if likely, other := drum.PulsesLikely(s.Value, r.Pulses); other {
			return fmt.Errorf("the scale %.5f speaks for %d pulses a turn, and %d are set: set the count right in the rig (drum_pulses_per_rev), and read again", s.Value, likely, r.Pulses)
		}
		f.fact("Pulses a turn", fmt.Sprintf("%d, which the scale bears out", r.Pulses))
	}
	f.fact("Scatter about the scale", fmt.Sprintf("%.3g rad/s", s.Residual))
	if ofDrum {
		f.Keep.DrumSpeed.Value, f.Keep.DrumSpeed.U = s.Value, s.U
	} else {
		f.Keep.EngineSpeed.Value, f.Keep.EngineSpeed.U = s.Value, s.U
	}
	return nil
}

// ofFrequency turns a column of an encoder's pulse frequency into turning speed.
func (r *readings) ofFrequency(t *table, column string, n int) ([]float64, error) {
	if r.Pulses < 1 {
		return nil, errors.New("a frequency needs the pulses of a turn: write drum_pulses_per_rev")
	}
	out := make([]float64, n)
	for i, cell := range t.columns[column] {
		v, err := t.number(column, i, cell)
		if err != nil {
			return nil, err
		}
		out[i] = 2 * math.Pi * v / float64(r.Pulses)
	}
	return out, nil
}

// sensor works out the correction of a sensor of the air.
func (f *calibrating) sensor() error {
	r := f.readings
	kind := map[string]struct {
		what      drum.Quantity
		dimension quantity.Dimension
		unit      string
		by        float64
	}{
		calibrateBarometer:   {drum.AirPressure, quantity.Pressure, "Pa", 1},
		calibrateThermometer: {drum.AirTemperature, quantity.Temperature, "K", 1},
		calibrateHygrometer:  {drum.AirHumidity, quantity.Ratio, "% relative humidity", 100},
	}[r.Kind]
	t, err := r.readTable()
	if err != nil {
		return err
	}
	shown, err1 := t.numbers("shown", kind.dimension)
	reference, err2 := t.numbers("reference", kind.dimension)
	if err := errors.Join(err1, err2); err != nil {
		return err
	}
	unit, err := quantity.Lookup(t.units["shown"])
	if err != nil {
		return err
	}
	var points []drum.SensorPoint
	for i := range shown {
		points = append(points, drum.SensorPoint{Shown: shown[i], Reference: reference[i]})
	}
	s, err := drum.CalibrateSensor(kind.what, points, r.WithSlope, unit.SIDifference(r.ReferenceU), unit.SIDifference(r.Resolution))
	if err != nil {
		return err
	}
	f.value("correction", "correction at the mean of the readings", kind.unit, s.Calibrated, kind.by)
	f.limits(s.AcceptSensor())
	f.fact("True value", fmt.Sprintf("%.6g %s + %.6g × shown", kind.by*s.Offset, kind.unit, s.Slope))
	f.fact("Readings", fmt.Sprintf("%d, from %s to %s as shown", len(points), shownWords(unit, s.Low), shownWords(unit, s.High)))
	if len(points) < 5 && !r.WithSlope {
		f.next("With five readings or more over the range in use the slope can be found, too (with_slope = true).")
	}
	switch kind.what {
	case drum.AirPressure:
		f.Keep.Pressure.Offset, f.Keep.Pressure.Slope, f.Keep.Pressure.U = s.Offset, s.Slope, s.U
	case drum.AirTemperature:
		f.Keep.Temperature.Offset, f.Keep.Temperature.Slope, f.Keep.Temperature.U = s.Offset, s.Slope, s.U
	case drum.AirHumidity:
		f.Keep.Humidity.Offset, f.Keep.Humidity.Slope, f.Keep.Humidity.U = s.Offset, s.Slope, s.U
	}
	return nil
}

func shownWords(unit quantity.Unit, si float64) string {
	return fmt.Sprintf("%.5g %s", unit.From(si), unit.Name)
}

// metres is how many decimals a length with a standard uncertainty u has.
func metres(u float64) int {
	if places, known := quantity.Places(u); known {
		return max(0, places)
	}
	return 5
}
