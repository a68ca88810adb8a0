package lab

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"fairpull/drum"
	"fairpull/quantity"
	"fairpull/report"
)

// inertia works out the drum's inertia: from spins that differ, from its geometry, or
// from both, which are then compared.
func (f *calibrating) inertia() error {
	r := f.readings
	var ways []drum.Calibrated
	var names []string
	if len(r.Spins) > 0 {
		found, err := f.inertiaFromSpins()
		if err != nil {
			return err
		}
		ways, names = append(ways, found.Calibrated), append(names, "from spins")
		f.value("drum_inertia_spins", "drum inertia from spins", "kg·m²", found.Calibrated, 1)
		if !found.Replicated {
			f.next("Make the pair of spins again, two times at least: two alone leave nothing to tell their scatter by, and the uncertainty knows the noise of the records alone.")
		}
		if stated := f.inertiaInUse(); stated > 0 {
			f.limits(found.AcceptInertia(stated))
		} else {
			f.next("State the inertia in use ([in_use] drum_inertia_kgm2), to hold the new one against it by 40 CFR 1066.250(d).")
		}
		f.fact("Torque common to all spins", fmt.Sprintf("%.4g N·m on average", found.Torque))
	}
	if len(r.Rings) > 0 {
		found, err := drum.InertiaFromGeometry(ringsOf(r.Rings))
		if err != nil {
			return err
		}
		ways, names = append(ways, found), append(names, "from geometry")
		f.value("drum_inertia_geometry", "drum inertia from geometry", "kg·m²", found, 1)
	}
	if len(ways) == 0 {
		return errors.New("it has neither spins nor rings.\n  Spin the drum and let it coast down, without and with an inertia that is known put on it, each time logged; list the logs under [[spin]] and the inertia under [added]")
	}
	final := ways[0]
	if len(ways) == 2 {
		compared, err := drum.CompareWays(ways)
		if err != nil {
			return err
		}
		for i := range compared.Mean.Parts {
			compared.Mean.Parts[i].Name = names[i]
		}
		final = compared.Mean
		f.fact("The ways compared", fmt.Sprintf("χ² = %.3g with 1 degree of freedom, p = %.2g; they are %.1f standard uncertainties apart", compared.Chi2, compared.P, math.Abs(compared.Off[0])))
		if compared.Agree {
			f.value("drum_inertia", "drum inertia, weighted mean of the ways", "kg·m²", final, 1)
		} else {
			f.CannotKeep = errors.New("the ways do not agree within their uncertainties: find out which is wrong, and take it out of the readings")
			f.next("The ways do not agree within their uncertainties: one of them is wrong, or something was left out. Their mean is no value to rely on.")
		}
	}
	f.Keep.DrumInertia, f.Keep.DrumInertiaU = quantity.KilogramSquareMetre(final.Value), quantity.KilogramSquareMetre(final.U)
	return nil
}

// inertiaInUse is what the rig has now; 0: not known.
func (f *calibrating) inertiaInUse() float64 {
	if v := f.readings.InUse.Inertia; v > 0 {
		return v
	}
	if f.inUse != nil {
		return float64(f.inUse.DrumInertia)
	}
	return 0
}

// added returns the inertia that was put on, with its standard uncertainty.
func (f *calibrating) added() (drum.Calibrated, error) {
	a := f.readings.Added
	switch {
	case a == nil:
		return drum.Calibrated{}, errors.New("a spin has added = true, and nothing is said of what was put on: write [added] with inertia_kgm2 and inertia_u_kgm2, or with its rings")
	case len(a.Rings) > 0 && a.Inertia == 0 && len(a.Rings) <= maxRings:
		return drum.InertiaFromGeometry(ringsOf(a.Rings))
	case !(a.Inertia > 0) || !(a.InertiaU >= 0) || len(a.Rings) > 0:
		return drum.Calibrated{}, fmt.Errorf("[added] has an inertia of %g ± %g kg·m² and %d rings: write one of them", a.Inertia, a.InertiaU, len(a.Rings))
	}
	return drum.Calibrated{Value: a.Inertia, U: a.InertiaU}, nil
}

// inertiaFromSpins reads the logs and finds the inertia over the speeds that all share.
func (f *calibrating) inertiaFromSpins() (*drum.Inertia, error) {
	r := f.readings
	records, lo, hi, err := f.records()
	if err != nil {
		return nil, err
	}
	var added drum.Calibrated
	for _, s := range r.Spins {
		if s.Added {
			if added, err = f.added(); err != nil {
				return nil, err
			}
			break
		}
	}
	var spins []drum.Spin
	for k, record := range records {
		spin, err := record.Spin(lo, hi)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", r.Spins[k].Log, err)
		}
		if r.Spins[k].Added {
			spin.Added, spin.AddedU = added.Value, added.U
		}
		if r.Spins[k].Brake > 0 {
			spin.Brake = r.Spins[k].Brake
		}
		spin.BrakeU = spin.Brake * r.BrakeU / 100
		spins = append(spins, spin)
	}
	found, err := drum.InertiaFromSpins(spins, r.SpeedU/100)
	if err != nil {
		return nil, err
	}
	t := &report.CalibrationTable{
		Caption: fmt.Sprintf("Spins, as means over %.4g to %.4g rad/s, and the inertia that each gives.", lo, hi),
		Heads:   []string{"log", "put on, kg·m²", "brake, N·m", "slope, rad/s²", "inertia, kg·m²"},
	}
	for k, s := range spins {
		t.Rows = append(t.Rows, []string{r.Spins[k].Log, fmt.Sprintf("%.4g", s.Added), fmt.Sprintf("%.4g", s.Brake), strings.Replace(fmt.Sprintf("%.6f", s.Slope), "-", "−", 1), fmt.Sprintf("%.4f", found.Each[k])})
	}
	f.View.Table = t
	return found, nil
}

// records reads the logs of the spins; lo and hi are the speeds that they share, or
// those that were asked for, in rad/s.
func (f *calibrating) records() (records []drum.Record, lo, hi float64, err error) {
	r := f.readings
	hi = math.Inf(1)
	for _, s := range r.Spins {
		record, err := r.record(s)
		if err != nil {
			return nil, 0, 0, err
		}
		low, high, err := record.Speeds()
		if err != nil {
			return nil, 0, 0, fmt.Errorf("%s: %w", s.Log, err)
		}
		lo, hi = max(lo, low), min(hi, high)
		records = append(records, record)
	}
	if !(lo < hi) {
		return nil, 0, 0, errors.New("the spins share no speeds: let the drum coast down from the same speed to the same speed each time")
	}
	asked := r.SpeedsRad
	if r.SpeedsKmh != [2]float64{} {
		if !(r.DrumRadius > 0) || asked != [2]float64{} {
			return nil, 0, 0, errors.New("speeds_kmh needs drum_radius_m, and stands alone")
		}
		asked = [2]float64{r.SpeedsKmh[0] / 3.6 / r.DrumRadius, r.SpeedsKmh[1] / 3.6 / r.DrumRadius}
	}
	if asked == [2]float64{} {
		return records, lo, hi, nil
	}
	if !(asked[0] >= lo) || !(asked[1] <= hi) || !(asked[0] < asked[1]) {
		return nil, 0, 0, fmt.Errorf("speeds from %.4g to %.4g rad/s are asked for, and the spins share %.4g to %.4g", asked[0], asked[1], lo, hi)
	}
	return records, asked[0], asked[1], nil
}

// drumInertia is the inertia that torque is worked out with.
func (f *calibrating) drumInertia() (drum.Calibrated, error) {
	r := f.readings
	switch {
	case r.Inertia > 0 && r.InertiaU >= r.Inertia:
		return drum.Calibrated{}, fmt.Errorf("the drum inertia %g kg·m² has an uncertainty of %g kg·m²", r.Inertia, r.InertiaU)
	case r.Inertia > 0:
		return drum.Calibrated{Value: r.Inertia, U: r.InertiaU}, nil
	case f.inUse != nil && f.inUse.DrumInertia > 0:
		return drum.Calibrated{Value: float64(f.inUse.DrumInertia), U: float64(f.inUse.DrumInertiaU)}, nil
	}
	return drum.Calibrated{}, errors.New("the drum's inertia is not known: write drum_inertia_kgm2 and drum_inertia_u_kgm2, or calibrate it first (fairpull calibrate inertia)")
}

// bareDrum works out what the bare drum loses.
func (f *calibrating) bareDrum() error {
	r := f.readings
	inertia, err := f.drumInertia()
	if err != nil {
		return err
	}
	if len(r.Spins) == 0 {
		return errors.New("it lists no coast-down.\n  Take the vehicle off, spin the drum up to the highest speed in use, and log it while it coasts down; three times at least. List the logs under [[spin]]")
	}
	var coasts []drum.Coast
	for _, s := range r.Spins {
		if s.Added || s.Brake > 0 || s.Rising {
			return fmt.Errorf("%s is a spin with something put on, braked or rising, and the bare drum coasts down by itself", s.Log)
		}
		record, err := r.record(s)
		if err != nil {
			return err
		}
		coasts = append(coasts, record.Coast)
	}
	p, err := drum.BareDrum(coasts, inertia)
	if err != nil {
		return err
	}
	for k, at := range []float64{p.LowestOmega, (p.LowestOmega + p.HighestOmega) / 2, p.HighestOmega} {
		name := fmt.Sprintf("bare drum torque at %.4g rad/s", at)
		f.value([]string{"torque_low", "torque_middle", "torque_high"}[k], name, "N·m", p.At(at), 1)
	}
	f.fact("Course", fmt.Sprintf("%.6g + %.6g·ω + %.6g·ω² N·m, ω in rad/s, from %.4g to %.4g rad/s", p.Coefficients[0], p.Coefficients[1], p.Coefficients[2], p.LowestOmega, p.HighestOmega))
	if !p.Replicated {
		f.next("Make the coast-down again, twice at least: bearings are not alike from one to the next, and one alone does not tell.")
	}
	before, known := r.InUse.Parasitic, r.InUse.Parasitic != [3]float64{}
	if !known && f.inUse != nil && measuresParasitic(f.inUse) {
		before, known = f.inUse.Parasitic, true
	}
	switch {
	case known && r.DrumRadius > 0:
		f.limits(p.AcceptParasitic(before, r.DrumRadius))
	default:
		f.next("State the course in use ([in_use] parasitic_torque_nm) and drum_radius_m, to hold the new one against it by 40 CFR 1066.255(d).")
	}
	f.keepParasitic(p)
	return nil
}

// keepParasitic takes the course over into what is kept, with the correlations of its
// coefficients.
func (f *calibrating) keepParasitic(p *drum.Parasitic) {
	f.Keep.Parasitic = p.Coefficients
	for i := range f.Keep.ParasiticU {
		f.Keep.ParasiticU[i] = math.Sqrt(max(0, p.Covariance[i][i]))
	}
	for k, pair := range [3][2]int{{0, 1}, {0, 2}, {1, 2}} {
		if u := f.Keep.ParasiticU[pair[0]] * f.Keep.ParasiticU[pair[1]]; u > 0 {
			f.Keep.ParasiticR[k] = max(-1, min(1, p.Covariance[pair[0]][pair[1]]/u))
		}
	}
}

// coastDown holds a coast-down of the bare drum against what the rig's own inertia and
// course say, stretch by stretch.
func (f *calibrating) coastDown() error {
	r := f.readings
	f.CannotKeep = errors.New("a coast-down holds the rig against its calibration, and is none")
	inertia, err := f.drumInertia()
	if err != nil {
		return err
	}
	course := r.InUse.Parasitic
	if course == [3]float64{} && f.inUse != nil {
		course = f.inUse.Parasitic
	}
	switch {
	case course == [3]float64{}:
		return errors.New("the bare drum's course is not known: write [in_use] parasitic_torque_nm, or calibrate it first (fairpull calibrate bare-drum)")
	case !(r.DrumRadius > 0):
		return errors.New("force at the drum's surface needs its radius: write drum_radius_m")
	case len(r.Spins) != 1:
		return fmt.Errorf("it lists %d spins, and one coast-down is held against the rig", len(r.Spins))
	}
	record, err := r.record(r.Spins[0])
	if err != nil {
		return err
	}
	l, err := record.Losses(drum.Rig{Inertia: inertia.Value})
	if err != nil {
		return err
	}
	step := r.StepsKmh
	if step == 0 {
		step = 10 * 1.609344 // 10 mile/h
	}
	step /= 3.6
	var speeds, times []float64
	top, bottom := l.Omega[len(l.Omega)-1]*r.DrumRadius, l.Omega[0]*r.DrumRadius
	for v := math.Floor(top/step) * step; v >= bottom && v > 0 && len(speeds) < 100; v -= step {
		if n := len(speeds); n > 0 {
			t, err := l.Time(inertia.Value, [3]float64{}, speeds[n-1]/r.DrumRadius, v/r.DrumRadius)
			if err != nil {
				return err
			}
			times = append(times, t)
		}
		speeds = append(speeds, v)
	}
	if len(times) == 0 {
		return fmt.Errorf("the coast-down from %.0f to %.0f km/h has no stretch of %.0f km/h", 3.6*top, 3.6*bottom, 3.6*step)
	}
	list, err := drum.AcceptCoastForce(speeds, times, inertia.Value, r.DrumRadius, course)
	if err != nil {
		return err
	}
	f.limits(list)
	worst := 0.0
	for _, a := range list {
		if math.Abs(a.Measured) > math.Abs(worst) {
			worst = a.Measured
		}
	}
	f.fact("Largest error of a mean force", fmt.Sprintf("%.2f %%; the rule allows 9.8 N whatever the force, which is lenient for a light drum", worst))
	for i := range list {
		if !list[i].Met() {
			f.next("The coast-down is off what the rig's calibration says. Warm the drum up and repeat it; if it stays off, look at bearings, brake and belts, and calibrate the bare drum anew.")
			break
		}
	}
	return nil
}
