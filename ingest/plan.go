package ingest

import (
	"fmt"
	"strconv"
	"time"

	"fairpull/campaign"
)

// planTable is [plan] of campaign.toml. A pointer is nil where the key is absent.
type planTable struct {
	Blocks     []plannedBlock  `toml:"blocks"`
	Seed       *int            `toml:"seed"`
	Blind      bool            `toml:"blind"`
	Power      *float64        `toml:"power_pct"`
	Detectable *float64        `toml:"detectable_pct"`
	Minutes    *float64        `toml:"minutes_on_rig"`
	Settling   *int            `toml:"settling_pulls"`
	Frozen     *string         `toml:"frozen"`
	Correction string          `toml:"correction"`
	Objective  *objectiveTable `toml:"objective"`
	Assumed    assumedTable    `toml:"assumed"`
}

type plannedBlock struct {
	Configuration string `toml:"configuration"`
	Setup         string `toml:"setup"`
	Pulls         *int   `toml:"pulls"`
}

type assumedTable struct {
	SetupSD *float64 `toml:"setup_sd_pct"`
	SetupDF *float64 `toml:"setup_df"`
	BlockSD *float64 `toml:"block_sd_pct"`
	BlockDF *float64 `toml:"block_df"`
	PullSD  *float64 `toml:"pull_sd_pct"`
	PullDF  *float64 `toml:"pull_df"`
	Drift   *float64 `toml:"drift_pct_per_hour"`
}

// Draft returns what campaign.toml says where there is no pull yet: a campaign to
// be planned and measured. The name is that of the file, for errors, which are as
// those of [Open].
func Draft(name string, data []byte) (campaign.Campaign, error) {
	if len(data) > MaxCampaignBytes {
		return campaign.Campaign{}, tooLarge(name, MaxCampaignBytes)
	}
	c, r, err := readCampaign(name, data)
	if err != nil {
		return campaign.Campaign{}, err
	}
	r.noteProblems(c, c.DraftProblems())
	if err := r.faults.err(); err != nil {
		return campaign.Campaign{}, err
	}
	return *c, nil
}

func (r *reading) plan(t *planTable) *campaign.Plan {
	if t == nil {
		return nil
	}
	p := &campaign.Plan{
		Blind: t.Blind, Power: fromPercent(r.positive("plan.power_pct", t.Power)), Detectable: fromPercent(r.positive("plan.detectable_pct", t.Detectable)),
		MinutesOnRig: r.positive("plan.minutes_on_rig", t.Minutes), Assumed: r.assumed(t.Assumed),
	}
	for i, row := range t.Blocks {
		block := campaign.PlannedBlock{Configuration: row.Configuration, Setup: row.Setup}
		if row.Pulls != nil {
			block.Pulls = *row.Pulls
		} else {
			r.fault(fmt.Sprintf("plan.blocks[%d].pulls", i), because(ErrMissing, "the number of pulls is missing"), `write a block as in { configuration = "A", setup = "s1", pulls = 3 }`)
		}
		p.Blocks = append(p.Blocks, block)
	}
	if t.Settling != nil {
		p.SettlingPulls = *t.Settling
	}
	if t.Seed != nil {
		if *t.Seed <= 0 {
			r.fault("plan.seed", because(ErrNotPossible, "it is %d", *t.Seed), "write a whole number above 0, or take the key out where the order was chosen")
		}
		p.Seed = uint64(max(*t.Seed, 0))
	}
	r.frozen(t, p)
	return p
}

// frozen reads the moment and the objective that a plan is frozen with.
func (r *reading) frozen(t *planTable, p *campaign.Plan) {
	if t.Objective != nil {
		p.Objective = r.objective("plan.objective", *t.Objective)
	}
	p.Correction = t.Correction
	if t.Frozen == nil {
		return
	}
	at, err := time.Parse(time.RFC3339, *t.Frozen)
	if err != nil || at.IsZero() {
		r.fault("plan.frozen", because(ErrNotPossible, "the moment is %.60q", *t.Frozen), "write it with its offset, as in 2026-03-02T14:05:00+01:00")
		return
	}
	p.Frozen = at
	if t.Objective == nil {
		r.fault("plan.objective", because(ErrMissing, "the plan is frozen, and the objective of that moment is missing"), "write it under [plan.objective], with the keys of [objective]")
	}
}

func (r *reading) assumed(t assumedTable) campaign.Assumptions {
	a := campaign.Assumptions{}
	for _, row := range []struct {
		name     string
		sd, df   *float64
		toSD, to *float64
	}{
		{"setup", t.SetupSD, t.SetupDF, &a.SetupSD, &a.SetupDF},
		{"block", t.BlockSD, t.BlockDF, &a.BlockSD, &a.BlockDF},
		{"pull", t.PullSD, t.PullDF, &a.PullSD, &a.PullDF},
	} {
		*row.toSD = fromPercent(r.positive("plan.assumed."+row.name+"_sd_pct", row.sd))
		*row.to = r.positive("plan.assumed."+row.name+"_df", row.df)
	}
	if t.Drift != nil {
		a.DriftPerHour = fromPercent(*t.Drift)
	}
	return a
}

// planAsWritten returns the plan with the fractions that percentages stand for;
// nil for nil.
func planAsWritten(p *campaign.Plan) *campaign.Plan {
	if p == nil {
		return nil
	}
	plan := *p
	plan.Blocks = noneIfEmpty(plan.Blocks)
	for _, fraction := range []*float64{
		&plan.Power, &plan.Detectable, &plan.Objective.SmallestGain,
		&plan.Assumed.SetupSD, &plan.Assumed.BlockSD, &plan.Assumed.PullSD, &plan.Assumed.DriftPerHour,
	} {
		*fraction = fromPercent(toPercent(*fraction))
	}
	plan.Frozen = inOffset(plan.Frozen)
	return &plan
}

// inOffset returns the moment as text gives it back: with its offset, without a
// zone's name. The zero time stays.
func inOffset(at time.Time) time.Time {
	if back, err := time.Parse(time.RFC3339, at.Format(time.RFC3339Nano)); err == nil {
		return back
	}
	return at
}

func (w *tomlWriter) plan(p *campaign.Plan) {
	if p == nil {
		return
	}
	w.table("[plan]")
	w.WriteString("blocks = [\n")
	for _, b := range p.Blocks {
		fmt.Fprintf(w, "  { configuration = %s, setup = %s, pulls = %d },\n", tomlText(b.Configuration), tomlText(b.Setup), b.Pulls)
	}
	w.WriteString("]\n")
	if p.Seed != 0 {
		w.key("seed", strconv.FormatUint(p.Seed, 10))
	}
	if p.Blind {
		w.key("blind", "true")
	}
	w.number("power_pct", toPercent(p.Power))
	w.number("detectable_pct", toPercent(p.Detectable))
	w.number("minutes_on_rig", p.MinutesOnRig)
	w.count("settling_pulls", p.SettlingPulls)
	if !p.Frozen.IsZero() {
		w.key("frozen", tomlText(p.Frozen.Format(time.RFC3339Nano)))
	}
	w.text("correction", p.Correction)
	if p.Assumed != (campaign.Assumptions{}) {
		a := p.Assumed
		w.table("[plan.assumed]")
		for _, row := range []struct {
			name   string
			sd, df float64
		}{{"setup", a.SetupSD, a.SetupDF}, {"block", a.BlockSD, a.BlockDF}, {"pull", a.PullSD, a.PullDF}} {
			w.number(row.name+"_sd_pct", toPercent(row.sd))
			w.number(row.name+"_df", row.df)
		}
		w.number("drift_pct_per_hour", toPercent(a.DriftPerHour))
	}
	if p.Objective != (campaign.Objective{}) {
		w.table("[plan.objective]")
		w.objective(p.Objective)
	}
}
