package campaign

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// SettlingReason is why a settling pull is not used, as pulls.csv says it. Any
// reason that begins so marks one: it is no pull of the plan.
const SettlingReason = "settling pull"

// Settling reports whether the pull is a settling pull that was written down.
func (p Pull) Settling() bool {
	return len(p.Excluded) >= len(SettlingReason) && strings.EqualFold(p.Excluded[:len(SettlingReason)], SettlingReason)
}

// MeasuredBlock is consecutive used pulls of one configuration in one setup.
type MeasuredBlock struct {
	Configuration, Setup string
	Used                 int
	Excluded             int // pulls of the block that are excluded, settling pulls apart
}

// Progress is how far a plan has been followed.
type Progress struct {
	Measured []MeasuredBlock // in order of time
	// Departures say, each as a clause, where the pulls are not those of the plan:
	// another order, other setups, more or fewer pulls in a block that another has
	// followed, blocks too many. What is only not measured yet is none.
	Departures []string
	Finished   bool // every planned block has its pulls
	// Next is the planned block that the next pull belongs to, and Left how many
	// used pulls it wants; len(Blocks) and 0 where the plan is through. They mean
	// nothing where there are Departures.
	Next, Left int
}

// Progress returns how far the plan has been followed; the zero value where there
// is no plan.
//
// Blocks are cut from the used pulls in order of time, as the comparison cuts
// them. A block is whole when its used pulls are as many as planned, or fewer and
// the excluded ones make up the rest: an exclusion with its reason is no change of
// the plan, and neither is a pull made in its place. A block of which every pull
// was excluded counts as not measured, so that it can be repeated in its place.
// Setups are compared by where the vehicle was unstrapped, not by name.
func (c *Campaign) Progress() Progress {
	if c.Plan == nil {
		return Progress{}
	}
	p := Progress{Measured: c.measuredBlocks()}
	planned := c.Plan.Blocks
	for i, m := range p.Measured {
		if i >= len(planned) {
			p.depart("%d blocks were measured where %d were planned", len(p.Measured), len(planned))
			break
		}
		if m.Configuration != planned[i].Configuration {
			p.depart("block %d is %s where %s was planned", i+1, m.Configuration, planned[i].Configuration)
			break // the blocks after it follow another order
		}
		if same := i > 0 && m.Setup == p.Measured[i-1].Setup; i > 0 && same != c.Plan.SameSetup(i) {
			p.depart("the vehicle was %s before block %d where the plan has it %s", strapped(same), i+1, strapped(!same))
		}
		switch last := i == len(p.Measured)-1; {
		case m.Used > planned[i].Pulls:
			p.depart("block %d (%s) has %d used pulls where %d were planned", i+1, m.Configuration, m.Used, planned[i].Pulls)
		case !last && m.Used+m.Excluded < planned[i].Pulls:
			p.depart("block %d (%s) has %d pulls where %d were planned", i+1, m.Configuration, m.Used+m.Excluded, planned[i].Pulls)
		}
	}
	if len(p.Departures) == 0 {
		p.next(planned)
	}
	return p
}

// next says what comes after the pulls of a plan that was followed so far.
func (p *Progress) next(planned []PlannedBlock) {
	if len(p.Measured) == 0 {
		p.Left = planned[0].Pulls
		return
	}
	at := len(p.Measured) - 1
	m := p.Measured[at]
	p.Finished = at == len(planned)-1 && m.Used+m.Excluded >= planned[at].Pulls
	p.Next, p.Left = at, planned[at].Pulls-m.Used
	if p.Left > 0 {
		return
	}
	if p.Next, p.Left = at+1, 0; p.Next < len(planned) {
		p.Left = planned[p.Next].Pulls
	}
}

func (p *Progress) depart(format string, args ...any) {
	p.Departures = append(p.Departures, fmt.Sprintf(format, args...))
}

func strapped(same bool) string {
	if same {
		return "left strapped"
	}
	return "strapped anew"
}

// measuredBlocks cuts the used pulls into blocks and counts the excluded pulls
// that belong to each: those of its configuration and setup that stand next to it.
func (c *Campaign) measuredBlocks() []MeasuredBlock {
	pulls := slices.Clone(c.Pulls)
	slices.SortStableFunc(pulls, func(a, b Pull) int {
		return cmp.Or(a.Started.Compare(b.Started), cmp.Compare(a.Name, b.Name))
	})
	var blocks []MeasuredBlock
	of := func(b MeasuredBlock, p Pull) bool { return b.Configuration == p.Configuration && b.Setup == p.Setup }
	var waiting []Pull // excluded pulls that the block before does not have
	for _, p := range pulls {
		last := len(blocks) - 1
		switch {
		case p.Settling():
		case p.Used():
			if last < 0 || !of(blocks[last], p) {
				blocks = append(blocks, MeasuredBlock{Configuration: p.Configuration, Setup: p.Setup})
				last++
			}
			blocks[last].Used++
			for _, w := range waiting {
				if of(blocks[last], w) {
					blocks[last].Excluded++
				}
			}
			waiting = nil
		case last >= 0 && of(blocks[last], p):
			blocks[last].Excluded++
		default:
			waiting = append(waiting, p)
		}
	}
	return blocks
}
