package compare

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"sync"
)

// The chance in this package comes from one place, written out here so that a
// result can be had again with another program.
//
// Uniform bits: PCG-DXSM with 128 bits of state, as math/rand/v2 fixes it. The
// two seed words are the first sixteen bytes, big-endian, of
// SHA-256(digest ‖ purpose ‖ stream), digest being the SHA-256 of the inputs
// (seed.go), purpose one byte and stream four bytes, big-endian.
//
// Normal deviates: the ziggurat of [MarsagliaTsang2000] with 256 layers, two from
// each 64-bit word, low half first. Of 32 bits the low eight choose the layer and
// the high 24, read as a signed number plus one half, the place in it; so deviates
// are multiples of some 4e-7, far finer than the noise of any quantile.
//
// Chi-square deviates: twice a gamma deviate by [MarsagliaTsang2000a].

// Constants of the ziggurat with 256 layers: the start of the tail and the area
// of a layer under exp(−x²/2). [MarsagliaTsang2000], section 2.
const (
	layers   = 256
	tailFrom = 3.6541528853610088
	layer    = 0.00492867323399
)

// places is the number of places on one side of a layer.
const places = 1 << 23

// ziggurat holds the right edges of the layers, widest first, the density there,
// the scale from a place to x, and the place below which a point lies within the
// next layer's edge and needs no test.
type ziggurat struct {
	edge, height [layers + 1]float64
	scale        [layers]float64
	inside       [layers]int32
}

var zigguratTable = sync.OnceValue(func() *ziggurat {
	z := new(ziggurat)
	density := func(x float64) float64 { return math.Exp(-x * x / 2) }
	z.edge[0] = layer / density(tailFrom)
	z.edge[1] = tailFrom
	for i := 2; i < layers; i++ {
		z.edge[i] = math.Sqrt(-2 * math.Log(layer/z.edge[i-1]+density(z.edge[i-1])))
	}
	z.edge[layers] = 0
	for i := range z.edge {
		z.height[i] = density(z.edge[i])
	}
	for i := range z.scale {
		z.scale[i] = z.edge[i] / places
		z.inside[i] = int32(z.edge[i+1] / z.edge[i] * places)
	}
	return z
})

// source is one stream of chance.
type source struct {
	bits rand.PCG
	zig  *ziggurat
}

// newSource returns the stream with the given number for one purpose.
func newSource(digest [sha256.Size]byte, purpose byte, stream int) *source {
	key := binary.BigEndian.AppendUint32(append(digest[:], purpose), uint32(stream))
	sum := sha256.Sum256(key)
	s := &source{zig: zigguratTable()}
	s.bits.Seed(binary.BigEndian.Uint64(sum[0:8]), binary.BigEndian.Uint64(sum[8:16]))
	return s
}

// uniform returns a number inside (0, 1).
func (s *source) uniform() float64 {
	return (float64(s.bits.Uint64()>>12) + 0.5) / (1 << 52)
}

// fill puts independent standard normal deviates into dst.
func (s *source) fill(dst []float64) {
	zig := s.zig
	for len(dst) >= 2 {
		word := s.bits.Uint64()
		first, second := uint32(word), uint32(word>>32)
		if x, plain := zig.plain(first); plain {
			dst[0] = x
		} else {
			dst[0] = s.edgeOf(first&(layers-1), x)
		}
		if x, plain := zig.plain(second); plain {
			dst[1] = x
		} else {
			dst[1] = s.edgeOf(second&(layers-1), x)
		}
		dst = dst[2:]
	}
	if len(dst) == 1 {
		dst[0] = s.normal()
	}
}

// plain returns the point that 32 bits stand for, and whether it lies plainly
// under the curve.
func (z *ziggurat) plain(word uint32) (x float64, yes bool) {
	k := word & (layers - 1)
	place := int32(word) >> 8
	return (float64(place) + 0.5) * z.scale[k], max(place, ^place) < z.inside[k]
}

// normal returns one standard normal deviate, from the low half of a fresh word.
func (s *source) normal() float64 {
	word := uint32(s.bits.Uint64())
	x, plain := s.zig.plain(word)
	if plain {
		return x
	}
	return s.edgeOf(word&(layers-1), x)
}

// edgeOf settles a point x of layer k that is not plainly under the curve.
func (s *source) edgeOf(k uint32, x float64) float64 {
	zig := s.zig
	if k == 0 {
		return math.Copysign(s.tail(), x)
	}
	low, high := zig.height[k], zig.height[k+1]
	if low+s.uniform()*(high-low) < math.Exp(-x*x/2) {
		return x
	}
	return s.normal()
}

// tail returns a normal deviate beyond tailFrom.
func (s *source) tail() float64 {
	for {
		x := -math.Log(s.uniform()) / tailFrom
		y := -math.Log(s.uniform())
		if 2*y > x*x {
			return tailFrom + x
		}
	}
}

// chiSquare returns a chi-square deviate with df > 0 degrees of freedom.
func (s *source) chiSquare(df float64) float64 {
	shape := df / 2
	if shape < 1 {
		return 2 * s.gamma(shape+1) * math.Pow(s.uniform(), 1/shape)
	}
	return 2 * s.gamma(shape)
}

// gamma returns a gamma deviate of shape ≥ 1 and scale 1.
func (s *source) gamma(shape float64) float64 {
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := s.normal()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v = v * v * v
		if u := s.uniform(); math.Log(u) < x*x/2+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}
