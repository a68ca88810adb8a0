package compare

import (
	"errors"
	"fmt"
	"math"
)

// Planned is a campaign that has not been measured, or not to its end: its blocks
// in order of time and what they are expected to meet.
type Planned struct {
	Blocks      []PlannedBlock
	Assumed     Assumed
	Confidence  float64 // in (0, 1); 0 is an error
	DriftLinear bool    // declared beforehand: no allowance, no gate
}

// PlannedBlock is consecutive pulls of one configuration in one setup.
type PlannedBlock struct {
	Configuration int // 0: the baseline; 1, 2, …: the candidates
	Setup         int // blocks of one number share a strapping-down
	Pulls         int
	Hours         float64 // mean start, from any fixed moment
}

// Assumed is the scatter, drift and weather that a plan reckons with. SDs are on
// the log scale. A zero DF means that the size is a guess: the campaign has to find
// it out by itself. A zero SD on a zero DF is not stated, which is never taken for no
// scatter.
type Assumed struct {
	Setup, Block, Pull Spread // Setup has the block part in it, as [History] has
	// SetupPulls and BlockPulls are the pulls behind one mean of the history; 0: the
	// SD was stated free of pull scatter.
	SetupPulls, BlockPulls float64

	DriftPerHour float64 // to be expected of the rig, ln per hour
	DriftRate    Spread  // SD of rates over earlier campaigns, 1/h: for orders that do not bracket

	// WeatherDifference is the difference of ln correction factor between the sides
	// that is to be expected; ExponentU as in [Input].
	WeatherDifference float64
	ExponentU         Spread
	LossPlacement     float64 // as in [Input], a fraction

	found bool // the sizes were found in a campaign: there nought is a size
}

// stated reports whether there is a size to reckon with.
func (a Assumed) stated(s Spread) bool { return a.found || s.SD > 0 || s.DF > 0 }

// maxPlanned bounds the blocks of a plan and the pulls of a block.
const maxPlanned = 1000

// Expect returns what the plan promises for one candidate, 1 for the first.
//
// It puts expected mean squares where [Compare] has found ones, and is otherwise
// the same computation, so a plan and its result cannot disagree on what counts.
// An error names what is wrong with the plan. A plan that could not carry a
// verdict is not an error: Expectation.Withheld says why.
func (p Planned) Expect(candidate int) (Expectation, error) {
	configurations, err := p.validate()
	if err != nil {
		return Expectation{}, err
	}
	if candidate < 1 || candidate >= configurations {
		return Expectation{}, fmt.Errorf("the plan has no candidate %d", candidate)
	}
	d := p.design(configurations)
	return p.expect(d, p.noise(d), candidate), nil
}

// validate returns the number of configurations.
func (p Planned) validate() (configurations int, err error) {
	if !(p.Confidence > 0 && p.Confidence < 1) {
		return 0, fmt.Errorf("confidence is %v, it must lie between 0 and 1", p.Confidence)
	}
	if len(p.Blocks) < 2 || len(p.Blocks) > maxPlanned {
		return 0, fmt.Errorf("a plan of %d blocks: it has from 2 to %d", len(p.Blocks), maxPlanned)
	}
	seen := map[int]bool{}
	blocks := map[int]int{}
	for i, b := range p.Blocks {
		blocks[b.Configuration]++
		switch {
		case b.Configuration < 0 || b.Configuration >= maxPlanned:
			return 0, fmt.Errorf("block %d is of configuration %d", i+1, b.Configuration)
		case b.Pulls < 1 || b.Pulls > maxPlanned:
			return 0, fmt.Errorf("block %d has %d pulls, it must have from 1 to %d", i+1, b.Pulls, maxPlanned)
		case i > 0 && !(b.Hours > p.Blocks[i-1].Hours):
			return 0, fmt.Errorf("block %d does not come after the block before it", i+1)
		case i > 0 && b.Setup == p.Blocks[i-1].Setup && b.Configuration == p.Blocks[i-1].Configuration:
			return 0, fmt.Errorf("blocks %d and %d are one block: the same configuration in the same setup", i, i+1)
		case i > 0 && b.Setup != p.Blocks[i-1].Setup && seen[b.Setup]:
			return 0, fmt.Errorf("the setup of block %d comes back after another: it is a new setup", i+1)
		}
		if err := finite(fmt.Sprintf("the time of block %d", i+1), b.Hours); err != nil {
			return 0, err
		}
		seen[b.Setup] = true
		configurations = max(configurations, b.Configuration+1)
	}
	for c := range configurations {
		if blocks[c] == 0 {
			return 0, fmt.Errorf("configuration %d has no block", c)
		}
	}
	if configurations < 2 {
		return 0, errors.New("the plan has no candidate")
	}
	return configurations, p.Assumed.validate()
}

func (a Assumed) validate() error {
	for _, s := range []struct {
		what string
		Spread
	}{{"setup", a.Setup}, {"block", a.Block}, {"pull", a.Pull}, {"drift rate", a.DriftRate}, {"correction exponent", a.ExponentU}} {
		if !(s.SD >= 0 && s.DF >= 0) || math.IsInf(s.SD, 0) || math.IsInf(s.DF, 0) {
			return fmt.Errorf("assumed %s SD is %v on %v degrees of freedom", s.what, s.SD, s.DF)
		}
	}
	for _, n := range []float64{a.SetupPulls, a.BlockPulls} {
		if n != 0 && !(n >= 1 && n <= maxPlanned) {
			return fmt.Errorf("assumed: %v pulls behind a mean of history", n)
		}
	}
	return errors.Join(finite("the expected drift", a.DriftPerHour),
		finite("the expected weather difference", a.WeatherDifference), finite("the loss placement", a.LossPlacement))
}

// design returns the linear model of the planned blocks.
func (p Planned) design(configurations int) *design {
	d := &design{count: make([]int, configurations), centre: make([]float64, configurations)}
	numbers := map[int]int{}
	for _, b := range p.Blocks {
		if _, seen := numbers[b.Setup]; !seen {
			numbers[b.Setup] = len(numbers)
		}
		d.configuration = append(d.configuration, b.Configuration)
		d.setup = append(d.setup, numbers[b.Setup])
		d.hours = append(d.hours, b.Hours)
		d.invPulls = append(d.invPulls, 1/float64(b.Pulls))
	}
	d.setups = len(numbers)
	d.fitTimes()
	return d
}

// noise returns the mean squares that are to be expected: history's and, as far as
// the plan has degrees of freedom, its own. There is one column.
func (p Planned) noise(d *design) *noise {
	a := p.Assumed
	n := &noise{design: d, historyP: math.NaN(), layout: d.layout()}
	n.pull = meanSquare{q: []float64{square(a.Pull.SD)}, df: a.Pull.DF, pullShare: 1}
	for _, b := range p.Blocks {
		if a.stated(a.Pull) {
			n.pull.df += float64(b.Pulls - 1)
		}
	}
	own := func(s Spread, df int) level {
		if df <= 0 || !a.stated(s) {
			return level{}
		}
		return expectedLevel(square(s.SD), n.pull.q[0], float64(df), d.meanInvPulls())
	}
	setup := a.history(a.Setup, a.SetupPulls, n.pull.q[0])
	block := a.history(a.Block, a.BlockPulls, n.pull.q[0])
	switch n.layout {
	case separate:
		n.setup = joined(setup, own(a.Setup, d.df), 1)
		n.setupKnown = n.setup.known() && (setup.known() || n.setup.df() >= sufficientDF)
		n.blockKnown = true
	case oneSetup:
		n.block = joined(block, own(a.Block, d.df), sufficientDF)
		n.setupKnown, n.blockKnown = true, n.block.known()
	case mixed:
		_, df := d.withinSetups(make([][]float64, len(p.Blocks)))
		n.block, n.setup = joined(block, own(a.Block, df), sufficientDF), setup
		n.setupKnown, n.blockKnown = n.setup.known(), n.block.known()
	}
	return n
}

// history is the level that a spread known from before stands for.
func (a Assumed) history(s Spread, pulls, pull float64) level {
	if s.DF == 0 {
		return level{}
	}
	share := 0.0
	if pulls > 0 {
		share = 1 / pulls
	}
	return expectedLevel(square(s.SD), pull, s.DF, share)
}

// expectedLevel is a mean square at its expectation.
func expectedLevel(variance, pull, df, pullShare float64) level {
	return level{[]meanSquare{{q: []float64{variance + pullShare*pull}, df: df, pullShare: pullShare}}}
}

// joined pools history and campaign, which alone needs aloneDF degrees of freedom.
func joined(history, own level, aloneDF float64) level {
	if !history.known() && own.dfOrNone() < aloneDF {
		return level{}
	}
	return level{append(append([]meanSquare{}, history.parts...), own.parts...)}
}

// dfOrNone returns the degrees of freedom, 0 for a level that is not known.
func (l level) dfOrNone() float64 {
	if !l.known() {
		return 0
	}
	return l.df()
}
