package lab

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fairpull/curve"
	"fairpull/quantity"
	"fairpull/report"
	"fairpull/simulate"
)

// rampDir is a campaign folder whose torque is the same at every engine speed and whose
// part gives 3 %.
func rampDir(t testing.TB) string {
	t.Helper()
	v := invented{id: "even", vehicle: "twin-01", begun: inventedDay(0)}
	for b, c := range "ABABA" {
		block := inventedBlock{configuration: string(c)}
		for i := range 3 {
			level := 0.0004 * math.Sin(float64(5*b+3*i))
			if c == 'B' {
				level += math.Log(1.03)
			}
			block.levels = append(block.levels, level)
		}
		v.blocks = append(v.blocks, block)
	}
	dir := filepath.Join(t.TempDir(), v.id)
	writeTree(t, dir, v.folder())
	return dir
}

// evenRider is a vehicle of which everything is entered and known.
func evenRider() RoadVehicle {
	zero := 0.0
	return RoadVehicle{
		Mass: 240, TurningShare: &zero, Gears: []float64{2.5, 1.8, 1.4, 1.1}, Gear: 4, Primary: 2, Final: 2.8, WheelRadius: 0.31,
		RoadLoad:    &[3]float64{30, 0, 0.32},
		Uncertainty: RoadUncertainty{Mass: &zero, Rolling: &zero, Drag: &zero, Gearing: &zero, Level: &zero},
	}
}

// coast is the time in which a constant force F takes a mass m from u to v against
// A + C·v²: m/√((F − A)·C)·(artanh(v/w) − artanh(u/w)), w² = (F − A)/C. The integral
// stands in any table of integrals.
func coast(m, f, a, c, u, v float64) float64 {
	w := math.Sqrt((f - a) / c)
	return m / math.Sqrt((f-a)*c) * (math.Atanh(v/w) - math.Atanh(u/w))
}

// Where the torque is the same at every engine speed the times have a closed form, and
// so has the top speed. The gain weighted by any ride is the gain.
func TestRoadClosedForm(t *testing.T) {
	q := RoadQuery{What: rampDir(t), Vehicle: evenRider(), Ride: &RoadRide{}}
	q.Ride.EdgesRPM, q.Ride.Weight = []float64{3000, 4000, 6000}, []float64{1, 4}
	q.Ask.AddRollOn(quantity.SI, 3, 60, 100)
	q.Ask.Top = true
	r, err := Road(t.Context(), nil, q)
	if err != nil {
		t.Fatal(err)
	}
	c := &r.Gain.Comparisons[0]
	base, with := c.Curve[0].Baseline, c.Curve[0].Candidate
	near := func(what string, got, want, most float64) {
		if !(math.Abs(got-want) <= most*math.Abs(want)) {
			t.Errorf("%s is %.9g, want %.9g", what, got, want)
		}
	}
	near("torque without the part", base, inventedMean, 0.001) // the scatter put in is 0.04 %
	const k = 2 * 1.4 * 2.8 / 0.31
	for i, torque := range []float64{base, with} {
		got := []report.RoadFigure{r.Answers[0].Without, r.Answers[0].With}[i]
		near("the roll-on", got.Value, coast(240, torque*k, 30, 0.32, 60/3.6, 100/3.6), 1e-9)
	}
	// In the fourth gear 7000/min are 32.5 m/s, in the top gear; the limit of the curve.
	near("the top speed", r.Answers[1].Without.Value, 7000*curve.RadPerSecondPerRPM*0.31/(2*1.1*2.8), 1e-9)
	if r.Answers[1].Ends[0] != report.EndsByCurve {
		t.Errorf("the top speed ends by %s", r.Answers[1].Ends[0])
	}
	gain := math.Expm1(c.Curve[0].Gain)
	near("the weighted gain", r.Weighted.Gain.Value, gain, 1e-9)
	near("the gain", gain, 0.03, 0.02)
	// The unknowns are known, so the interval of the change is that of the gain alone:
	// d t/d ln(gain) by the closed form, times the interval of the gain.
	step := 1e-5
	slope := (coast(240, with*math.Exp(step)*k, 30, 0.32, 60/3.6, 100/3.6) - r.Answers[0].With.Value) / step
	f := c.Band
	near("the interval's width", r.Answers[0].Change.Hi-r.Answers[0].Change.Lo, math.Abs(slope)*(f.Hi-f.Lo), 0.06)
}

// The demo's truth is known: a plain integration of its true torque over the road, with
// the road load of 40 CFR 86.529-98 between the rows for 280 and 290 kg, lies in the
// interval that the pulls give, and is near what they give.
func TestRoadAgainstTheTruth(t *testing.T) {
	s := simulate.Demo()
	truth, err := s.Truth()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "demo")
	if err := s.Write(dir); err != nil {
		t.Fatal(err)
	}
	r, err := Road(t.Context(), nil, RoadQuery{What: dir, Units: quantity.SI})
	if err != nil {
		t.Fatal(err)
	}
	a := r.Answers[0]
	if a.Kind != report.RoadRollOn || a.Gear != 4 || math.Abs(a.From*3.6-60) > 1e-9 || math.Abs(a.To*3.6-100) > 1e-9 {
		t.Fatalf("%+v", a)
	}
	turns := truth.Configurations[0].EngineRevsPerDrum
	var times [2]float64
	for i, c := range truth.Configurations {
		times[i] = plainRollOn(truth.RPM, c.WheelNm, turns/0.25, 285*1.07, (15.68+16.55)/2, (0.0274+0.0277)/2*3.6*3.6, a.From, a.To)
	}
	change := times[1] - times[0]
	if !(a.Change.Lo <= change && change <= a.Change.Hi) {
		t.Errorf("the true change is %.4f s, the interval %.4f to %.4f s", change, a.Change.Lo, a.Change.Hi)
	}
	if !(a.Without.Lo <= times[0] && times[0] <= a.Without.Hi && a.With.Lo <= times[1] && times[1] <= a.With.Hi) {
		t.Errorf("the true times are %.3f and %.3f s, the intervals %.3f to %.3f s and %.3f to %.3f s", times[0], times[1], a.Without.Lo, a.Without.Hi, a.With.Lo, a.With.Hi)
	}
	if math.Abs(a.Without.Value/times[0]-1) > 0.05 {
		t.Errorf("%.3f s without the part, and the truth is %.3f s", a.Without.Value, times[0])
	}
}

// plainRollOn integrates m·dv = (k·τ(k·v) − A − C·v²)·dt in small steps of v, the torque
// straight between its nodes.
func plainRollOn(rpm, torque []float64, k, m, a, c, from, to float64) float64 {
	const steps = 100_000
	sum, h, at := 0.0, (to-from)/steps, 0
	for i := range steps {
		v := from + (float64(i)+0.5)*h
		n := k * v / curve.RadPerSecondPerRPM
		for rpm[at+1] < n {
			at++
		}
		x := (n - rpm[at]) / (rpm[at+1] - rpm[at])
		sum += h * m / (k*(torque[at]+x*(torque[at+1]-torque[at])) - a - c*v*v)
	}
	return sum
}

// What cannot be answered is said, and why.
func TestRoadRefuses(t *testing.T) {
	dir, known := rampDir(t), evenRider()
	for want, change := range map[string]func(*RoadQuery){
		"--mass":                   func(q *RoadQuery) { q.Vehicle.Mass = 0 },
		"gear 4, and there are":    func(q *RoadQuery) { q.Vehicle.Gears = []float64{2.5, 1.8} },
		"names no one kind":        func(q *RoadQuery) { q.Vehicle.RoadLoad, q.Vehicle.Class = nil, "faired" },
		"holds from 100 to 860 kg": func(q *RoadQuery) { q.Vehicle.RoadLoad, q.Vehicle.Mass = nil, 900 },
		"no candidate":             func(q *RoadQuery) { q.Candidate = "Z" },
		"leads from a speed":       func(q *RoadQuery) { q.Ask.AddRollOn(quantity.SI, 0, 100, 60) },
		"between 0 and 0.5":        func(q *RoadQuery) { v := 0.9; q.Vehicle.Uncertainty.Drag = &v },
		"stands in a workspace":    func(q *RoadQuery) { q.What = "C-0001" },
		"engine is geared":         func(q *RoadQuery) { q.Vehicle.Primary = 0 },
	} {
		q := RoadQuery{What: dir, Vehicle: known, Units: quantity.SI}
		change(&q)
		if _, err := Road(t.Context(), nil, q); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
		}
	}
}

// A file says all that flags can say, and what contradicts itself is refused.
func TestReadRoad(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		place := filepath.Join(dir, name)
		if err := os.WriteFile(place, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return place
	}
	write("ride.csv", "time [s],engine_speed [rpm]\n0,3100\n1,3100\n2,4100\n3,4100\n")
	var q RoadQuery
	err := ReadRoad(write("road.toml", `format = "fairpull.road/1"
mass_kg = 240
gears = [2.5, 1.8]
limiter_rpm = 9000
road_load = [30, 0, 0.3]
[grip]
friction = 1.0
wheelbase_m = 1.45
centre_height_m = 0.6
rear_share = 0.5
[uncertainty_pct]
drag = 4
[ask]
roll_on_kmh = [[36, 72]]
roll_on_gear = 2
over_m = [400]
[ride]
log = "ride.csv"
bin_rpm = 1000
`), &q)
	if err != nil {
		t.Fatal(err)
	}
	v := q.Vehicle
	if v.Mass != 240 || v.LimitRPM != 9000 || v.RoadLoad[2] != 0.3 || v.Grip.RearShare != 0.5 || *v.Uncertainty.Drag != 0.04 ||
		math.Abs(q.Ask.RollOns[0].To-20) > 1e-12 || q.Ask.RollOns[0].Gear != 2 || q.Ask.Over[0] != 400 {
		t.Errorf("%+v, %+v", v, q.Ask)
	}
	// One second at 3100, one at 3600 as the mean of its ends, one at 4100/min.
	if w := q.Ride.Weight; len(w) != 5 || w[3] != 2 || w[4] != 1 || !strings.Contains(q.Ride.Source, "ride.csv") {
		t.Errorf("%v, %s", w, q.Ride.Source)
	}
	for want, text := range map[string]string{
		"format":         `mass_kg = 200`,
		"weight":         "format = \"fairpull.road/1\"\nweight = 200",
		"three":          "format = \"fairpull.road/1\"\nroad_load = [1, 2]",
		"belong":         "format = \"fairpull.road/1\"\nprimary = 2",
		"leave out":      "format = \"fairpull.road/1\"\nroad_load = [1, 0, 2]\nclass = \"scooter\"",
		"positive":       "format = \"fairpull.road/1\"\nmass_kg = nan",
		"one of the two": "format = \"fairpull.road/1\"\n[ride]\nlog = \"a.csv\"\nrpm = [1, 2]",
		"beside":         "format = \"fairpull.road/1\"\n[ride]\nlog = \"../a.csv\"",
		"edges":          "format = \"fairpull.road/1\"\n[ride]\nrpm = [1]\nseconds = [1]",
	} {
		var q RoadQuery
		if err := ReadRoad(write("bad.toml", text), &q); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", text, err, want)
		}
	}
}

func TestParseRide(t *testing.T) {
	r, err := ParseRide("2000-3000=20, 3500-4000=5")
	if err != nil || len(r.EdgesRPM) != 4 || r.Weight[1] != 0 || r.Weight[2] != 5 {
		t.Errorf("%+v, %v", r, err)
	}
	for _, text := range []string{"", "2000", "2000-3000", "2000-3000=x", "2000-3000=1,2500-3500=1", "3000-2000=1", "2000-3000=-1", "2000-3000=0", "2000-3000=NaN", "2000-Inf=1"} {
		if r, err := ParseRide(text); err == nil {
			t.Errorf("%q was read as %+v", text, r)
		}
	}
}

// A claim is asked by its number, with how far it has come; of one that was withdrawn
// nothing is promised any more.
func TestRoadOfAClaim(t *testing.T) {
	w, keys := claimingLab(t)
	number := mustDraft(t, w, "lab-01").Number
	mustPublish(t, w, keys, number)
	q := RoadQuery{What: number, Units: quantity.SI, Vehicle: RoadVehicle{Mass: 250}}
	r, err := Road(t.Context(), w, q)
	if err != nil {
		t.Fatal(err)
	}
	if r.Claim == nil || r.Claim.Number != number || !strings.Contains(r.Standing(), "Published") {
		t.Errorf("%s", r.Standing())
	}
	promised := func(r *report.Road) bool {
		return strings.Contains(strings.Join(r.Sentences(quantity.SI), " "), "at least")
	}
	if !promised(r) {
		t.Errorf("nothing is promised: %v", r.Sentences(quantity.SI))
	}
	if _, err := w.WithdrawClaim(t.Context(), number, Author{Who: "Rita Reviewer", Why: "a leak was found"}); err != nil {
		t.Fatal(err)
	}
	if r, err = Road(t.Context(), w, q); err != nil || promised(r) || !strings.Contains(r.Standing(), "no longer to be used") {
		t.Errorf("%v, %s", err, r.Standing())
	}
	q.Candidate = "Z"
	if _, err := Road(t.Context(), w, q); err == nil {
		t.Error("the claim was asked of another candidate")
	}
}

// Sides that are geared differently, figures at the crank, gears that are not known and
// gains without an interval are declined.
func TestRoadDeclines(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	if err := simulate.Demo().Write(dir); err != nil {
		t.Fatal(err)
	}
	a, err := Gain(t.Context(), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	c := &a.Comparisons[0]
	ask := func(q RoadQuery) error {
		_, err := a.ridden(c, q, &report.Road{})
		return err
	}
	declines := func(want string, err error) {
		t.Helper()
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	if err := ask(RoadQuery{Units: quantity.SI}); err != nil {
		t.Fatal(err)
	}
	var q RoadQuery
	q.Ask.Top = true
	declines("only the gear of the pulls", ask(q))
	q = RoadQuery{}
	q.Ask.AddRollOn(quantity.SI, 5, 60, 100)
	declines("only the gear of the pulls", ask(q))
	q = RoadQuery{}
	q.Ask.AddRollOn(quantity.SI, 4, 60, 100)
	if err := ask(q); err != nil {
		t.Errorf("the gear of the pulls by its number: %v", err)
	}
	for i := range a.Pulls {
		if p := &a.Pulls[i]; p.Configuration == "B" && p.Result != nil {
			result := *p.Result
			result.Ratio *= 43.0 / 42 // a tooth more behind
			p.Result = &result
		}
	}
	declines("geared differently", ask(RoadQuery{}))
	for i := range a.Pulls {
		a.Pulls[i].AtCrank = true
	}
	declines("at the crank", ask(RoadQuery{}))
}

func BenchmarkRoad(b *testing.B) {
	dir := filepath.Join(b.TempDir(), "demo")
	if err := simulate.Demo().Write(dir); err != nil {
		b.Fatal(err)
	}
	q := RoadQuery{What: dir, Units: quantity.SI, Vehicle: RoadVehicle{Gears: []float64{2.9, 2.1, 1.65, 1.35, 1.15, 1}}}
	for b.Loop() {
		if _, err := Road(b.Context(), nil, q); err != nil {
			b.Fatal(err)
		}
	}
}
