package report

import (
	"encoding/json"
	"math"
	"time"
)

// Scatter is what a workspace knows of a rig's scatter, and where from. SDs are
// fractions on the log scale, of band mean, peak torque and peak power; NaN: not
// known.
type Scatter struct {
	Dyno, Vehicle string         // Vehicle: empty: whatever stood on the dyno
	Class         string         // only vehicles of this class; empty: not asked
	Levels        []ScatterLevel // setup to setup, change-over, pull to pull
	// Repeatability and Reproducibility are the SDs of one pull within a setup and
	// from setup to setup.
	Repeatability, Reproducibility [3]float64
	DriftRate                      Spread // of drift from campaign to campaign, 1/h
	DriftCampaigns                 int

	Campaigns []ScatterCampaign // that it comes from, the earliest first
	LeftOut   []ScatterLeftOut
	Unusable  []ScatterUnusable // whose measurement was at fault
	Repeated  []ScatterRepeated // which have logs of a campaign that counts
	Waiting   []string          // campaigns without a result that rests on their data: not in it
	Most      int               // campaigns that are looked at, the latest
	Version   string            // of the program
}

// ScatterLevel is one level of scatter over all campaigns.
type ScatterLevel struct {
	Key, Name string // "setup", "setup to setup"
	Campaigns int    // with scatter of their own at this level
	DF        float64
	Quoted    float64    // degrees of freedom that a verdict is lent
	Pulls     float64    // behind a row, harmonic mean
	SD        [3]float64 // free of the level's share of pulls
	RowSD     [3]float64 // of a row: a mean of Pulls pulls
	// Lent is the SD of a row that a verdict is lent, of the first figure that there is,
	// with its 95 % limits on Quoted degrees of freedom; 0: nothing is lent.
	Lent, LentLo, LentHi float64
	// PriorDF says how alike the campaigns are: infinite where they differ by no more
	// than chance; NaN below six of them. HomogeneityP is the p value of their having
	// one scatter.
	PriorDF, HomogeneityP float64
	Points                []ScatterPoint // the earliest first
	Trend                 ScatterTrend
}

// ScatterPoint is the SD of a row that one campaign found, with its 95 % limits.
type ScatterPoint struct {
	Campaign       string
	At             time.Time
	SD, Lo, Hi, DF float64
}

// ScatterTrend is the change of ln(SD) in a year, with its 95 % limits.
type ScatterTrend struct {
	Known           bool
	PerYear, Lo, Hi float64
	P               float64
}

// ScatterCampaign is a campaign that the scatter comes from.
type ScatterCampaign struct {
	Campaign, Vehicle, Result string
	Started                   time.Time
	SetupDF, BlockDF, PullDF  float64
	Curves                    bool // it rests on curves that were reduced elsewhere
}

// ScatterLeftOut is a campaign that somebody left out, and why.
type ScatterLeftOut struct {
	Campaign string
	At       time.Time
	Who, Why string
}

// ScatterUnusable is a campaign whose measurement was at fault, and how.
type ScatterUnusable struct{ Campaign, Why string }

// ScatterRepeated is a campaign that does not count, because it has logs of another
// one that does: no pull counts twice.
type ScatterRepeated struct{ Campaign, With string }

// scalarNames name the three figures whose scatter is shown.
var scalarNames = [3]string{"band mean", "peak torque", "peak power"}

// title says whose scatter it is.
func (s *Scatter) title() string {
	t := "Scatter of dyno " + clean(s.Dyno)
	if s.Vehicle != "" {
		t += " with vehicle " + clean(s.Vehicle)
	}
	if s.Class != "" {
		t += " with vehicles of class " + clean(s.Class)
	}
	return t
}

// subtitle says from how many campaigns, of which days.
func (s *Scatter) subtitle() string {
	if len(s.Campaigns) == 0 {
		return "No campaign says anything of it yet."
	}
	t := "From " + plural(len(s.Campaigns), "campaign") + ", "
	first, last := day(s.Campaigns[0].Started), day(s.Campaigns[len(s.Campaigns)-1].Started)
	if first != last {
		t += first + " to "
	}
	t += last
	if len(s.Campaigns) == s.Most {
		t += ", the latest that are looked at"
	}
	return t + ". A new campaign on this dyno " + s.judgedBy()
}

// judgedBy says which part of a scatter a new campaign is judged by.
func (s *Scatter) judgedBy() string {
	switch {
	case s.Vehicle != "":
		return "with this vehicle is judged by what stands here where it has degrees of freedom enough, else by that of the vehicle's class or of every vehicle."
	case s.Class != "":
		return "with a vehicle of this class is judged by what stands here where its own vehicle's part of it is too small and this is not, else by that of every vehicle."
	}
	return "is judged by what stands here, or by the part of it that its own vehicle has, or its vehicle's class."
}

// sdWords writes an SD in per cent; "–" where it is not known. One of nought is what
// was left when the share of the pulls was taken off: none could be seen.
func sdWords(v float64) string {
	switch {
	case math.IsNaN(v):
		return "–"
	case v == 0:
		return "none seen"
	}
	return fixed(100*v, 2) + " %"
}

// pWords writes a p value.
func pWords(p float64) string {
	if p < 0.001 {
		return "p < 0.001"
	}
	return "p = " + fixed(p, 3)
}

// alike says whether the campaigns have one scatter, and what is lent of it.
func (l *ScatterLevel) alike() string {
	if l.Campaigns == 0 {
		return "no campaign says anything of it."
	}
	s := plural(l.Campaigns, "campaign") + ", " + degrees(l.DF) + " degrees of freedom"
	if !math.IsNaN(l.HomogeneityP) {
		s += "; " + pWords(l.HomogeneityP) + " of all having the same scatter"
	}
	switch {
	case math.IsNaN(l.PriorDF):
		s += "; too few to tell how alike they are, so that 30 degrees of freedom stand for their spread"
	case math.IsInf(l.PriorDF, 1):
		s += "; they differ by no more than chance makes them"
	default:
		s += "; beyond chance they spread as a prior of " + degrees(l.PriorDF) + " degrees of freedom does"
	}
	s += ". A verdict is lent " + degrees(l.Quoted)
	if l.Lent > 0 {
		s += ", with an SD of " + sdWords(l.Lent) + " for " + l.rowName() + " (95 % limits: " + sdWords(l.LentLo) + " to " + sdWords(l.LentHi) + ")"
	}
	return s + "."
}

// foldTen is the logarithm of a change to ten times as much.
const foldTen = math.Ln10

// yearly words a change of the logarithm of the SD in a year; one beyond tenfold either
// way is bounded, since such a figure only says that the time was short.
func yearly(change float64) string {
	switch {
	case change > foldTen:
		return "more than +900 %"
	case change < -foldTen:
		return "below −90 %"
	}
	return signed(percent(change), 0) + " %"
}

// trend says whether the scatter grows or falls.
func (l *ScatterLevel) trend() string {
	t := l.Trend
	if !t.Known {
		return "A trend takes three campaigns at different times."
	}
	if t.Lo < -foldTen && t.Hi > foldTen {
		return "No trend can be told yet: over so short a time anything from a tenth to ten times as much a year would fit (" + pWords(t.P) + ")."
	}
	change := yearly(t.PerYear) + " a year (95 % interval: " + yearly(t.Lo) + " to " + yearly(t.Hi) + ", " + pWords(t.P) + ")"
	if t.P >= 0.05 {
		return "No trend is shown: " + change + "."
	}
	if t.PerYear > 0 {
		return "The scatter grows: " + change + ". Find out why before the next campaign."
	}
	return "The scatter falls: " + change + "."
}

// The JSON form, fairpull.history/1: SDs in per cent, unrounded; null: not known.
type (
	scatterFileJSON struct {
		Format          string                `json:"format"`
		Dyno            string                `json:"dyno"`
		Vehicle         string                `json:"vehicle"`         // empty: those of the class, or any
		Class           string                `json:"class,omitempty"` // that was asked
		Levels          []scatterLevelJSON    `json:"levels"`
		Repeatability   scalarsJSON           `json:"repeatability_sd_pct"`
		Reproducibility scalarsJSON           `json:"reproducibility_sd_pct"`
		DriftSD         amount                `json:"drift_rate_sd_pct_per_hour"`
		DriftDF         amount                `json:"drift_rate_df"`
		Campaigns       []scatterCampaignJSON `json:"campaigns"`
		LeftOut         []scatterLeftOutJSON  `json:"left_out"`
		Unusable        []scatterUnusableJSON `json:"unusable"`
		Repeated        []scatterRepeatedJSON `json:"repeated"`
		Waiting         []string              `json:"waiting"`
	}
	scalarsJSON struct {
		Band       amount `json:"band"`
		PeakTorque amount `json:"peak_torque"`
		PeakPower  amount `json:"peak_power"`
	}
	scatterLevelJSON struct {
		Level        string             `json:"level"`
		Campaigns    int                `json:"campaigns"`
		DF           amount             `json:"df"`
		Lent         amount             `json:"lent_df"`
		Pulls        amount             `json:"pulls_behind_a_row"`
		SD           scalarsJSON        `json:"sd_pct"`
		RowSD        scalarsJSON        `json:"row_sd_pct"`
		LentSD       amount             `json:"lent_row_sd_pct"`
		LentLo       amount             `json:"lent_row_lo_pct"`
		LentHi       amount             `json:"lent_row_hi_pct"`
		Alike        *bool              `json:"alike"`    // the campaigns differ by no more than chance; null below six
		PriorDF      amount             `json:"prior_df"` // null where they are alike, and below six
		HomogeneityP amount             `json:"homogeneity_p"`
		Points       []scatterPointJSON `json:"points"`
		TrendPerYear amount             `json:"trend_pct_per_year"`
		TrendLo      amount             `json:"trend_lo_pct_per_year"`
		TrendHi      amount             `json:"trend_hi_pct_per_year"`
		TrendP       amount             `json:"trend_p"`
	}
	scatterPointJSON struct {
		Campaign string `json:"campaign"`
		At       string `json:"at"`
		SD       amount `json:"row_sd_pct"`
		Lo       amount `json:"lo_pct"`
		Hi       amount `json:"hi_pct"`
		DF       amount `json:"df"`
	}
	scatterCampaignJSON struct {
		Campaign string `json:"campaign"`
		Vehicle  string `json:"vehicle"`
		Started  string `json:"started"`
		Result   string `json:"result"`
		Setup    amount `json:"setup_df"`
		Block    amount `json:"block_df"`
		Pull     amount `json:"pull_df"`
		Curves   bool   `json:"curves"`
	}
	scatterUnusableJSON struct {
		Campaign string `json:"campaign"`
		Why      string `json:"why"`
	}
	scatterRepeatedJSON struct {
		Campaign string `json:"campaign"`
		With     string `json:"logs_of"`
	}
	scatterLeftOutJSON struct {
		Campaign string `json:"campaign"`
		At       string `json:"at"`
		By       string `json:"by"`
		Why      string `json:"why"`
	}
)

// JSON returns the scatter as one fairpull.history/1 object.
func (s *Scatter) JSON() ([]byte, error) {
	out := scatterFileJSON{
		Format: "fairpull.history/1", Dyno: s.Dyno, Vehicle: s.Vehicle, Class: s.Class, Levels: []scatterLevelJSON{},
		Repeatability: scalars(s.Repeatability), Reproducibility: scalars(s.Reproducibility), DriftSD: null, DriftDF: null,
		Campaigns: []scatterCampaignJSON{}, LeftOut: []scatterLeftOutJSON{}, Unusable: []scatterUnusableJSON{}, Repeated: []scatterRepeatedJSON{}, Waiting: append([]string{}, s.Waiting...),
	}
	if s.DriftRate.DF > 0 {
		out.DriftSD, out.DriftDF = amount(100*s.DriftRate.SD), amount(s.DriftRate.DF)
	}
	for i := range s.Levels {
		out.Levels = append(out.Levels, s.Levels[i].json())
	}
	for _, c := range s.Campaigns {
		out.Campaigns = append(out.Campaigns, scatterCampaignJSON{c.Campaign, c.Vehicle, moment(c.Started), c.Result, amount(c.SetupDF), amount(c.BlockDF), amount(c.PullDF), c.Curves})
	}
	for _, l := range s.LeftOut {
		out.LeftOut = append(out.LeftOut, scatterLeftOutJSON{l.Campaign, moment(l.At), l.Who, l.Why})
	}
	for _, u := range s.Unusable {
		out.Unusable = append(out.Unusable, scatterUnusableJSON(u))
	}
	for _, r := range s.Repeated {
		out.Repeated = append(out.Repeated, scatterRepeatedJSON(r))
	}
	data, err := json.MarshalIndent(out, "", "  ")
	return append(data, '\n'), err
}

func moment(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

func scalars(v [3]float64) scalarsJSON {
	return scalarsJSON{amount(100 * v[0]), amount(100 * v[1]), amount(100 * v[2])}
}

func (l *ScatterLevel) json() scatterLevelJSON {
	out := scatterLevelJSON{
		Level: l.Key, Campaigns: l.Campaigns, DF: amount(l.DF), Lent: amount(l.Quoted), Pulls: amount(l.Pulls),
		SD: scalars(l.SD), RowSD: scalars(l.RowSD), HomogeneityP: amount(l.HomogeneityP), Points: []scatterPointJSON{},
		LentSD: null, LentLo: null, LentHi: null, TrendPerYear: null, TrendLo: null, TrendHi: null, TrendP: null,
	}
	if l.Lent > 0 {
		out.LentSD, out.LentLo, out.LentHi = amount(100*l.Lent), amount(100*l.LentLo), amount(100*l.LentHi)
	}
	out.PriorDF = amount(l.PriorDF) // infinite is null
	if alike := math.IsInf(l.PriorDF, 1); !math.IsNaN(l.PriorDF) {
		out.Alike = &alike
	}
	for _, p := range l.Points {
		out.Points = append(out.Points, scatterPointJSON{p.Campaign, moment(p.At), amount(100 * p.SD), amount(100 * p.Lo), amount(100 * p.Hi), amount(p.DF)})
	}
	if t := l.Trend; t.Known {
		out.TrendPerYear, out.TrendLo, out.TrendHi, out.TrendP = amount(percent(t.PerYear)), amount(percent(t.Lo)), amount(percent(t.Hi)), amount(t.P)
	}
	return out
}
