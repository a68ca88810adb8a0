package road

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// Gain is the gain of a part over engine speed with its uncertainty: either standard
// errors with a correlation, or draws.
//
// All slices have the length of the curve's speeds, node by node.
type Gain struct {
	Ln []float64 // ln(candidate/baseline), the estimate

	// SE are the standard errors of Ln. Two nodes Δ apart correlate by
	// Common + (1 − Common)·exp(−Δ/LengthRPM): part of an error is in all of them, the
	// rest fades with distance.
	SE        []float64
	Common    float64 // in [0, 1]
	LengthRPM float64 // 1/min; may be 0 where Common is 1
	// DF are the degrees of freedom of SE; +Inf: it is known. Zero is refused.
	DF float64

	// Draws, where there are any, take the place of the SE: each is one possible
	// course of Ln. They are used in their order, again from the first where more are
	// asked for.
	Draws [][]float64
}

// maxDraws bounds how many draws may be asked for or handed in.
const maxDraws = 200_000

// validate refuses a gain that does not fit a curve at speeds in 1/min.
func (g Gain) validate(speedRPM []float64) error {
	n := len(speedRPM)
	if len(g.Ln) != n {
		return fmt.Errorf("the gain has %d figures for the curve's %d speeds", len(g.Ln), n)
	}
	if !within(g.Ln, 2) {
		return errors.New("the gain has a figure that is no number, or one beyond all reason")
	}
	if len(g.Draws) > 0 {
		if len(g.SE) > 0 || len(g.Draws) > maxDraws {
			return fmt.Errorf("give standard errors or draws of the gain, not both, and at most %d draws", maxDraws)
		}
		for i, d := range g.Draws {
			if len(d) != n || !within(d, 2) {
				return fmt.Errorf("draw %d of the gain does not fit the curve, or is no number", i+1)
			}
		}
		return nil
	}
	switch {
	case len(g.SE) != n || !within(g.SE, 1):
		return errors.New("the gain has no standard error for each speed: a gain without its uncertainty says nothing")
	case !(g.Common >= 0 && g.Common <= 1):
		return fmt.Errorf("the common part of the gain's error is %g: it must lie between 0 and 1", g.Common)
	case g.Common < 1 && !(g.LengthRPM > 0 && !math.IsInf(g.LengthRPM, 0)):
		return fmt.Errorf("the gain's error fades over %g 1/min: it must be positive", g.LengthRPM)
	case !(g.DF >= 1):
		return fmt.Errorf("the gain's standard errors have %g degrees of freedom: at least 1", g.DF)
	}
	for _, s := range g.SE {
		if s < 0 {
			return errors.New("a standard error of the gain is negative")
		}
	}
	return nil
}

// within reports whether all of x are numbers of at most most in size.
func within(x []float64, most float64) bool {
	for _, v := range x {
		if !(math.Abs(v) <= most) {
			return false
		}
	}
	return true
}

// The chance in this package comes from one place. Uniform bits: PCG-DXSM as
// math/rand/v2 fixes it, seeded by the first sixteen bytes, big-endian, of the SHA-256
// of what is drawn. A uniform number is (k + ½)/2⁵² of the upper 52 bits; normal and
// chi-square deviates are its quantiles.
type chance struct{ bits rand.PCG }

// newChance returns the stream for a purpose and its inputs.
func newChance(purpose string, inputs ...[]float64) *chance {
	h := sha256.New()
	h.Write([]byte(purpose))
	var b [8]byte
	put := func(v uint64) {
		binary.BigEndian.PutUint64(b[:], v)
		h.Write(b[:])
	}
	for _, x := range inputs {
		put(uint64(len(x)))
		for _, v := range x {
			put(math.Float64bits(v))
		}
	}
	sum := h.Sum(nil)
	c := new(chance)
	c.bits.Seed(binary.BigEndian.Uint64(sum[:8]), binary.BigEndian.Uint64(sum[8:16]))
	return c
}

// uniform returns a number inside (0, 1).
func (c *chance) uniform() float64 { return (float64(c.bits.Uint64()>>12) + 0.5) / (1 << 52) }

// normal returns a standard normal deviate.
func (c *chance) normal() float64 { return math.Sqrt2 * math.Erfinv(2*c.uniform()-1) }

// chiSquareOverDF returns a chi-square deviate over its degrees of freedom; 1 where
// they are infinite.
func (c *chance) chiSquareOverDF(df float64) float64 {
	if math.IsInf(df, 1) {
		return 1
	}
	return distuv.ChiSquared{K: df}.Quantile(c.uniform()) / df
}

// gainDraws hands out draws of a gain, always the same for the same gain.
type gainDraws struct {
	gain   Gain
	fading []float64 // correlation of the fading part with the node before
	chance *chance
	next   int
}

// newGainDraws returns the draws of a gain at speeds in 1/min.
func newGainDraws(g Gain, speedRPM []float64) *gainDraws {
	d := &gainDraws{gain: g}
	if len(g.Draws) > 0 {
		return d
	}
	d.fading = make([]float64, len(speedRPM))
	for i := 1; i < len(speedRPM); i++ {
		if g.LengthRPM > 0 {
			d.fading[i] = math.Exp(-(speedRPM[i] - speedRPM[i-1]) / g.LengthRPM)
		}
	}
	d.chance = newChance("gain", speedRPM, g.Ln, g.SE, []float64{g.Common, g.LengthRPM, g.DF})
	return d
}

// draw puts the next course of ln gain into dst.
func (d *gainDraws) draw(dst []float64) {
	g := &d.gain
	if len(g.Draws) > 0 {
		copy(dst, g.Draws[d.next%len(g.Draws)])
		d.next++
		return
	}
	c := d.chance
	scale := 1 / math.Sqrt(c.chiSquareOverDF(g.DF))
	common := math.Sqrt(g.Common) * c.normal()
	own, fading := math.Sqrt(1-g.Common), 0.0
	for i := range dst {
		// The fading part has unit variance and the correlation exp(−Δ/length).
		r := d.fading[i]
		fading = r*fading + math.Sqrt(1-r*r)*c.normal()
		dst[i] = g.Ln[i] + g.SE[i]*scale*(common+own*fading)
	}
}
