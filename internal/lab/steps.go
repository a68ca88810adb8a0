package lab

import (
	"context"
	"fmt"
	"slices"
	"sort"
	"strings"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/report"
)

// StepsQuery asks what the steps of a campaign do.
type StepsQuery struct {
	// Campaign is the id of one of the workspace, or the path of a campaign folder.
	Campaign string
	// Order is the ladder, from its first step to its last, by configuration; empty: as
	// the parts have it, where each candidate holds all that another changes, and more.
	Order    []string
	Version  string // of the program, for documents
	Progress func(done, total int)
}

// maxSteps bounds the candidates that are read as steps: pairs of parts are many.
const maxSteps = 24

// Steps reads a campaign as a ladder, each candidate over the one before it and over the
// baseline; and, as far as its combinations tell, what each part does by itself and
// which act on one another. w may be nil where the campaign is a folder.
func Steps(ctx context.Context, w *Workspace, q StepsQuery) (*report.Steps, error) {
	a, err := analyseNamed(ctx, w, q.Campaign)
	if err != nil {
		return nil, err
	}
	return stepsOf(a, q)
}

// stepsOf reads an analysed campaign.
func stepsOf(a *Analysis, q StepsQuery) (*report.Steps, error) {
	if len(a.Comparisons) > maxSteps {
		return nil, fmt.Errorf("campaign %s has %d candidates, and at most %d are read as steps", a.Campaign.ID, len(a.Comparisons), maxSteps)
	}
	sets := a.changeSets()
	order := q.Order
	if len(order) == 0 {
		order = ladderOf(sets)
	} else if err := a.checkOrder(order); err != nil {
		return nil, err
	}
	out := &report.Steps{Gain: a.View(q.Version, a.units), Version: q.Version}
	in := a.input(usedPulls(a.Pulls), a.SpeedRPM)
	before := in.Baseline
	for i, id := range order {
		over, err := compare.Between(in, before, id)
		if err != nil {
			return nil, err
		}
		over.Judge(a.stepDoubts(&over, before))
		out.Ladder = append(out.Ladder, report.Step{ID: id, Changed: changedBetween(sets[before], sets[id]), Over: over, Stock: *a.comparison(id)})
		before = id
		if q.Progress != nil {
			q.Progress(i+1, len(order))
		}
	}
	var err error
	out.Effects, err = a.effects(in, sets)
	return out, err
}

// checkOrder refuses a ladder of something else than the campaign's candidates.
func (a *Analysis) checkOrder(order []string) error {
	for i, id := range order {
		if a.comparison(id) == nil {
			var have []string
			for _, c := range a.Comparisons {
				have = append(have, c.Candidate)
			}
			return fmt.Errorf("%w: campaign %s has no candidate %.40q; it has %s", ErrRefused, a.Campaign.ID, id, strings.Join(have, ", "))
		}
		if slices.Contains(order[:i], id) {
			return fmt.Errorf("%w: %s stands twice in the order", ErrRefused, id)
		}
	}
	return nil
}

// stepDoubts are the doubts of a step: what withholds the verdict of either of its two
// configurations withholds that of the step.
func (a *Analysis) stepDoubts(c *compare.Comparison, before string) compare.Doubts {
	d := a.doubts(c)
	for _, k := range a.Checks {
		d.OpenFail = d.OpenFail || slices.Contains(k.Withholds, before)
	}
	return d
}

// changeSets returns, for each configuration, what it changes against the baseline,
// item by item, sorted; serial numbers and batches apart. The baseline has the empty set.
func (a *Analysis) changeSets() map[string][]string {
	out := map[string][]string{}
	for _, c := range a.Campaign.Configurations {
		if c.Role == campaign.Baseline {
			out[c.ID] = nil
			continue
		}
		p := a.changed(c.ID)
		var items []string
		for _, x := range p.components {
			items = append(items, x.Function+" "+x.Part)
		}
		for _, f := range p.removed {
			items = append(items, "no "+f)
		}
		for _, key := range p.settings {
			value := "none"
			for _, s := range c.Settings {
				if s.Key == key {
					value = s.Value
				}
			}
			items = append(items, key+" "+value)
		}
		slices.Sort(items)
		out[c.ID] = items
	}
	return out
}

// changedBetween words what b changes against a.
func changedBetween(a, b []string) []string {
	var out []string
	for _, item := range b {
		if !slices.Contains(a, item) {
			out = append(out, item)
		}
	}
	for _, item := range a {
		if !slices.Contains(b, item) {
			out = append(out, "without "+item)
		}
	}
	if len(out) == 0 {
		return []string{"the same parts and settings again"}
	}
	return out
}

// ladderOf returns the candidates in an order in which each holds what the one before it
// changes, and something more; nil: there is none.
func ladderOf(sets map[string][]string) []string {
	var ids []string
	for id, set := range sets {
		if len(set) > 0 {
			ids = append(ids, id)
		}
	}
	sort.Slice(ids, func(i, j int) bool {
		if a, b := len(sets[ids[i]]), len(sets[ids[j]]); a != b {
			return a < b
		}
		return ids[i] < ids[j]
	})
	if len(ids) != len(sets)-1 {
		return nil // a candidate that changes nothing is no step
	}
	for i := 1; i < len(ids); i++ {
		if len(sets[ids[i]]) == len(sets[ids[i-1]]) || !holds(sets[ids[i]], sets[ids[i-1]]) {
			return nil
		}
	}
	return ids
}

// holds reports whether the sorted set a has every item of b.
func holds(a, b []string) bool {
	for _, item := range b {
		if !slices.Contains(a, item) {
			return false
		}
	}
	return true
}

// factor is what was always changed together: a part with its calibration, say.
type factor struct {
	items []string
	in    map[string]bool // configurations that have it
}

func (f *factor) name() string { return strings.Join(f.items, " with ") }

// factorsOf groups items that are in the same configurations.
func factorsOf(sets map[string][]string) []*factor {
	var out []*factor
	var items []string
	for _, set := range sets {
		items = append(items, set...)
	}
	slices.Sort(items)
	for _, item := range slices.Compact(items) {
		in := map[string]bool{}
		for id, set := range sets {
			if slices.Contains(set, item) {
				in[id] = true
			}
		}
		at := slices.IndexFunc(out, func(f *factor) bool {
			if len(f.in) != len(in) {
				return false
			}
			for id := range in {
				if !f.in[id] {
					return false
				}
			}
			return true
		})
		if at < 0 {
			out = append(out, &factor{nil, in})
			at = len(out) - 1
		}
		out[at].items = append(out[at].items, item)
	}
	return out
}

// with returns the configuration whose changes are those of id and of the factors as
// well, none of which id has; false where none was tested.
func with(sets map[string][]string, id string, factors ...*factor) (string, bool) {
	want := slices.Clone(sets[id])
	for _, f := range factors {
		if f.in[id] {
			return "", false
		}
		want = append(want, f.items...)
	}
	slices.Sort(want)
	for _, other := range sortedIDs(sets) {
		if slices.Equal(sets[other], want) {
			return other, true
		}
	}
	return "", false
}

func sortedIDs(sets map[string][]string) []string {
	var ids []string
	for id := range sets {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return ids
}

// askedEffect is an effect that the combinations tell.
type askedEffect struct {
	parts    []string
	contrast compare.Contrast
}

// effectsOf lists the effects of single factors and of pairs that the configurations
// tell. Without two factors there is nothing that the comparisons do not say.
func effectsOf(sets map[string][]string) []askedEffect {
	factors := factorsOf(sets)
	if len(factors) < 2 {
		return nil
	}
	var out []askedEffect
	add := func(parts []string, sums map[string]float64, n int) {
		if n == 0 {
			return
		}
		for id := range sums {
			sums[id] /= float64(n)
			if sums[id] == 0 {
				delete(sums, id)
			}
		}
		out = append(out, askedEffect{parts, compare.Contrast{Name: strings.Join(parts, ", "), Weights: sums}})
	}
	for _, f := range factors {
		sums, n := map[string]float64{}, 0
		for _, id := range sortedIDs(sets) {
			if other, tested := with(sets, id, f); tested {
				sums[other]++
				sums[id]--
				n++
			}
		}
		add([]string{f.name()}, sums, n)
	}
	for i, f := range factors {
		for _, g := range factors[i+1:] {
			sums, n := map[string]float64{}, 0
			for _, id := range sortedIDs(sets) {
				one, hasOne := with(sets, id, f)
				two, hasTwo := with(sets, id, g)
				both, hasBoth := with(sets, id, f, g)
				if hasOne && hasTwo && hasBoth {
					sums[both]++
					sums[one]--
					sums[two]--
					sums[id]++
					n++
				}
			}
			add([]string{f.name(), g.name()}, sums, n)
		}
	}
	return out
}

// effects estimates and judges what the combinations tell.
func (a *Analysis) effects(in compare.Input, sets map[string][]string) ([]report.StepEffect, error) {
	list := effectsOf(sets)
	if len(list) == 0 {
		return nil, nil
	}
	contrasts := make([]compare.Contrast, len(list))
	for i := range list {
		contrasts[i] = list[i].contrast
	}
	got, err := compare.Contrasts(in, contrasts)
	if err != nil {
		return nil, err
	}
	out := make([]report.StepEffect, len(got))
	for i := range got {
		got[i].Judge(a.effectDoubts(got[i].Weights))
		out[i] = report.StepEffect{Parts: list[i].parts, Rests: weightsWords(got[i].Weights), Effect: got[i]}
	}
	return out, nil
}

// effectDoubts are the doubts of all comparisons that a contrast draws on. The part
// that the coast-downs say is the rig's adds up with the weights, its doubt in full.
func (a *Analysis) effectDoubts(weights map[string]float64) compare.Doubts {
	var d compare.Doubts
	var value, half float64
	for i := range a.Comparisons {
		c := &a.Comparisons[i]
		w := weights[c.Candidate]
		if w == 0 {
			continue
		}
		own := a.doubts(c)
		d.OpenFail = d.OpenFail || own.OpenFail
		d.CoastFlagged = d.CoastFlagged || own.CoastFlagged
		d.Answered, d.PlanChanged, d.PlanUnfinished = own.Answered, own.PlanChanged, own.PlanUnfinished
		if s, ok := a.coastShare(c); ok {
			value += w * s.Value
			half += max(w, -w) * (s.Hi - s.Lo) / 2
		}
	}
	d.CoastShareLo, d.CoastShareHi = value-half, value+half
	return d
}

// weightsWords writes a contrast: "(B − A + D − C)/2".
func weightsWords(weights map[string]float64) string {
	var ids []string
	least := 0.0
	for id, w := range weights {
		ids = append(ids, id)
		if w = max(w, -w); least == 0 || w < least {
			least = w
		}
	}
	slices.SortFunc(ids, func(x, y string) int {
		switch a, b := weights[x], weights[y]; {
		case a > b:
			return -1
		case a < b:
			return 1
		}
		return strings.Compare(x, y)
	})
	var b strings.Builder
	for i, id := range ids {
		w := weights[id]
		switch {
		case w < 0:
			b.WriteString(" − ")
		case i > 0:
			b.WriteString(" + ")
		}
		if n := max(w, -w) / least; n > 1.5 {
			fmt.Fprintf(&b, "%.0f·", n)
		}
		b.WriteString(id)
	}
	if n := 1 / least; n > 1.5 {
		return fmt.Sprintf("(%s)/%.0f", b.String(), n)
	}
	return b.String()
}
