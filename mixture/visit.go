package mixture

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Series is what was read over one log, the dead time of each reading taken out: row i
// of every list belongs to the same moment of the engine.
type Series struct {
	Time  []float64 // s, increasing
	Speed []float64 // engine speed, 1/min
	Load  []float64 // throttle opening (0 to 1) or manifold pressure (Pa); nil: not asked for
	// Lambda and Gas are lambda from the sensor and from the gas, nil where there is none.
	Lambda, Gas Reading
}

// Reading is one lambda over time with the first-order lag that is still in it.
type Reading struct {
	Values []float64 // NaN: not usable
	Lag    float64   // s
}

// Rule says what a visit is. All fields but LoadStep and Settle must be above zero.
type Rule struct {
	SpeedStep float64 // width of a cell, 1/min; cells are centred on its multiples
	LoadStep  float64 // width of a cell in the unit of the load; not looked at without a load
	Settle    float64 // s: rows are left out for so long after the load moved by half a cell
	Apart     float64 // s: an engine that was elsewhere for less comes back to the same visit
	Least     float64 // s: shorter visits are left out
	// Low and High bound a lambda that counts. Beyond them the sensor stands at its
	// end, or no fuel was burnt.
	Low, High float64
}

// DefaultRule returns the rule for a step of engine speed in 1/min and of load. Its times
// are common practice; lambda counts from 0.65 to 1.35, which leaves out the ends of a
// wide-band sensor and fuel cut off.
func DefaultRule(speedStep, loadStep float64) Rule {
	return Rule{SpeedStep: speedStep, LoadStep: loadStep, Settle: 0.5, Apart: 1, Least: 0.1, Low: 0.65, High: 1.35}
}

// Visit is one stay of the engine in a cell of engine speed and load. Visits, not rows,
// are what is independent: the rows of one stay share what the engine did then.
type Visit struct {
	Speed, Load int     // cell: multiples of the steps
	Start       float64 // s
	Seconds     float64 // that count
	Lambda      float64 // mean, the lag taken out; NaN where no such reading was usable
	Gas         float64 // the same from the gas
	Slope       float64 // mean change of lambda, 1/s: what a delay taken wrongly costs
	Log         int     // of several logs, which one
}

// LeftOut says how much of a log does not count, in s, by its reason.
type LeftOut struct {
	Unsettled float64 // the load had just moved
	Unread    float64 // no usable lambda
	Short     float64 // in visits that were too short
}

// Bounds of cells: beyond them a step is too fine for its axis.
const (
	maxSpeeds = 400
	maxLoads  = 200
)

// ErrCells says that a grid has too many cells.
var ErrCells = errors.New("the grid has too many cells")

// Validate refuses a rule on which no visit could rest.
func (r Rule) Validate() error {
	for _, v := range []float64{r.SpeedStep, r.Apart, r.Least, r.Low} {
		if !(v > 0) || math.IsInf(v, 0) {
			return fmt.Errorf("a rule of visits needs figures above zero: %+v", r)
		}
	}
	if !(r.High > r.Low) || !(r.Settle >= 0) || !(r.LoadStep >= 0) {
		return fmt.Errorf("a rule of visits contradicts itself: %+v", r)
	}
	return nil
}

// Visits returns the stays of the engine in the cells of the rule, by their start, and
// what was left out. Rows count that have engine speed, load and a lambda within bounds.
//
// The mean over a stay is time-weighted. What the lag of a reading did to it is taken
// out without differentiating anything: a first-order lag τ makes the true value
// y + τ·dy/dt, whose mean over a time T is the mean of y plus τ/T times the change of y
// from its beginning to its end.
func Visits(s Series, r Rule) ([]Visit, LeftOut, error) {
	if err := r.Validate(); err != nil {
		return nil, LeftOut{}, err
	}
	n := len(s.Time)
	for _, v := range [][]float64{s.Speed, s.Load, s.Lambda.Values, s.Gas.Values} {
		if v != nil && len(v) != n {
			return nil, LeftOut{}, fmt.Errorf("a series of %d moments with %d values", n, len(v))
		}
	}
	w := &walk{Series: s, Rule: r, open: map[[2]int]*stay{}, last: [2]int{math.MinInt, 0}}
	for i := range n {
		if err := w.row(i); err != nil {
			return nil, LeftOut{}, err
		}
	}
	for _, stay := range w.open {
		w.close(stay)
	}
	slices.SortFunc(w.visits, func(a, b Visit) int {
		switch {
		case a.Start < b.Start || a.Start == b.Start && (a.Speed < b.Speed || a.Speed == b.Speed && a.Load < b.Load):
			return -1
		case a.Start == b.Start && a.Speed == b.Speed && a.Load == b.Load:
			return 0
		}
		return 1
	})
	return w.visits, w.left, nil
}

// walk goes through a series row by row.
type walk struct {
	Series
	Rule
	open    map[[2]int]*stay
	visits  []Visit
	left    LeftOut
	behind  int // first row within Settle of the present one
	last    [2]int
	counted bool // the row before counted
	current *stay
}

// stay is a visit that may go on.
type stay struct {
	cell        [2]int
	start, seen float64
	seconds     float64
	lambda, gas sum
}

// sum gathers one reading over a stay.
type sum struct{ area, seconds, change float64 }

func (s *sum) add(a, b, dt float64) {
	if v := a + b; v-v == 0 {
		s.area += (a + b) / 2 * dt
		s.seconds += dt
		s.change += b - a
	}
}

// mean takes the lag out of the mean; NaN where nothing was read.
func (s *sum) mean(lag float64) float64 {
	if s.seconds == 0 {
		return math.NaN()
	}
	return (s.area + lag*s.change) / s.seconds
}

func (w *walk) row(i int) error {
	t := w.Time[i]
	dt := 0.0
	if i > 0 {
		dt = t - w.Time[i-1]
	}
	counts, cell, err := w.counts(i)
	if err != nil {
		return err
	}
	if !counts {
		w.counted = false
		return nil
	}
	if cell != w.last || w.current == nil {
		w.enter(cell, t)
	} else if t-w.current.seen >= w.Apart {
		w.close(w.current)
		w.enter(cell, t)
	}
	// A span counts where both of its ends lie in the cell and no row is missing between.
	if w.counted && cell == w.last && dt < w.Apart {
		s := w.current
		s.seconds += dt
		if w.Lambda.Values != nil {
			s.lambda.add(w.Lambda.Values[i-1], w.Lambda.Values[i], dt)
		}
		if w.Gas.Values != nil {
			s.gas.add(w.Gas.Values[i-1], w.Gas.Values[i], dt)
		}
	}
	w.current.seen = t
	w.counted, w.last = true, cell
	return nil
}

// enter makes the cell's stay the present one: the one that was left a moment ago, or a
// new one.
func (w *walk) enter(cell [2]int, t float64) {
	s := w.open[cell]
	if s != nil && t-s.seen >= w.Apart {
		w.close(s)
		s = nil
	}
	if s == nil {
		s = &stay{cell: cell, start: t, seen: t}
		w.open[cell] = s
	}
	w.current = s
}

// close makes a visit of a stay, where it was long enough.
func (w *walk) close(s *stay) {
	delete(w.open, s.cell)
	if w.current == s {
		w.current = nil
	}
	read := math.Max(s.lambda.seconds, s.gas.seconds)
	if s.seconds < w.Least || read < w.Least {
		w.left.Short += s.seconds
		return
	}
	v := Visit{Speed: s.cell[0], Load: s.cell[1], Start: s.start, Seconds: read, Lambda: math.NaN(), Gas: math.NaN()}
	main := &s.lambda
	if s.lambda.seconds >= w.Least {
		v.Lambda = s.lambda.mean(w.Lambda.Lag)
	} else {
		main = &s.gas
	}
	if s.gas.seconds >= w.Least {
		v.Gas = s.gas.mean(w.Gas.Lag)
	}
	v.Slope = main.change / main.seconds
	w.visits = append(w.visits, v)
}

// counts says whether a row counts, and in which cell it lies.
func (w *walk) counts(i int) (bool, [2]int, error) {
	speed := w.Speed[i]
	if !(speed > 0) || math.IsInf(speed, 0) {
		return false, [2]int{}, nil
	}
	cell := [2]int{int(math.Round(speed / w.SpeedStep)), 0}
	if cell[0] > maxSpeeds {
		return false, cell, fmt.Errorf("%w: %.0f 1/min in steps of %g 1/min", ErrCells, speed, w.SpeedStep)
	}
	span := 0.0
	if i > 0 {
		span = math.Min(w.Time[i]-w.Time[i-1], w.Apart)
	}
	if w.Load != nil {
		load := w.Load[i]
		if load-load != 0 {
			return false, cell, nil
		}
		place := math.Round(load / w.LoadStep)
		if !(math.Abs(place) <= maxLoads) {
			return false, cell, fmt.Errorf("%w: a load of %g in steps of %g", ErrCells, load, w.LoadStep)
		}
		cell[1] = int(place)
		if !w.settled(i) {
			w.left.Unsettled += span
			return false, cell, nil
		}
	}
	if !w.usable(w.Lambda, i) && !w.usable(w.Gas, i) {
		w.left.Unread += span
		return false, cell, nil
	}
	return true, cell, nil
}

// usable says whether a reading has a lambda within bounds at a row.
func (w *walk) usable(r Reading, i int) bool {
	return r.Values != nil && r.Values[i] >= w.Low && r.Values[i] <= w.High
}

// settled says whether the load stood within half a cell for Settle seconds.
func (w *walk) settled(i int) bool {
	for w.Time[i]-w.Time[w.behind] > w.Settle {
		w.behind++
	}
	if w.behind == 0 {
		return w.Settle == 0
	}
	return math.Abs(w.Load[i]-w.Load[w.behind-1]) <= w.LoadStep/2
}
