package compare

import "math"

// design is the linear model of the block means: one level for each
// configuration and, where it can be told from them, a straight drift in time.
//
// Its least-squares estimates are weighted sums of block means with weights that
// the design alone fixes. For a model of this form they have a closed form:
// the slope from the times within configurations, the levels from the
// configuration means brought to one time with that slope (docs/method.md).
type design struct {
	configuration []int // of each block
	setup         []int
	hours         []float64 // mean times of the blocks
	invPulls      []float64 // 1/n of each block

	count    []int     // blocks of each configuration
	centre   []float64 // mean block time of each configuration
	meanTime float64   // of all blocks
	timed    bool      // the drift column is in the model
	slope    []float64 // weights of the drift, 1/h; nil without it
	df       int       // residual degrees of freedom
	setups   int

	// anchor is the campaign's own baseline where another configuration has its place
	// as configuration 0; 0: none has.
	anchor int
}

// timeFloor is the share of the squared spread of block times that must lie
// within configurations for the drift to be told from the gains.
const timeFloor = 1e-9

// newDesign returns the model of the blocks; configurations is their number.
func newDesign(blocks []block, configurations int) *design {
	d := &design{count: make([]int, configurations), centre: make([]float64, configurations)}
	for _, b := range blocks {
		d.configuration = append(d.configuration, b.configuration)
		d.setup = append(d.setup, b.setup)
		d.setups = max(d.setups, b.setup+1)
		d.hours = append(d.hours, b.hours)
		d.invPulls = append(d.invPulls, 1/float64(len(b.pulls)))
	}
	d.fitTimes()
	return d
}

// fitTimes works out the configuration centres and the weights of the drift.
func (d *design) fitTimes() {
	blocks := float64(len(d.hours))
	for b, t := range d.hours {
		d.count[d.configuration[b]]++
		d.meanTime += t / blocks
	}
	for b, t := range d.hours {
		c := d.configuration[b]
		d.centre[c] += t / float64(d.count[c])
	}
	var within, total float64
	for b, t := range d.hours {
		within += square(t - d.centre[d.configuration[b]])
		total += square(t - d.meanTime)
	}
	d.df = len(d.hours) - len(d.count)
	d.timed = len(d.hours) >= 3 && within > timeFloor*total
	if !d.timed {
		return
	}
	d.df--
	d.slope = make([]float64, len(d.hours))
	for b, t := range d.hours {
		d.slope[b] = (t - d.centre[d.configuration[b]]) / within
	}
}

// level returns the weights of a configuration's level at the mean time.
func (d *design) level(configuration int) []float64 {
	w := make([]float64, len(d.hours))
	for b, c := range d.configuration {
		if c == configuration {
			w[b] = 1 / float64(d.count[c])
		}
		if d.timed {
			w[b] -= (d.centre[configuration] - d.meanTime) * d.slope[b]
		}
	}
	return w
}

// contrast returns the weights of candidate minus baseline.
func (d *design) contrast(candidate int) []float64 {
	w, base := d.level(candidate), d.level(0)
	for b := range w {
		w[b] -= base[b]
	}
	return w
}

// plain returns the weights of the plain mean of a configuration's blocks.
func (d *design) plain(configuration int) []float64 {
	w := make([]float64, len(d.hours))
	for b, c := range d.configuration {
		if c == configuration {
			w[b] = 1 / float64(d.count[c])
		}
	}
	return w
}

// leverage returns how much of block b's own mean is in its fitted value.
func (d *design) leverage(b int) float64 {
	c := d.configuration[b]
	h := 1 / float64(d.count[c])
	if d.timed {
		h += d.slope[b] * (d.hours[b] - d.centre[c])
	}
	return h
}

// residuals returns the block means less the fitted model, column by column.
func (d *design) residuals(means [][]float64) [][]float64 {
	fits := make([][]float64, len(d.count))
	for c := range fits {
		fits[c] = weighted(d.plain(c), means)
	}
	var drift []float64
	if d.timed {
		drift = weighted(d.slope, means)
	}
	out := make([][]float64, len(means))
	for b, row := range means {
		c := d.configuration[b]
		out[b] = make([]float64, len(row))
		for k, v := range row {
			r := v - fits[c][k]
			if d.timed {
				r -= drift[k] * (d.hours[b] - d.centre[c])
			}
			out[b][k] = r
		}
	}
	return out
}

// multipliers returns those of the weights w.
func (d *design) multipliers(w []float64) multipliers {
	var a multipliers
	sums := make([]float64, d.setups)
	for b, v := range w {
		a.pull += v * v * d.invPulls[b]
		a.block += v * v
		sums[d.setup[b]] += v
	}
	for _, s := range sums {
		a.setup += s * s
	}
	return a
}

// meanInvPulls returns the mean of 1/n over the blocks.
func (d *design) meanInvPulls() float64 {
	var sum float64
	for _, v := range d.invPulls {
		sum += v
	}
	return sum / float64(len(d.invPulls))
}

// session returns the time from the first to the last block mean, in hours.
func (d *design) session() float64 { return d.hours[len(d.hours)-1] - d.hours[0] }

// maxWeightSum returns max |w1 + … + wj| over the blocks in order of time. Any
// one-way drift of total size D moves the contrast by no more than that times D
// (Abel's summation by parts).
func maxWeightSum(w []float64) float64 {
	var sum, most float64
	for _, v := range w[:len(w)-1] {
		sum += v
		most = max(most, math.Abs(sum))
	}
	return most
}

// nearlyOneSpacing is how far apart the mean times of two sides that change
// places may lie, in mean block spacings, and still count as bracketed.
const nearlyOneSpacing = 1.25

// bracketed reports whether configuration 0 brackets the candidate, or the anchor
// brackets both of them.
func (d *design) bracketed(candidate int) bool {
	if d.brackets(0, candidate) {
		return true
	}
	return d.anchor > 0 && d.brackets(d.anchor, 0) && d.brackets(d.anchor, candidate)
}

// brackets reports whether every block of the candidate has a block of the base
// before and after it; or whether the sides change places at least twice and
// their mean times lie no more than 1.25 mean block spacings apart.
func (d *design) brackets(base, candidate int) bool {
	first, last := -1, -1
	changes, side := 0, -1
	for b, c := range d.configuration {
		if c == base {
			if first < 0 {
				first = b
			}
			last = b
		}
		if c == base || c == candidate {
			if side >= 0 && c != side {
				changes++
			}
			side = c
		}
	}
	enclosed := true
	for b, c := range d.configuration {
		if c == candidate && (b < first || b > last) {
			enclosed = false
		}
	}
	if enclosed {
		return true
	}
	spacing := d.session() / float64(len(d.hours)-1)
	apart := math.Abs(d.centre[candidate] - d.centre[base])
	return changes >= 2 && apart <= nearlyOneSpacing*spacing*(1+1e-9)
}

// weighted returns the weighted sum of rows, column by column.
func weighted(w []float64, rows [][]float64) []float64 {
	out := make([]float64, len(rows[0]))
	for b, row := range rows {
		if w[b] == 0 {
			continue
		}
		for k, v := range row {
			out[k] += w[b] * v
		}
	}
	return out
}

func square(x float64) float64 { return x * x }
