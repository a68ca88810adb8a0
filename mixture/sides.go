package mixture

import (
	"errors"
	"fmt"
	"math"
)

// SidePull is lambda of one pull over engine speed, for a comparison of the sides.
type SidePull struct {
	Candidate bool      // else of the baseline
	Block     int       // pulls of one number were made one after the other
	Lambda    []float64 // at the nodes; NaN where the pull has none
	Slope     []float64 // its change there, 1/s
}

// SideNode is both sides at one engine speed, or over a range.
type SideNode struct {
	SpeedRPM            float64
	Baseline, Candidate float64
	Difference          float64 // candidate minus baseline
	U                   float64 // standard uncertainty of the difference; NaN: none is known
	Freedom             float64
	// Lo and Hi are the interval there alone; AllLo and AllHi hold for all nodes at once.
	Lo, Hi, AllLo, AllHi float64
}

// Sides says how alike two sides were fuelled.
type Sides struct {
	Nodes []SideNode // only where both sides have a value
	Mean  SideNode   // over the nodes within the band that every pull has
	// ByBlock says that the scatter of blocks is in the intervals. With fewer than three
	// degrees of freedom between blocks it is not known, and the interval covers the
	// scatter from pull to pull alone.
	ByBlock bool
	Pulls   [2]int // baseline, candidate
	Blocks  [2]int
}

// ErrNoSide says that a side has no mixture to compare.
var ErrNoSide = errors.New("a side has no pull with lambda")

// leastBlockFreedom is from how many degrees of freedom on the blocks' own scatter is
// used. It looks at the design alone, so the data do not choose their interval.
const leastBlockFreedom = 3

// CompareSides returns the difference of lambda between the sides at each node and over
// the band ({0, 0}: all nodes). Blocks count alike, as in the comparison of torque.
//
// What the sensor reads wrongly on both sides drops out. A delay taken wrongly by
// c.Delay moves the sides apart by the difference of their slopes, and is in the
// interval.
func CompareSides(pulls []SidePull, nodesRPM []float64, band [2]float64, c Common, confidence float64) (*Sides, error) {
	if err := checkConfidence(confidence); err != nil {
		return nil, err
	}
	s := &Sides{}
	blocks := [2]map[int]bool{{}, {}}
	for i := range pulls {
		p := &pulls[i]
		if len(p.Lambda) != len(nodesRPM) || len(p.Slope) != len(nodesRPM) {
			return nil, fmt.Errorf("a pull with %d values at %d nodes", len(p.Lambda), len(nodesRPM))
		}
		side := sideOf(p)
		s.Pulls[side]++
		blocks[side][p.Block] = true
	}
	if s.Pulls[0] == 0 || s.Pulls[1] == 0 {
		return nil, ErrNoSide
	}
	s.Blocks = [2]int{len(blocks[0]), len(blocks[1])}
	s.ByBlock = s.Blocks[0]+s.Blocks[1]-2 >= leastBlockFreedom
	var kept []int
	for i := range nodesRPM {
		if n, ok := s.node(pulls, func(p *SidePull) (float64, float64) { return p.Lambda[i], p.Slope[i] }, c); ok {
			n.SpeedRPM = nodesRPM[i]
			s.Nodes = append(s.Nodes, n)
			kept = append(kept, i)
		}
	}
	if len(s.Nodes) == 0 {
		return nil, ErrNoSide
	}
	s.limits(confidence)
	return s, s.overBand(pulls, nodesRPM, kept, band, c, confidence)
}

func sideOf(p *SidePull) int {
	if p.Candidate {
		return 1
	}
	return 0
}

// sideBlock is one figure of the pulls of a block.
type sideBlock struct {
	values []float64
	mean   float64
	side   int
}

// blocksOf gathers one figure of each pull by block, and the mean slope of either side;
// ok is false where a side has none.
func blocksOf(pulls []SidePull, of func(*SidePull) (lambda, slope float64)) (list []sideBlock, slope [2]float64, ok bool) {
	at := map[[2]int]int{}
	var count [2]int
	for i := range pulls {
		v, d := of(&pulls[i])
		if math.IsNaN(v) {
			continue
		}
		side := sideOf(&pulls[i])
		key := [2]int{side, pulls[i].Block}
		if _, known := at[key]; !known {
			at[key] = len(list)
			list = append(list, sideBlock{side: side})
		}
		b := &list[at[key]]
		b.values = append(b.values, v)
		slope[side] += d
		count[side]++
	}
	for i := range list {
		for _, v := range list[i].values {
			list[i].mean += v / float64(len(list[i].values))
		}
	}
	for side := range slope {
		slope[side] /= math.Max(1, float64(count[side]))
	}
	return list, slope, count[0] > 0 && count[1] > 0
}

// node compares one figure of each pull between the sides; ok is false where a side has
// none.
func (s *Sides) node(pulls []SidePull, of func(*SidePull) (lambda, slope float64), c Common) (SideNode, bool) {
	list, slope, ok := blocksOf(pulls, of)
	if !ok {
		return SideNode{}, false
	}
	var sum, n [2]float64
	for _, b := range list {
		sum[b.side] += b.mean
		n[b.side]++
	}
	out := SideNode{Baseline: sum[0] / n[0], Candidate: sum[1] / n[1], U: math.NaN()}
	out.Difference = out.Candidate - out.Baseline
	var own float64
	if s.ByBlock {
		own, out.Freedom = betweenBlocks(list, [2]float64{out.Baseline, out.Candidate}, n)
	} else {
		own, out.Freedom = withinBlocks(list, n)
	}
	moved := (slope[1] - slope[0]) * c.Delay
	if total := own + moved*moved; !math.IsNaN(total) {
		out.U, out.Freedom = math.Sqrt(total), satterthwaite(total, own, out.Freedom)
	}
	return out, true
}

// betweenBlocks returns the variance of the difference of the sides by the scatter of
// block means about theirs; NaN where too few blocks have a value.
func betweenBlocks(list []sideBlock, sides, n [2]float64) (variance, freedom float64) {
	ss := 0.0
	for _, b := range list {
		ss += (b.mean - sides[b.side]) * (b.mean - sides[b.side])
	}
	if freedom = n[0] + n[1] - 2; freedom < leastBlockFreedom {
		return math.NaN(), freedom
	}
	return ss / freedom * (1/n[0] + 1/n[1]), freedom
}

// withinBlocks returns the variance of the difference of the sides by the scatter of
// pulls about their block; NaN where no block repeats a pull.
func withinBlocks(list []sideBlock, n [2]float64) (variance, freedom float64) {
	ss, a := 0.0, 0.0
	for _, b := range list {
		for _, v := range b.values {
			ss += (v - b.mean) * (v - b.mean)
		}
		freedom += float64(len(b.values) - 1)
		a += 1 / float64(len(b.values)) / (n[b.side] * n[b.side])
	}
	if freedom == 0 {
		return math.NaN(), 0
	}
	return ss / freedom * a, freedom
}

// limits fills the intervals of the nodes; those for all at once by Bonferroni.
func (s *Sides) limits(confidence float64) {
	known := 0
	for _, n := range s.Nodes {
		if !math.IsNaN(n.U) {
			known++
		}
	}
	all := 1 - (1-confidence)/math.Max(1, float64(known))
	for i := range s.Nodes {
		n := &s.Nodes[i]
		n.Lo, n.Hi = n.reach(confidence)
		n.AllLo, n.AllHi = n.reach(all)
	}
}

func (n *SideNode) reach(confidence float64) (lo, hi float64) {
	if math.IsNaN(n.U) {
		return math.NaN(), math.NaN()
	}
	half := quantile(n.Freedom, confidence) * n.U
	return n.Difference - half, n.Difference + half
}

// overBand fills Mean: each pull's mean over the nodes in the band that all pulls have.
func (s *Sides) overBand(pulls []SidePull, nodesRPM []float64, kept []int, band [2]float64, c Common, confidence float64) error {
	var nodes []int
	for _, i := range kept {
		whole := band == [2]float64{} || nodesRPM[i] >= band[0] && nodesRPM[i] <= band[1]
		for k := range pulls {
			whole = whole && !math.IsNaN(pulls[k].Lambda[i])
		}
		if whole {
			nodes = append(nodes, i)
		}
	}
	if len(nodes) == 0 {
		return fmt.Errorf("%w at the same engine speeds within the band", ErrNoSide)
	}
	mean := func(v []float64) float64 {
		sum := 0.0
		for _, i := range nodes {
			sum += v[i] / float64(len(nodes))
		}
		return sum
	}
	n, _ := s.node(pulls, func(p *SidePull) (float64, float64) { return mean(p.Lambda), mean(p.Slope) }, c)
	n.SpeedRPM = mean(nodesRPM)
	n.Lo, n.Hi = n.reach(confidence)
	n.AllLo, n.AllHi = n.Lo, n.Hi
	s.Mean = n
	return nil
}
