package compare

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// usualLab is the scatter of the reference table of plans: setup SD 0.9 %, pull SD
// 0.55 %, ten degrees of freedom from setups of three pulls. Assumed, not measured.
var usualLab = Assumed{Setup: Spread{0.009, 10}, SetupPulls: 3, Pull: Spread{0.0055, 22}}

// expect returns the expectation of the first candidate.
func expect(t testing.TB, p Planned) Expectation {
	t.Helper()
	e, err := p.Expect(1)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// unchecked returns the expectation without the allowance for the check of campaign
// against history, as the reference tables have it.
func (e Expectation) unchecked() Expectation {
	e.factor = 1
	return e
}

// planOf spells a plan: each letter a block, hours apart, all re-strapped or all in
// one setup.
func planOf(order string, pulls int, hours float64, oneSetup bool) []PlannedBlock {
	var out []PlannedBlock
	for b, c := range order {
		block := PlannedBlock{Configuration: int(c - 'A'), Setup: b, Pulls: pulls, Hours: hours * float64(b)}
		if oneSetup {
			block.Setup = 0
		}
		out = append(out, block)
	}
	return out
}

// The chance of showing a gain of 3 % under a straight drift: with the drift declared
// straight, and with allowance and gate. Expected values are shares of 40,000
// campaigns simulated with numpy (docs/method.md, section 6: setup SD 0.9 %, pull SD
// 0.55 %, ten degrees of freedom, blocks 0.73 h apart, three pulls). Shares are
// rounded to a point, with a standard error of a quarter of one.
func TestChanceUnderDrift(t *testing.T) {
	for _, r := range []struct {
		order           string
		drift           float64 // %/h
		declared, gated float64
	}{
		{"ABA", 0, 76, 73}, {"ABA", 1, 76, 66}, {"ABA", 2, 76, 45},
		{"ABBA", 0, 90, 86}, {"ABBA", 1, 89, 65}, {"ABBA", 2, 90, 18},
		{"ABAB", 0, 83, 79}, {"ABAB", 1, 83, 61}, {"ABAB", 2, 83, 25},
		{"ABBAAB", 0, 97, 96}, {"ABBAAB", 1, 97, 46}, {"ABBAAB", 2, 97, 1},
		{"ABABAB", 0, 96.2, 95.9}, {"ABABAB", 1, 96.2, 82.8}, {"ABABAB", 2, 96.4, 26.7},
	} {
		p := Planned{Blocks: planOf(r.order, 3, 0.73, false), Assumed: usualLab, Confidence: 0.95}
		p.Assumed.DriftPerHour = r.drift / 100
		what := fmt.Sprintf("%s, %v %%/h", r.order, r.drift)
		gated := 100 * expect(t, p).unchecked().Chance(0.03)
		p.DriftLinear = true
		declared := 100 * expect(t, p).unchecked().Chance(0.03)
		if !(declared >= r.declared-1.5 && declared <= r.declared+1.5) {
			t.Errorf("%s, declared straight: %.1f %%, simulated %v", what, declared, r.declared)
		}
		if !(gated >= r.gated-1.5 && gated <= r.gated+1.5) {
			t.Errorf("%s, allowance and gate: %.1f %%, simulated %v", what, gated, r.gated)
		}
	}
}

// The parts of a plan are those of the orders' table (computed with numpy): setup
// multipliers, and what share of a one-way drift the gain can be off by.
func TestPlanParts(t *testing.T) {
	var c struct {
		Expected []struct {
			Order     string
			Setup     float64 `json:"a_u"`
			MaxWeight float64 `json:"max_abs_W"`
		}
	}
	reference(t, "design_table", &c)
	for _, r := range c.Expected {
		if r.Order[0] != 'A' {
			continue // the table has an order that begins with the candidate
		}
		p := Planned{Blocks: planOf(r.Order, 4, 0.5, false), Assumed: usualLab, Confidence: 0.95}
		p.Assumed.DriftRate, p.Assumed.WeatherDifference, p.Assumed.LossPlacement = Spread{0, 5}, 0.02, 0.003
		e := expect(t, p)
		near(t, r.Order+" setup part", e.Parts[PartSetup], r.Setup*square(0.009), 1e-9)
		near(t, r.Order+" pull part", e.Parts[PartPull], r.Setup/4*square(0.0055), 1e-9)
		near(t, r.Order+" partial sum", e.MaxWeightSum, r.MaxWeight, 1e-9)
		near(t, r.Order+" weather part", e.Parts[PartWeather], square(0.02*0.15), 1e-12)
		near(t, r.Order+" loss part", e.Parts[PartLoss], square(0.003)/3, 1e-12)
		var sum float64
		for _, v := range e.Parts {
			sum += v
		}
		near(t, r.Order+" variance", square(e.SE), sum, 1e-12)
		near(t, r.Order+" half-width", e.HalfWidth, tQuantile(0.975, e.DF)*e.SE, 1e-9)
		near(t, r.Order+" margin", e.Margin, tQuantile(0.95, e.DF)*e.SE, 1e-9)
	}
	if len(c.Expected) != 9 {
		t.Fatalf("%d orders", len(c.Expected))
	}
}

// A plan and its result cannot disagree: with nothing left to measure the outlook of
// a comparison is the comparison itself.
func TestOutlookOfNothing(t *testing.T) {
	for _, layout := range []struct {
		name    string
		setups  []string
		history History
	}{
		{"setups of their own, history", []string{"1", "2", "3", "4"}, History{Setup: Spread{0.004, 12}, Pull: Spread{0.002, 20}}},
		{"setups of their own, no history", []string{"1", "2", "3", "4"}, History{}},
		{"one setup", []string{"1", "1", "1", "1"}, History{Block: Spread{0.002, 8}}},
		{"two setups", []string{"1", "1", "2", "2"}, History{Setup: Spread{0.004, 12}, Block: Spread{0.002, 8}}},
	} {
		in := flat("ABAB", [][]float64{{4.500, 4.502, 4.498}, {4.549, 4.551}, {4.506, 4.504, 4.505}, {4.550, 4.546, 4.549}}, nil)
		in.History = layout.history
		for i := range in.Pulls {
			in.Pulls[i].Setup = layout.setups[in.Pulls[i].Name[0]-'0']
		}
		c := one(t, in)
		if c.Scatter.HistoryP < poolingP {
			t.Fatalf("%s: campaign and history apart, p %v", layout.name, c.Scatter.HistoryP)
		}
		e, err := c.Outlook(nil)
		if err != nil {
			t.Fatal(err)
		}
		// The size is the joint one on either side; degrees of freedom differ as far as
		// campaign and history found different sizes.
		near(t, layout.name+": standard error", e.SE, c.Band.SE, 1e-9)
		if !(math.Abs(e.HalfWidth/((c.Band.Hi-c.Band.Lo)/2)-1) < 0.15) {
			t.Errorf("%s: half-width %v, found %v", layout.name, e.HalfWidth, (c.Band.Hi-c.Band.Lo)/2)
		}
	}
}

// An outlook narrows with the rest, joins the rest of the block in progress to it, and
// does not move when the gain found so far is another one.
func TestOutlook(t *testing.T) {
	values := [][]float64{{4.500, 4.502, 4.498}, {4.549, 4.551, 4.550}, {4.502, 4.500}}
	in := flat("ABA", values, nil)
	in.History.Setup = Spread{0.004, 12}
	c := one(t, in)
	outlook := func(c Comparison, rest ...RestBlock) Expectation {
		e, err := c.Outlook(rest)
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	third := RestBlock{"A", "s2", 1, 2.14}
	one1 := outlook(c, third)
	two := outlook(c, third, RestBlock{"B", "s3", 3, 3}, RestBlock{"A", "s4", 3, 4})
	now := outlook(c)
	if !(two.HalfWidth < one1.HalfWidth && one1.HalfWidth < now.HalfWidth) {
		t.Errorf("half-widths %v now, %v, %v", now.HalfWidth, one1.HalfWidth, two.HalfWidth)
	}
	near(t, "setup part of A-B-A", one1.Parts[PartSetup], 1.5*square(0.004), 1e-9)
	near(t, "pull part of three blocks of three", one1.Parts[PartPull], 0.5*square(c.Scatter.PullSD), 1e-9)
	for i := range in.Pulls {
		if in.Pulls[i].Configuration == "B" {
			in.Pulls[i].LogTorque = []float64{1, 1, 1, 1, 1}
			for k := range in.Pulls[i].LogTorque {
				in.Pulls[i].LogTorque[k] = values[1][in.Pulls[i].Name[2]-'0'] + 0.2
			}
		}
	}
	near(t, "half-width with a gain of 25 %", outlook(one(t, in), third).HalfWidth, one1.HalfWidth, 1e-9)
	if _, err := c.Outlook([]RestBlock{{"C", "s9", 3, 5}}); err == nil || !strings.Contains(err.Error(), `"C" has no block`) {
		t.Errorf("a configuration not measured yet: %v", err)
	}
}

// Designs come in order of time; the least time that shows the gain is recommended, an
// unbracketed order never; what is not known withholds.
func TestDesigns(t *testing.T) {
	q := DesignQuery{
		Candidates: 1, Assumed: usualLab, Confidence: 0.95,
		Rig: Rig{PullMinutes: 4, ChangeMinutes: 25, StrapMinutes: 12, WarmUpMinutes: 20, SettlingPulls: 1},
	}
	q.Assumed.DriftRate = Spread{0.003, 9}
	designs, err := Designs(q)
	if err != nil {
		t.Fatal(err)
	}
	for i, d := range designs {
		if i > 0 && d.Minutes < designs[i-1].Minutes {
			t.Errorf("%s takes %v min, the one before %v", d.Order, d.Minutes, designs[i-1].Minutes)
		}
		if d.OneSetup && (d.Chance(0.05) != 0 || !math.IsNaN(d.Detectable(0.8)) || len(d.Expected[0].Withheld) == 0) {
			t.Errorf("%s in one setup, the scatter of change-overs unknown: chance %v", d.Order, d.Chance(0.05))
		}
		if x := d.Detectable(0.8); !d.OneSetup {
			within(t, d.Order+" chance of what is detectable", d.Chance(x), 0.8, 1e-6)
		}
	}
	best := Recommended(designs, 0.03, 0.8)
	if best < 0 {
		t.Fatal("no design for 3 %")
	}
	for i, d := range designs[:best] {
		if d.Expected[0].Bracketed && d.Chance(0.03) >= 0.8 {
			t.Errorf("design %d, %s with %d pulls, would do and takes less time", i, d.Order, d.Pulls)
		}
	}
	if d := designs[best]; !d.Expected[0].Bracketed || d.Chance(0.03) < 0.8 {
		t.Errorf("recommended %s: chance %v", d.Order, d.Chance(0.03))
	}
	if got := Recommended(designs, 0.001, 0.8); got != -1 {
		t.Errorf("recommended %s for a gain of 0.1 %%", designs[got].Order)
	}
	// Minutes of A-B-B-A, three pulls: warm-up, four straps, two changes with one
	// settling pull each, twelve pulls.
	q.Pulls = []int{3}
	d, err := DesignOf(q, "abba", false)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "minutes of A-B-B-A", d.Minutes, 20+4*12+2*(25+4)+12*4, 0)
	near(t, "start of the last block", d.Plan.Blocks[3].Hours*60, 20+4*12+2*29+9*4+4, 1e-12)
}

// Two candidates: the chance is that of the worse placed one, and every order offered
// brackets both.
func TestDesignsOfTwoCandidates(t *testing.T) {
	q := DesignQuery{Candidates: 2, Pulls: []int{3}, Assumed: usualLab, Confidence: 0.95, Rig: Rig{PullMinutes: 4, ChangeMinutes: 25, StrapMinutes: 12}}
	q.Assumed.Block = Spread{0.002, 8}
	designs, err := Designs(q)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, d := range designs {
		seen[d.Order] = true
		if len(d.Expected) != 2 || !d.Expected[0].Bracketed || !d.Expected[1].Bracketed {
			t.Errorf("%s: %d candidates, bracketed %v", d.Order, len(d.Expected), d.Expected[0].Bracketed)
		}
		if c := d.Chance(0.03); c != min(d.Expected[0].Chance(0.03), d.Expected[1].Chance(0.03)) || !(c > 0) {
			t.Errorf("%s: chance %v", d.Order, c)
		}
	}
	for _, order := range []string{"A-B-C-A", "A-B-A-C-A", "A-B-C-C-B-A", "A-B-C-A-B-C-A", "A-B-C-A-C-B-A"} {
		if !seen[order] {
			t.Errorf("%s is not offered", order)
		}
	}
}

func TestPlanRefuses(t *testing.T) {
	good := func() Planned {
		return Planned{Blocks: planOf("ABA", 3, 1, false), Assumed: usualLab, Confidence: 0.95}
	}
	for want, spoil := range map[string]func(*Planned){
		"confidence is 0":        func(p *Planned) { p.Confidence = 0 },
		"plan of 1 blocks":       func(p *Planned) { p.Blocks = p.Blocks[:1] },
		"has 0 pulls":            func(p *Planned) { p.Blocks[1].Pulls = 0 },
		"does not come after":    func(p *Planned) { p.Blocks[2].Hours = 1 },
		"does not come after ":   func(p *Planned) { p.Blocks[2].Hours = math.NaN() },
		"is +Inf":                func(p *Planned) { p.Blocks[2].Hours = math.Inf(1) },
		"are one block":          func(p *Planned) { p.Blocks[1] = PlannedBlock{0, 0, 3, 1} },
		"comes back":             func(p *Planned) { p.Blocks[2].Setup = 0 },
		"configuration 1 has no": func(p *Planned) { p.Blocks[1].Configuration = 2 },
		"setup SD is NaN":        func(p *Planned) { p.Assumed.Setup.SD = math.NaN() },
		"drift is NaN":           func(p *Planned) { p.Assumed.DriftPerHour = math.NaN() },
		"no candidate":           func(p *Planned) { p.Blocks[1].Configuration = 0 },
	} {
		p := good()
		spoil(&p)
		if _, err := p.Expect(1); err == nil || !strings.Contains(err.Error(), strings.TrimSpace(want)) {
			t.Errorf("want an error with %q, got %v", want, err)
		}
	}
	if _, err := good().Expect(0); err == nil {
		t.Error("an expectation of the baseline")
	}
	one := good()
	one.Assumed.Pull.DF = 0
	for b := range one.Blocks {
		one.Blocks[b].Pulls = 1
	}
	if e := expect(t, one); e.Interval || e.Chance(0.5) != 0 || !math.IsNaN(e.SE) || e.Withheld[0] != PullScatterUnknown {
		t.Errorf("single pulls and no pull scatter: %+v", e)
	}
	for _, order := range []string{"A", "AC", "AAA", "A-?"} {
		if _, err := DesignOf(DesignQuery{Candidates: 1, Pulls: []int{3}, Confidence: 0.95, Rig: Rig{PullMinutes: 1}}, order, false); err == nil {
			t.Errorf("order %q was taken", order)
		}
	}
}

// Simulated campaigns in one setup, the scatter of change-overs known: as many show
// their gain as the plan says, within the four points of docs/method.md and four
// binomial standard errors.
func TestChanceInOneSetup(t *testing.T) {
	const n, gain = 400, 0.006
	s := simulated{
		order: "ABAB", pulls: []int{3}, oneGo: true, linear: true, blockSD: 0.002, blockDF: 12,
		gain: func(float64) float64 { return math.Log1p(gain) },
	}
	got := s.run(t, n, 77)
	l := newLab(s, 1)
	p := Planned{Blocks: planOf(s.order, 3, 0.6, true), Confidence: 0.95, DriftLinear: true, Assumed: Assumed{
		Block: Spread{0.002 / simSetupSD * math.Sqrt(l.bandVariance(true)), 12}, Pull: Spread{SD: math.Sqrt(l.bandVariance(false))},
	}}
	predicted, simulated := 100*expect(t, p).Chance(gain), got.hundred(got.gainShown)
	if margin := binomial(simulated, n); !(simulated <= predicted+margin && simulated >= predicted-4-margin) || !(predicted > 20 && predicted < 95) {
		t.Errorf("predicted %.1f %%, simulated %.1f %%", predicted, simulated)
	}
}

func BenchmarkDesigns(b *testing.B) {
	q := DesignQuery{Candidates: 1, Assumed: usualLab, Confidence: 0.95, Rig: Rig{PullMinutes: 4, ChangeMinutes: 25, StrapMinutes: 12}}
	for b.Loop() {
		designs, err := Designs(q)
		if err != nil {
			b.Fatal(err)
		}
		for _, d := range designs {
			d.Detectable(0.8)
		}
	}
}
