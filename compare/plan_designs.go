package compare

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Rig is how long things take on the rig, in minutes.
type Rig struct {
	PullMinutes   float64 // from one pull to the next, cooling included
	ChangeMinutes float64 // a change of configuration
	StrapMinutes  float64 // unstrapping and strapping down
	WarmUpMinutes float64 // once, before the first block
	SettlingPulls int     // after a change of configuration, not counted
}

// DesignQuery asks for designs.
type DesignQuery struct {
	Candidates  int   // 1 or more
	Pulls       []int // in each block, to be tried; nil: 2, 3, 4 and 5
	Assumed     Assumed
	Rig         Rig
	Confidence  float64
	DriftLinear bool
}

// PlannedDesign is an order of blocks with what it promises.
type PlannedDesign struct {
	Order    string // A-B-B-A, A being the baseline
	OneSetup bool   // strapped down once; else anew for every block
	Pulls    int    // in each block
	Minutes  float64
	Plan     Planned
	Expected []Expectation // of each candidate
}

// The bounds of a query.
const (
	maxCandidates   = 8
	maxPullsTried   = 30
	maxMinutes      = 24 * 60
	maxSettlingPull = 30
)

// Designs returns the designs that are worth a look, in the order of the time that
// they take: every known order with every number of pulls, re-strapped for every
// block and, where blocks that follow one another differ, in one setup. Where the
// scatter of setups or of change-overs is not known it says so design by design
// (Expectation.Withheld).
func Designs(q DesignQuery) ([]PlannedDesign, error) {
	if err := q.validate(); err != nil {
		return nil, err
	}
	pulls := q.Pulls
	if pulls == nil {
		pulls = []int{2, 3, 4, 5}
	}
	var out []PlannedDesign
	for _, order := range orders(q.Candidates) {
		for _, n := range pulls {
			for _, oneSetup := range []bool{false, true} {
				if oneSetup && repeats(order) {
					continue // two blocks of one configuration in one setup are one block
				}
				d, err := q.design(order, n, oneSetup)
				if err != nil {
					return nil, err
				}
				out = append(out, d)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b PlannedDesign) int { return cmp.Compare(a.Minutes, b.Minutes) })
	return out, nil
}

// DesignOf returns one design, spelled as in [PlannedDesign].Order, with the query's
// first number of pulls.
func DesignOf(q DesignQuery, order string, oneSetup bool) (PlannedDesign, error) {
	if err := q.validate(); err != nil {
		return PlannedDesign{}, err
	}
	if len(q.Pulls) == 0 {
		return PlannedDesign{}, errors.New("no number of pulls is given")
	}
	blocks, err := parseOrder(order, q.Candidates)
	if err != nil {
		return PlannedDesign{}, err
	}
	return q.design(blocks, q.Pulls[0], oneSetup)
}

// Chance returns the chance that every candidate has its gain shown, each having the
// same true gain, as the least of theirs.
func (d PlannedDesign) Chance(gain float64) float64 {
	least := 1.0
	for _, e := range d.Expected {
		least = min(least, e.Chance(gain))
	}
	return least
}

// Detectable returns the smallest gain that is shown with the wanted chance whichever
// candidate has it; NaN where there is none.
func (d PlannedDesign) Detectable(wanted float64) float64 {
	most := 0.0
	for _, e := range d.Expected {
		most = math.Max(most, e.Detectable(wanted)) // math.Max keeps a NaN
	}
	return most
}

// Recommended returns the index of the design that takes the least time of those that
// show the gain with the wanted chance and bracket every candidate; −1: none does.
// The designs must be in order of time, as [Designs] returns them.
func Recommended(designs []PlannedDesign, gain, wanted float64) int {
	return slices.IndexFunc(designs, func(d PlannedDesign) bool {
		bracketed := !slices.ContainsFunc(d.Expected, func(e Expectation) bool { return !e.Bracketed })
		return bracketed && d.Chance(gain) >= wanted
	})
}

func (q DesignQuery) validate() error {
	if q.Candidates < 1 || q.Candidates > maxCandidates {
		return fmt.Errorf("%d candidates: a design has from 1 to %d", q.Candidates, maxCandidates)
	}
	if len(q.Pulls) > maxPullsTried {
		return fmt.Errorf("%d numbers of pulls to try, at most %d", len(q.Pulls), maxPullsTried)
	}
	for _, n := range q.Pulls {
		if n < 1 || n > maxPullsTried {
			return fmt.Errorf("%d pulls in a block: from 1 to %d", n, maxPullsTried)
		}
	}
	r := q.Rig
	for _, m := range []float64{r.ChangeMinutes, r.StrapMinutes, r.WarmUpMinutes} {
		if !(m >= 0 && m <= maxMinutes) {
			return fmt.Errorf("%v minutes: a time on the rig is from 0 to %d", m, maxMinutes)
		}
	}
	if !(r.PullMinutes > 0 && r.PullMinutes <= maxMinutes) {
		return fmt.Errorf("a pull takes %v minutes: it must take more than 0 and at most %d", r.PullMinutes, maxMinutes)
	}
	if r.SettlingPulls < 0 || r.SettlingPulls > maxSettlingPull {
		return fmt.Errorf("%d settling pulls: from 0 to %d", r.SettlingPulls, maxSettlingPull)
	}
	return nil
}

// design times the blocks of an order on the rig and works out what they promise.
func (q DesignQuery) design(order []int, pulls int, oneSetup bool) (PlannedDesign, error) {
	d := PlannedDesign{Order: spell(order), OneSetup: oneSetup, Pulls: pulls}
	d.Plan = Planned{Assumed: q.Assumed, Confidence: q.Confidence, DriftLinear: q.DriftLinear}
	minutes := q.Rig.StrapMinutes + q.Rig.WarmUpMinutes
	for b, c := range order {
		block := PlannedBlock{Configuration: c, Pulls: pulls}
		if !oneSetup {
			block.Setup = b
		}
		if b > 0 {
			if !oneSetup {
				minutes += q.Rig.StrapMinutes
			}
			if c != order[b-1] {
				minutes += q.Rig.ChangeMinutes + float64(q.Rig.SettlingPulls)*q.Rig.PullMinutes
			}
		}
		block.Hours = (minutes + q.Rig.PullMinutes*float64(pulls-1)/2) / 60
		minutes += q.Rig.PullMinutes * float64(pulls)
		d.Plan.Blocks = append(d.Plan.Blocks, block)
	}
	d.Minutes = minutes
	for c := 1; c <= q.Candidates; c++ {
		e, err := d.Plan.Expect(c)
		if err != nil {
			return d, err
		}
		d.Expected = append(d.Expected, e)
	}
	return d, nil
}

// orders returns the orders of blocks that are offered: 0 is the baseline.
//
// With one candidate those of the table in docs/method.md, section 6; with several,
// candidates in turn between baselines, each between baselines of its own, there and
// back, and twice over in the same and in the opposite turn.
func orders(candidates int) [][]int {
	if candidates == 1 {
		return [][]int{
			{0, 1},
			{0, 1, 0},
			{0, 1, 1, 0}, {0, 1, 0, 1},
			{0, 1, 0, 1, 0},
			{0, 1, 1, 0, 0, 1}, {0, 1, 0, 1, 0, 1},
			{0, 1, 1, 0, 1, 0, 0, 1},
		}
	}
	var turn, own []int
	for c := 1; c <= candidates; c++ {
		turn = append(turn, c)
		own = append(own, c, 0)
	}
	back := slices.Clone(turn)
	slices.Reverse(back)
	zero := []int{0}
	return [][]int{
		slices.Concat(zero, turn, zero),
		slices.Concat(zero, own),
		slices.Concat(zero, turn, back, zero),
		slices.Concat(zero, turn, zero, turn, zero),
		slices.Concat(zero, turn, zero, back, zero),
	}
}

// repeats reports whether two neighbours are the same.
func repeats(order []int) bool {
	for b := 1; b < len(order); b++ {
		if order[b] == order[b-1] {
			return true
		}
	}
	return false
}

// spell writes an order with letters, the baseline being A.
func spell(order []int) string {
	letters := make([]string, len(order))
	for b, c := range order {
		letters[b] = string(rune('A' + c))
	}
	return strings.Join(letters, "-")
}

// maxOrder bounds the blocks of an order that is spelled.
const maxOrder = 60

// parseOrder reads A-B-B-A, the hyphens being optional and lower case allowed.
func parseOrder(text string, candidates int) ([]int, error) {
	letters := strings.ToUpper(strings.ReplaceAll(text, "-", ""))
	if len(letters) < 2 || len(letters) > maxOrder {
		return nil, fmt.Errorf("an order has from 2 to %d blocks: A-B-A", maxOrder)
	}
	var order []int
	for _, r := range letters {
		if r < 'A' || r > rune('A'+candidates) {
			return nil, fmt.Errorf("%.60q is not an order of blocks: A is the baseline, B the first candidate, as in A-B-A", text)
		}
		order = append(order, int(r-'A'))
	}
	for c := range candidates + 1 {
		if !slices.Contains(order, c) {
			return nil, fmt.Errorf("the order %s has no block of %c", spell(order), 'A'+c)
		}
	}
	return order, nil
}
