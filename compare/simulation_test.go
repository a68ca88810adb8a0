package compare

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"fairpull/scatter"
)

// The simulated lab of the coverage tests: an invented engine and part, and noise
// with parts common to all speeds, tilted, smooth and white. All noise figures are
// assumed, none measured.

// simulated is a scenario: how campaigns are made, and what is told to Compare.
type simulated struct {
	name    string
	order   string
	pulls   []int // of each block; one number for all
	oneGo   bool  // all blocks in one setup
	pairs   bool  // setups of two blocks
	drift   func(hours float64) float64
	rates   float64  // SD of a straight drift of its own in each campaign, 1/h
	linear  bool     // drift declared straight
	history int      // degrees of freedom of the setup history; 0: none
	numbers bool     // history as numbers instead of an archive
	rateDF  float64  // degrees of freedom of the history of drift rates; 0: none
	blockSD float64  // block to block in truth, on top of the setup
	blockDF float64  // degrees of freedom of the block history; 0: none
	scale   float64  // setups of the campaign scatter this many times as much as history says
	past    []string // orders of earlier campaigns, whose pool is the history
	spread  float64  // SD of ln of what each campaign's setup and pull scatter is multiplied by
	heavy   bool     // pulls with the tails of Student's t on 4 degrees of freedom
	rough   bool     // all scatter local in engine speed
	gain    func(rpm float64) float64
}

const (
	simSetupSD = 0.010
	simPullSD  = 0.0055
)

func simRPM() []float64 {
	rpm := make([]float64, 46)
	for i := range rpm {
		rpm[i] = 2000 + 100*float64(i)
	}
	return rpm
}

func simTorque(r float64) float64 {
	return 90 * math.Exp(-square((r-4300)/3300)) * (1 + 0.015*math.Sin((r-2000)/350))
}

func simGain(r float64) float64 {
	return 0.035*math.Exp(-square((r-5000)/900)) - 0.006*math.Exp(-square((r-2800)/300)) + 0.004
}

func noGain(float64) float64 { return 0 }

// linearDrift is one per cent an hour.
func linearDrift(hours float64) float64 { return 0.01 * hours }

// saturating is a drift that comes to rest at total with time constant tau in h.
func saturating(total, tau float64) func(float64) float64 {
	return func(hours float64) float64 { return total * (1 - math.Exp(-hours/tau)) }
}

// lab draws the noise of one scenario.
type lab struct {
	rng        *rand.Rand
	rpm, tilt  []float64
	setup      *mat.TriDense
	pull       *mat.TriDense
	torque     []float64 // ln
	s          simulated
	pullScale  float64
	in         Input // what all campaigns share
	truth      []float64
	truthBand  float64
	truthPeaks [2]float64
}

// root returns the lower Cholesky factor of a covariance over engine speed.
func root(n int, of func(i, j int) float64) *mat.TriDense {
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, of(i, j))
		}
	}
	var c mat.Cholesky
	if !c.Factorize(s) {
		panic("covariance is not positive definite")
	}
	var l mat.TriDense
	c.LTo(&l)
	return &l
}

func newLab(s simulated, seed uint64) *lab {
	l := &lab{rng: rand.New(rand.NewPCG(seed, 0x51)), rpm: simRPM(), s: s, pullScale: 1}
	n := len(l.rpm)
	for _, r := range l.rpm {
		l.tilt = append(l.tilt, (r-4250)/2250)
		l.torque = append(l.torque, math.Log(simTorque(r)))
		l.truth = append(l.truth, s.gain(r))
	}
	matern := func(i, j int, length float64) float64 {
		d := math.Sqrt(3) * math.Abs(l.rpm[i]-l.rpm[j]) / length
		return (1 + d) * math.Exp(-d)
	}
	common, local := 0.81, 0.0625
	if s.rough {
		common, local = 0.01, 1
	}
	l.setup = root(n, func(i, j int) float64 {
		return square(simSetupSD) * (common + 0.1225*l.tilt[i]*l.tilt[j] + local*matern(i, j, 800) + 1e-9*indicator(i == j))
	})
	low := func(i int) float64 { return 1 + 0.5*min(1, max(0, (3000-l.rpm[i])/1000)) }
	l.pull = root(n, func(i, j int) float64 {
		rough := 0.3025*matern(i, j, 250) + 0.04*indicator(i == j)
		if s.rough {
			rough *= 3
		}
		return square(simPullSD) * (0.49 + 0.0625*l.tilt[i]*l.tilt[j] + low(i)*low(j)*rough)
	})
	l.in = Input{
		SpeedRPM: l.rpm, Baseline: "A", Candidates: []string{"B"}, BandRPM: [2]float64{2000, 4500}, BandCovered: true,
		Confidence: 0.95, DriftLinear: s.linear, SmallestGain: 0.02, Draws: 1000,
	}
	l.trueFigures()
	return l
}

// trueFigures works out what the scalar figures should be, peaks on a grid of 5 1/min.
func (l *lab) trueFigures() {
	var a, b float64
	for i, r := range l.rpm {
		if r <= 4500 {
			a += simTorque(r)
			b += simTorque(r) * math.Exp(l.truth[i])
		}
	}
	l.truthBand = math.Log(b / a)
	var top [2][2]float64
	for r := 2000.0; r <= 6500; r += 5 {
		t := simTorque(r)
		for m, v := range []float64{t, t * r} {
			top[m][0] = max(top[m][0], v)
			top[m][1] = max(top[m][1], v*math.Exp(l.s.gain(r)))
		}
	}
	for m := range top {
		l.truthPeaks[m] = math.Log(top[m][1] / top[m][0])
	}
}

// draw returns a curve with the covariance of a factor, times c.
func (l *lab) draw(factor *mat.TriDense, c float64) []float64 {
	n := len(l.rpm)
	z := make([]float64, n)
	for i := range z {
		z[i] = l.rng.NormFloat64() * c
	}
	out := make([]float64, n)
	raw := factor.RawTriangular()
	for i := range out {
		row := raw.Data[i*raw.Stride : i*raw.Stride+i+1]
		for j, v := range row {
			out[i] += v * z[j]
		}
	}
	return out
}

// pullNoise returns the noise of one pull.
func (l *lab) pullNoise() []float64 {
	if !l.s.heavy {
		return l.draw(l.pull, l.pullScale)
	}
	var chi float64 // 4 degrees of freedom; a t variable has twice the variance
	for range 4 {
		chi += square(l.rng.NormFloat64())
	}
	return l.draw(l.pull, l.pullScale*math.Sqrt(4/chi)/math.Sqrt2)
}

// campaign returns one campaign's pulls and the history told with them.
func (l *lab) campaign() Input {
	in := l.pulls(l.s.order)
	l.tell(&in)
	return in
}

// pulls returns one campaign's pulls in the given order of blocks.
func (l *lab) pulls(order string) Input {
	in := l.in
	scale := 1.0
	if l.s.scale > 0 {
		scale = l.s.scale
	}
	if l.s.spread > 0 {
		l.pullScale = math.Exp(l.s.spread * l.rng.NormFloat64())
		scale *= l.pullScale
	}
	var setup []float64
	rate := l.s.rates * l.rng.NormFloat64()
	at, name := 0.0, ""
	for b, c := range order {
		if b == 0 || !l.s.oneGo && !(l.s.pairs && b%2 == 1) {
			setup, name = l.draw(l.setup, scale), fmt.Sprint("s", b)
		}
		blockNoise := l.draw(l.setup, l.s.blockSD/simSetupSD)
		n := l.s.pulls[min(b, len(l.s.pulls)-1)]
		for p := range n {
			y := l.pullNoise()
			drift := rate * at
			if l.s.drift != nil {
				drift += l.s.drift(at)
			}
			for i := range y {
				y[i] += l.torque[i] + setup[i] + blockNoise[i] + drift*(1+0.15*l.tilt[i])
				if c == 'B' {
					y[i] += l.truth[i]
				}
			}
			in.Pulls = append(in.Pulls, Pull{Name: fmt.Sprint(b, "-", p), Configuration: string(c), Setup: name, Hours: at, LogTorque: y})
			at += 4.0 / 60
		}
		at += 0.6 - 4.0/60
	}
	return in
}

// tell adds the history of the scenario, made anew: setups of three pulls of A, or
// standard deviations estimated from as many degrees of freedom.
func (l *lab) tell(in *Input) {
	chi := func(df int) float64 {
		var sum float64
		for range df {
			sum += square(l.rng.NormFloat64())
		}
		return math.Sqrt(sum / float64(df))
	}
	if l.s.blockDF > 0 {
		in.History.Block = Spread{SD: l.s.blockSD * chi(int(l.s.blockDF)), DF: l.s.blockDF}
	}
	if l.s.rateDF > 0 {
		in.History.DriftRate = Spread{SD: l.s.rates * chi(int(l.s.rateDF)), DF: l.s.rateDF}
	}
	if len(l.s.past) > 0 {
		l.tellPool(in)
	}
	if l.s.history == 0 {
		return
	}
	if l.s.numbers {
		in.History.Setup = Spread{SD: simSetupSD * chi(l.s.history), DF: float64(l.s.history)}
		return
	}
	in.History.Archive = l.archive(l.s.history + 1)
}

// archive makes an archive of earlier setups of the baseline, three pulls each.
func (l *lab) archive(setups int) *scatter.Archive {
	g, err := newGrid(&l.in, 0)
	if err != nil {
		panic(err)
	}
	history := make([][][]float64, setups)
	means := make([][]float64, setups)
	for s := range history {
		offset := l.draw(l.setup, 1)
		for range 3 {
			y := l.pullNoise()
			for i := range y {
				y[i] += l.torque[i] + offset[i]
			}
			history[s] = append(history[s], y)
		}
		means[s] = columnMeans(history[s])
	}
	return residualArchive(g, history, columnMeans(means))
}

// bandVariance returns the variance of ln of the band mean that setups or pulls of
// the lab make, from many draws.
func (l *lab) bandVariance(setups bool) float64 {
	g, err := newGrid(&l.in, 0)
	if err != nil {
		panic(err)
	}
	values := make([]float64, 100_000)
	for i := range values {
		y := l.draw(l.pull, 1)
		if setups {
			y = l.draw(l.setup, 1)
		}
		for k := range y {
			y[k] += l.torque[k]
		}
		values[i] = g.logBandMean(y)
	}
	_, v := scatter.MeanVariance(values)
	return v
}
