package compare

import (
	"fmt"
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
