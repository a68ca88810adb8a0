package compare

import (
	"cmp"
	"fmt"
	"slices"

	"fairpull/scatter"
)

// block is consecutive pulls of one configuration in one setup, ready to compute
// with.
type block struct {
	configuration int // 0: baseline, then the candidates in their order
	setup         int // in order of first appearance
	pulls         []*Pull
	hours         float64 // mean start, from the first pull of the campaign
	lnFactor      float64 // mean
}

// inOrder returns the pulls by time, whatever order they came in. Two pulls that
// start at one moment are refused when they differ in configuration or setup:
// which was first cannot be known.
func inOrder(pulls []Pull) ([]*Pull, error) {
	sorted := make([]*Pull, len(pulls))
	for i := range pulls {
		sorted[i] = &pulls[i]
	}
	slices.SortFunc(sorted, func(a, b *Pull) int {
		return cmp.Or(cmp.Compare(a.Hours, b.Hours), cmp.Compare(a.Name, b.Name))
	})
	for i := 1; i < len(sorted); i++ {
		a, b := sorted[i-1], sorted[i]
		if a.Hours == b.Hours && (a.Configuration != b.Configuration || a.Setup != b.Setup) {
			return nil, fmt.Errorf("pulls %q and %q start at the same moment, so their order is unknown", a.Name, b.Name)
		}
	}
	return sorted, nil
}

// makeBlocks cuts the pulls, which are in order of time, into blocks.
//
// A setup that is left for another and comes back is refused: a strapping-down
// cannot be resumed, and counting it as one would let its offset cancel.
func makeBlocks(sorted []*Pull, in *Input) ([]block, error) {
	configuration := map[string]int{in.Baseline: 0}
	for i, c := range in.Candidates {
		configuration[c] = i + 1
	}
	setups := map[string]int{}
	var blocks []block
	for i, p := range sorted {
		fresh := i == 0
		if !fresh {
			before := sorted[i-1]
			fresh = p.Setup != before.Setup || p.Configuration != before.Configuration
			if _, seen := setups[p.Setup]; seen && p.Setup != before.Setup {
				return nil, fmt.Errorf("setup %q comes back at pull %q after another: the vehicle was unstrapped between, so it is a new setup and needs a new name", p.Setup, p.Name)
			}
		}
		if fresh {
			if _, seen := setups[p.Setup]; !seen {
				setups[p.Setup] = len(setups)
			}
			blocks = append(blocks, block{configuration: configuration[p.Configuration], setup: setups[p.Setup]})
		}
		last := &blocks[len(blocks)-1]
		last.pulls = append(last.pulls, p)
	}
	for i := range blocks {
		blocks[i].hours = blocks[i].mean(func(p *Pull) float64 { return p.Hours - sorted[0].Hours })
		blocks[i].lnFactor = blocks[i].mean(func(p *Pull) float64 { return p.LnFactor })
	}
	return blocks, nil
}

// mean returns the mean of a quantity over the pulls of the block.
func (b *block) mean(of func(*Pull) float64) float64 {
	values := make([]float64, len(b.pulls))
	for i, p := range b.pulls {
		values[i] = of(p)
	}
	return scatter.Mean(values)
}
