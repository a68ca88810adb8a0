package lab

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/ingest"
	"fairpull/report"
)

// AcrossQuery asks what one part does on several vehicles.
type AcrossQuery struct {
	// Campaigns are ids of campaigns of the workspace, or paths of campaign folders.
	Campaigns []string
	Candidate string // of the first campaign; empty: its only one
	Figure    string // band, peak_torque, peak_power; empty: the campaigns' primary figure
	Version   string // of the program, for documents
	Progress  func(done, total int)
}

// IsFolder reports whether a name given for a campaign is that of a campaign folder:
// a directory with a campaign.toml.
func IsFolder(name string) bool {
	info, err := os.Stat(filepath.Join(name, ingest.CampaignFile))
	return err == nil && !info.IsDir()
}

// maxAcross bounds the campaigns that are put together.
const maxAcross = 200

// Across analyses a campaign for each vehicle and puts their gains together. w may be
// nil where all campaigns are folders. Campaigns that do not test the same part, or that
// test it twice on one vehicle, are refused; a gain that carries no verdict is shown and
// not used.
func Across(ctx context.Context, w *Workspace, q AcrossQuery) (*report.Across, error) {
	if len(q.Campaigns) == 0 || len(q.Campaigns) > maxAcross {
		return nil, fmt.Errorf("%d campaigns: name from 1 to %d, one for each vehicle", len(q.Campaigns), maxAcross)
	}
	if !slices.Contains([]string{"", string(campaign.PrimaryBand), string(campaign.PrimaryPeakTorque), string(campaign.PrimaryPeakPower)}, q.Figure) {
		return nil, fmt.Errorf("there is no figure %q: it is band, peak_torque or peak_power", q.Figure)
	}
	analyses := make([]*Analysis, len(q.Campaigns))
	for i, name := range q.Campaigns {
		var err error
		if analyses[i], err = analyseNamed(ctx, w, name); err != nil {
			return nil, err
		}
		if q.Progress != nil {
			q.Progress(i+1, len(q.Campaigns))
		}
	}
	return acrossOf(analyses, q)
}

// analyseNamed analyses a campaign folder, or a campaign of the workspace as judging it
// would.
func analyseNamed(ctx context.Context, w *Workspace, name string) (*Analysis, error) {
	if IsFolder(name) {
		a, err := Gain(ctx, name, nil)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		return a, nil
	}
	if w == nil || campaign.CheckID(name) != nil {
		return nil, fmt.Errorf("%.200q is no campaign folder and no campaign of the workspace", name)
	}
	j, err := w.Judge(ctx, name, JudgeOptions{})
	if err != nil {
		return nil, err
	}
	return j.Analysis, nil
}

// acrossOf puts analysed campaigns together.
func acrossOf(analyses []*Analysis, q AcrossQuery) (*report.Across, error) {
	first := analyses[0]
	chosen, err := first.chosen(q.Candidate)
	if err != nil {
		return nil, err
	}
	metricOf := first.Campaign.Objective.Primary
	if q.Figure != "" {
		metricOf = campaign.Primary(q.Figure)
	}
	part := first.changed(chosen)
	out := &report.Across{Part: part.names(), Metric: metric(metricOf), Confidence: first.Campaign.Objective.Confidence, Version: q.Version}
	vehicles := map[string]string{}
	var gains []compare.VehicleGain
	for i, a := range analyses {
		c := a.Campaign
		id := chosen
		if i > 0 {
			if id, err = a.same(part, first.Campaign.ID); err != nil {
				return nil, err
			}
		}
		if err := agrees(c, first.Campaign, q.Figure, vehicles); err != nil {
			return nil, err
		}
		vehicles[c.Vehicle.ID] = c.ID
		row := a.acrossRow(id, out.Metric)
		if row.Used {
			gains = append(gains, compare.VehicleGain{Gain: row.Figure.Gain, SE: row.Figure.SE})
		}
		out.Rows = append(out.Rows, row)
		out.SharedHistory = out.SharedHistory || a.past != nil
	}
	if len(gains) > 0 {
		out.Result, err = compare.Across(gains, out.Confidence)
	}
	return out, err
}

// agrees refuses a campaign that cannot stand beside the others.
func agrees(c, first *campaign.Campaign, figure string, vehicles map[string]string) error {
	switch other, twice := vehicles[c.Vehicle.ID]; {
	case c.Vehicle.ID == "":
		return fmt.Errorf("campaign %s does not say which vehicle it is of: vehicles are told apart by their ids", c.ID)
	case twice:
		return fmt.Errorf("campaigns %s and %s are both of vehicle %s: a vehicle counts once, so name one of them", other, c.ID, c.Vehicle.ID)
	case c.Objective.Confidence != first.Objective.Confidence:
		return fmt.Errorf("campaign %s asks for a confidence of %g and campaign %s for %g: put the same in both", first.ID, first.Objective.Confidence, c.ID, c.Objective.Confidence)
	case figure == "" && c.Objective.Primary != first.Objective.Primary:
		return fmt.Errorf("the primary figure of campaign %s is %s, that of campaign %s %s: say which is meant, with --figure %s", first.ID, first.Objective.Primary, c.ID, c.Objective.Primary, first.Objective.Primary)
	}
	return nil
}

// chosen returns the candidate that is asked for, or the only one.
func (a *Analysis) chosen(candidate string) (string, error) {
	var ids []string
	for _, c := range a.Comparisons {
		ids = append(ids, c.Candidate)
	}
	switch {
	case candidate == "" && len(ids) == 1:
		return ids[0], nil
	case candidate == "":
		return "", fmt.Errorf("campaign %s has %d candidates (%s): say which part is meant, with --candidate %s", a.Campaign.ID, len(ids), strings.Join(ids, ", "), ids[0])
	case !slices.Contains(ids, candidate):
		return "", fmt.Errorf("campaign %s has no candidate %.40q; it has %s", a.Campaign.ID, candidate, strings.Join(ids, ", "))
	}
	return candidate, nil
}

// changedPart is what a candidate changes against its baseline.
type changedPart struct {
	components []campaign.Component // fitted instead, without serial and batch, by function
	removed    []string             // functions that the candidate has nothing for
	settings   []string             // keys whose value differs
}

// changed returns what a candidate changes.
func (a *Analysis) changed(candidate string) changedPart {
	var base, other campaign.Configuration
	for _, c := range a.Campaign.Configurations {
		switch {
		case c.ID == candidate:
			other = c
		case c.Role == campaign.Baseline:
			base = c
		}
	}
	var p changedPart
	for _, c := range other.Components {
		c = campaign.Component{Function: c.Function, Part: c.Part}
		if !slices.ContainsFunc(base.Components, func(b campaign.Component) bool { return b.Function == c.Function && b.Part == c.Part }) {
			p.components = append(p.components, c)
		}
	}
	for _, b := range base.Components {
		if !slices.ContainsFunc(other.Components, func(c campaign.Component) bool { return c.Function == b.Function }) {
			p.removed = append(p.removed, b.Function)
		}
	}
	value := func(list []campaign.Setting, key string) string {
		for _, s := range list {
			if s.Key == key {
				return s.Value
			}
		}
		return ""
	}
	for _, s := range slices.Concat(base.Settings, other.Settings) {
		if value(base.Settings, s.Key) != value(other.Settings, s.Key) && !slices.Contains(p.settings, s.Key) {
			p.settings = append(p.settings, s.Key)
		}
	}
	slices.SortFunc(p.components, func(x, y campaign.Component) int {
		return strings.Compare(x.Function+"\x00"+x.Part, y.Function+"\x00"+y.Part)
	})
	slices.Sort(p.removed)
	slices.Sort(p.settings)
	return p
}

// names are the part in words, component by component.
func (p changedPart) names() []string {
	var out []string
	for _, c := range p.components {
		out = append(out, c.Function+" "+c.Part)
	}
	for _, f := range p.removed {
		out = append(out, "no "+f)
	}
	if len(out) > 0 {
		return out
	}
	for _, s := range p.settings {
		out = append(out, "setting "+s)
	}
	if len(out) == 0 {
		return []string{"the same parts again"}
	}
	return out
}

// same returns the candidate of the campaign that changes the same components as
// another campaign's does.
func (a *Analysis) same(part changedPart, other string) (string, error) {
	var found, tested []string
	for _, c := range a.Comparisons {
		p := a.changed(c.Candidate)
		if slices.Equal(p.names(), part.names()) {
			found = append(found, c.Candidate)
		}
		tested = append(tested, c.Candidate+" "+strings.Join(p.names(), ", "))
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return "", fmt.Errorf("campaign %s does not test what campaign %s tests:\n  %s tests %s\n  %s tests %s\n  Only the same part on several vehicles can be put together", a.Campaign.ID, other, other, strings.Join(part.names(), ", "), a.Campaign.ID, strings.Join(tested, "; "))
	}
	return "", fmt.Errorf("campaign %s tests %s twice, as %s: name a campaign that tests it once", a.Campaign.ID, strings.Join(part.names(), ", "), strings.Join(found, " and "))
}

// acrossRow is the gain of one candidate as it stands beside those of other vehicles.
func (a *Analysis) acrossRow(candidate string, m compare.Metric) report.AcrossRow {
	row := report.AcrossRow{Campaign: a.Campaign.ID, Vehicle: a.Campaign.Vehicle.ID, Dyno: a.Campaign.Dyno.ID, Candidate: candidate}
	for i := range a.Comparisons {
		c := &a.Comparisons[i]
		if c.Candidate != candidate {
			continue
		}
		row.Baseline, row.Figure, row.Verdict = c.Baseline, *c.Figure(m), string(c.Verdict)
		row.Used, row.Reason = usable(c, m)
	}
	if p := a.changed(candidate); len(p.components)+len(p.removed) > 0 {
		row.Also = p.settings
	}
	for _, k := range a.Checks {
		if k.Status != campaign.Pass && (k.Comparison == "" || k.Comparison == candidate) && !slices.Contains(row.Checks, k.ID) {
			row.Checks = append(row.Checks, k.ID)
		}
	}
	return row
}

// usable says whether a gain can be put together with others, and why not. A verdict
// that is withheld is a gain whose interval does not hold.
func usable(c *compare.Comparison, m compare.Metric) (bool, string) {
	f := c.Figure(m)
	switch {
	case f.Missing != "":
		return false, f.Missing
	case !f.Interval:
		return false, "no interval: " + string(compare.PullScatterUnknown)
	case len(c.Reasons) > 0:
		words := make([]string, len(c.Reasons))
		for i, r := range c.Reasons {
			words[i] = string(r)
		}
		return false, "its verdict is withheld: " + strings.Join(words, ", ")
	case !(f.SE > 0):
		return false, "its standard error is zero"
	}
	return true, ""
}
