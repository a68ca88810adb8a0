package lab

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"fairpull/campaign"
	"fairpull/compare"
)

// PlanChoice is one of the designs, and how it is to be measured.
type PlanChoice struct {
	Design   string // A-B-B-A, or the number of a design of the list; empty: the recommended one
	Pulls    int    // in each block; 0: as in the list
	OneSetup bool   // for an order: strapped down once
	Random   bool   // the order of the blocks is drawn
	Blind    bool   // the rider is not told which configuration is fitted
	Seed     uint64 // of the order and the codes; 0: made of the campaign's id
}

// Choose makes a design the plan of the campaign. A campaign of which a candidate was
// pulled already cannot be planned any more.
func (p *Planning) Choose(ch PlanChoice) error {
	if p.Measured {
		return fmt.Errorf("campaign %s has pulls already, and a plan comes before the first pull of a candidate.\n  To plan a new campaign like it, name it: --id %s-2", p.Campaign.ID, p.Campaign.ID)
	}
	if ch.Seed > campaign.MaxPlanSeed {
		return fmt.Errorf("the seed is %d, and a plan keeps whole numbers up to %d", ch.Seed, uint64(campaign.MaxPlanSeed))
	}
	d, err := p.design(ch)
	if err != nil {
		return err
	}
	seed := ch.Seed
	if seed == 0 {
		seed = seedOf(p.Campaign.ID)
	}
	p.View.Notes = nil
	if ch.Random {
		var orders int
		if d, orders, err = p.draw(d, seed); err != nil {
			return err
		}
		note := fmt.Sprintf("The order was drawn with the seed %d from %d that bracket every candidate as well.", seed, orders)
		if orders == 1 {
			note = "There is one order only of these blocks that brackets every candidate: nothing was drawn. More blocks leave a choice."
		}
		p.View.Notes = append(p.View.Notes, note)
	}
	if !ch.Random && !ch.Blind {
		seed = 0
	}
	p.Campaign.Plan = p.plan(d, seed, ch.Blind)
	if problems := p.Campaign.DraftProblems(); len(problems) > 0 {
		return problems[0]
	}
	if more := p.Campaign.Plan.MinutesOnRig - math.Round(d.Minutes); more > 0 {
		p.View.Notes = append(p.View.Notes, fmt.Sprintf("A block that repeats the configuration before it is made to look like a change to the rider: that takes %.0f minutes more.", more))
	}
	p.View.Campaign, p.View.Chosen = p.Campaign, &d
	return nil
}

// seedOf makes a seed of an id, so that nobody picks one and the same campaign is
// always drawn alike.
func seedOf(id string) uint64 {
	h := fnv.New64a()
	h.Write([]byte(id))
	return max(1, h.Sum64()&campaign.MaxPlanSeed)
}

// design finds the design that a choice names.
func (p *Planning) design(ch PlanChoice) (compare.PlannedDesign, error) {
	list := p.View.Designs
	var order string
	oneSetup, pulls := ch.OneSetup, ch.Pulls
	switch number, err := strconv.Atoi(ch.Design); {
	case ch.Design == "" && p.View.Recommended < 0:
		return compare.PlannedDesign{}, fmt.Errorf("none of the designs shows the gain with the wanted chance, so none is recommended.\n  Choose one, as in --design A-B-A-B-A-B --pulls 3")
	case ch.Design == "":
		d := list[p.View.Recommended]
		order, oneSetup, pulls = d.Order, d.OneSetup, orElse(pulls, d.Pulls)
	case err == nil && (number < 1 || number > len(list)):
		return compare.PlannedDesign{}, fmt.Errorf("there is no design %d: the list has 1 to %d", number, len(list))
	case err == nil:
		d := list[number-1]
		order, oneSetup, pulls = d.Order, d.OneSetup, orElse(pulls, d.Pulls)
	default:
		order = ch.Design
		pulls = orElse(pulls, p.pullsOf(order, oneSetup))
	}
	q := p.query
	q.Pulls = []int{pulls}
	d, err := compare.DesignOf(q, order, oneSetup)
	if err != nil {
		return d, fmt.Errorf("design %.60s: %w", ch.Design, err)
	}
	return d, nil
}

// usualPulls are the pulls of a block where nothing says how many.
const usualPulls = 3

// pullsOf returns the pulls that the list has for an order.
func (p *Planning) pullsOf(order string, oneSetup bool) int {
	spelled := strings.ToUpper(strings.ReplaceAll(order, "-", ""))
	for _, d := range p.View.Designs {
		if strings.ReplaceAll(d.Order, "-", "") == spelled && d.OneSetup == oneSetup {
			return d.Pulls
		}
	}
	return usualPulls
}

func orElse(n, other int) int {
	if n != 0 {
		return n
	}
	return other
}

// plan writes a design down as the plan of the campaign. What it promises is rounded
// to the side of less, as the percentage that campaign.toml says.
func (p *Planning) plan(d compare.PlannedDesign, seed uint64, blind bool) *campaign.Plan {
	ids := make([]string, 0, len(p.Campaign.Configurations))
	baseline, _ := p.Campaign.Baseline()
	ids = append(ids, baseline.ID)
	for _, c := range p.Campaign.Candidates() {
		ids = append(ids, c.ID)
	}
	a := p.query.Assumed
	plan := &campaign.Plan{
		Seed: seed, Blind: blind, Power: math.Floor(1000*d.Chance(p.Campaign.Objective.SmallestGain)) / 10 / 100, MinutesOnRig: math.Round(d.Minutes), SettlingPulls: p.query.Rig.SettlingPulls,
		Assumed: campaign.Assumptions{
			SetupSD: a.Setup.SD, SetupDF: a.Setup.DF, BlockSD: a.Block.SD, BlockDF: a.Block.DF, PullSD: a.Pull.SD, PullDF: a.Pull.DF,
			DriftPerHour: a.DriftPerHour,
		},
	}
	if detectable := d.Detectable(p.View.Wanted); !math.IsNaN(detectable) && detectable < 1 {
		plan.Detectable = math.Ceil(1e4*detectable) / 100 / 100
	}
	for i, b := range d.Plan.Blocks {
		plan.Blocks = append(plan.Blocks, campaign.PlannedBlock{Configuration: ids[b.Configuration], Setup: "s" + strconv.Itoa(b.Setup+1), Pulls: b.Pulls})
		if blind && i > 0 && b.Configuration == d.Plan.Blocks[i-1].Configuration {
			// A block without a change is made to look like one with it.
			plan.MinutesOnRig += math.Round(float64(plan.SettlingPulls) * p.query.Rig.PullMinutes)
		}
	}
	return plan
}

// How an order is drawn: orders of one design are alike when their standard error is
// no more than drawnWorse larger; as many as drawnOrders are looked at.
const (
	drawnWorse  = 0.10
	drawnOrders = 400
)

// drawStream sets the order apart from anything else that a plan's seed decides.
const drawStream = 0x6f72646572

// draw returns one of the orders of the same blocks that bracket every candidate and
// are as good as the design, or nearly, and how many there were to draw from. Where the
// design has the wanted chance they all have it. The same seed draws the same order.
func (p *Planning) draw(d compare.PlannedDesign, seed uint64) (compare.PlannedDesign, int, error) {
	q := p.query
	q.Pulls = []int{d.Pulls}
	gain, wanted := p.Campaign.Objective.SmallestGain, p.View.Wanted
	chance := rand.New(rand.NewPCG(seed, drawStream))
	letters := strings.Split(d.Order, "-")
	slices.Sort(letters) // the draw does not depend on the order that was asked for
	found := map[string]compare.PlannedDesign{d.Order: d}
	tried := map[string]bool{d.Order: true}
	for range drawnOrders {
		chance.Shuffle(len(letters), func(i, j int) { letters[i], letters[j] = letters[j], letters[i] })
		order := strings.Join(letters, "-")
		if tried[order] || d.OneSetup && slices.ContainsFunc(pairs(letters), func(p [2]string) bool { return p[0] == p[1] }) {
			continue
		}
		tried[order] = true
		other, err := compare.DesignOf(q, order, d.OneSetup)
		if err != nil {
			return d, 0, err
		}
		if asGood(other, d) && (d.Chance(gain) < wanted || other.Chance(gain) >= wanted) {
			found[order] = other
		}
	}
	names := make([]string, 0, len(found))
	for order := range found {
		names = append(names, order)
	}
	slices.Sort(names)
	return found[names[chance.IntN(len(names))]], len(names), nil
}

func pairs(list []string) [][2]string {
	var out [][2]string
	for i := 1; i < len(list); i++ {
		out = append(out, [2]string{list[i-1], list[i]})
	}
	return out
}

// asGood says whether a design brackets every candidate and is as sharp as another,
// or nearly.
func asGood(d, than compare.PlannedDesign) bool {
	for i := range d.Expected {
		if !d.Expected[i].Bracketed || !(d.Expected[i].SE <= (1+drawnWorse)*than.Expected[i].SE) {
			return false
		}
	}
	return true
}
