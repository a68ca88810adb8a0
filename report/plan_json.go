package report

import (
	"encoding/json"
	"math"

	"fairpull/campaign"
	"fairpull/compare"
)

// planFormat is the format of a plan as JSON; it stands in docs/plan.md.
const planFormat = "fairpull.plan/1"

type planJSON struct {
	Format       string       `json:"format"`
	Campaign     string       `json:"campaign"`
	Question     questionJSON `json:"question"`
	Wanted       float64      `json:"wanted_pct"`
	Assumed      assumedJSON  `json:"assumed"`
	Rig          rigJSON      `json:"rig"`
	Tyre         planTyreJSON `json:"tyre"`
	Designs      []designJSON `json:"designs"`
	Recommended  *int         `json:"recommended"` // number of a design; null: none reaches what is wanted
	Chosen       *designJSON  `json:"chosen"`
	Blocks       []blockJSON  `json:"blocks"` // of the plan that was chosen, or that the campaign has
	Seed         uint64       `json:"seed,omitempty"`
	Blind        bool         `json:"blind"`
	MinutesOnRig amount       `json:"minutes_on_rig"`
}

type questionJSON struct {
	Primary    string     `json:"primary"`
	BandRPM    *[2]amount `json:"band_rpm"` // null: the range that all pulls share
	Gain       amount     `json:"smallest_gain_of_interest_pct"`
	Confidence float64    `json:"confidence"`
}

type assumedJSON struct {
	SetupSD amount   `json:"setup_sd_pct"` // null: not known
	SetupDF amount   `json:"setup_df"`     // null: by judgement
	BlockSD amount   `json:"block_sd_pct"`
	BlockDF amount   `json:"block_df"`
	PullSD  amount   `json:"pull_sd_pct"`
	PullDF  amount   `json:"pull_df"`
	Drift   amount   `json:"drift_pct_per_hour"`
	Weather amount   `json:"weather_pct"`
	Source  string   `json:"source"` // workspace, campaign or judgement
	Judged  []string `json:"judged"`
}

type rigJSON struct {
	Pull     float64 `json:"pull_minutes"`
	Change   float64 `json:"change_minutes"`
	Strap    float64 `json:"strap_minutes"`
	WarmUp   float64 `json:"warm_up_minutes"`
	Settling int     `json:"settling_pulls"`
}

type planTyreJSON struct {
	Symbol    string `json:"speed_symbol"`
	Limit     amount `json:"limit_kmh"`
	Speed     amount `json:"surface_speed_kmh"`
	At        amount `json:"at_rpm"`
	Unchecked string `json:"unchecked"` // why the speed is not known; empty: it is
}

type designJSON struct {
	Number     int          `json:"number,omitempty"`
	Order      string       `json:"order"`
	Setups     string       `json:"setups"` // anew or one
	Pulls      int          `json:"pulls_a_block"`
	All        int          `json:"pulls"`
	Minutes    amount       `json:"minutes"`
	Chance     amount       `json:"chance_pct"`
	Detectable amount       `json:"detectable_pct"`
	Candidates []expectJSON `json:"candidates"`
}

type expectJSON struct {
	Candidate string            `json:"candidate"`
	Withheld  []compare.Reason  `json:"withheld"`
	SE        amount            `json:"standard_error_pct"`
	DF        amount            `json:"df"`
	HalfWidth amount            `json:"half_width_pct"`
	Parts     map[string]amount `json:"parts_pct"`
	Bracketed bool              `json:"bracketed"`
}

type blockJSON struct {
	Configuration string `json:"configuration"`
	Setup         string `json:"setup"`
	Pulls         int    `json:"pulls"`
	Code          string `json:"code,omitempty"` // only where the plan is blind
}

// JSON returns the plan as one fairpull.plan/1 object, unrounded. Percentages are of
// the baseline.
func (p *Plan) JSON() ([]byte, error) {
	o := p.Campaign.Objective
	out := planJSON{
		Format: planFormat, Campaign: p.Campaign.ID, Wanted: 100 * p.Wanted,
		Question: questionJSON{Primary: string(o.Primary), Gain: amount(100 * o.SmallestGain), Confidence: o.Confidence},
		Assumed:  p.assumedJSON(), Designs: []designJSON{}, Blocks: []blockJSON{}, MinutesOnRig: null,
		Rig:  rigJSON{p.Rig.PullMinutes, p.Rig.ChangeMinutes, p.Rig.StrapMinutes, p.Rig.WarmUpMinutes, p.Rig.SettlingPulls},
		Tyre: planTyreJSON{p.Tyre.Symbol, amount(3.6 * p.Tyre.Limit), amount(3.6 * p.Tyre.Speed), amount(p.Tyre.TopRPM), p.Tyre.Unchecked},
	}
	if o.BandRPM != [2]float64{} {
		out.Question.BandRPM = &[2]amount{amount(o.BandRPM[0]), amount(o.BandRPM[1])}
	}
	for i := range p.Designs {
		one := p.designJSON(&p.Designs[i])
		one.Number = i + 1
		out.Designs = append(out.Designs, one)
	}
	if p.Recommended >= 0 {
		number := p.Recommended + 1
		out.Recommended = &number
	}
	if p.Chosen != nil {
		one := p.designJSON(p.Chosen)
		out.Chosen = &one
	}
	if plan := p.Campaign.Plan; plan != nil {
		out.Blocks, out.Seed, out.Blind, out.MinutesOnRig = planBlocksJSON(plan), plan.Seed, plan.Blind, amount(plan.MinutesOnRig)
	}
	data, err := json.MarshalIndent(out, "", "  ")
	return append(data, '\n'), err
}

func planBlocksJSON(plan *campaign.Plan) []blockJSON {
	codes := plan.Codes()
	blocks := make([]blockJSON, len(plan.Blocks))
	for i, b := range plan.Blocks {
		blocks[i] = blockJSON{Configuration: b.Configuration, Setup: b.Setup, Pulls: b.Pulls}
		if plan.Blind {
			blocks[i].Code = codes[i]
		}
	}
	return blocks
}

func (p *Plan) assumedJSON() assumedJSON {
	s := p.Scatter
	out := assumedJSON{Drift: amount(100 * s.DriftPerHour), Weather: amount(100 * p.Weather), Source: "judgement", Judged: s.Judged}
	switch {
	case s.History != nil:
		out.Source = "workspace"
	case s.Own != nil:
		out.Source = "campaign"
	}
	if out.Judged == nil {
		out.Judged = []string{}
	}
	for _, l := range []struct {
		Spread
		sd, df *amount
	}{{s.Setup, &out.SetupSD, &out.SetupDF}, {s.Block, &out.BlockSD, &out.BlockDF}, {s.Pull, &out.PullSD, &out.PullDF}} {
		*l.sd, *l.df = null, null
		if l.SD > 0 || l.DF > 0 {
			*l.sd = amount(100 * l.SD)
		}
		if l.DF > 0 {
			*l.df = amount(l.DF)
		}
	}
	return out
}

func (p *Plan) designJSON(d *compare.PlannedDesign) designJSON {
	out := designJSON{
		Order: d.Order, Setups: setupsWords(d), Pulls: d.Pulls, All: designPulls(d), Minutes: amount(d.Minutes),
		Chance: amount(100 * d.Chance(p.Campaign.Objective.SmallestGain)), Detectable: amount(100 * d.Detectable(p.Wanted)),
	}
	candidates := p.Campaign.Candidates()
	for i := range d.Expected {
		e := &d.Expected[i]
		one := expectJSON{Candidate: candidates[i].ID, Withheld: e.Withheld, SE: amount(percent(e.SE)), DF: amount(e.DF), HalfWidth: amount(percent(e.HalfWidth)), Bracketed: e.Bracketed, Parts: map[string]amount{}}
		if one.Withheld == nil {
			one.Withheld = []compare.Reason{}
		}
		for part, square := range e.Parts {
			one.Parts[part] = amount(percent(math.Sqrt(square)))
		}
		out.Candidates = append(out.Candidates, one)
	}
	return out
}
