// Package compare tells a gain from the noise: block means on the log scale,
// honest degrees of freedom, limits that hold for the whole riding band at once,
// and a verdict.
//
// The method and its measured coverage stand in docs/method.md.
package compare

import "fairpull/scatter"

// Metric is one of the three scalar figures.
type Metric int

// The scalar figures.
const (
	Band Metric = iota
	PeakTorque
	PeakPower
)

// Pull is one reduced and corrected pull as a comparison sees it.
type Pull struct {
	Name          string
	Configuration string
	Setup         string
	Hours         float64   // start, in hours since any fixed moment
	LogTorque     []float64 // ln of torque in N·m at Input.SpeedRPM
	LnFactor      float64   // ln of the correction factor used
}

// Spread is a standard deviation on the log scale with its degrees of freedom;
// a zero DF means unknown.
type Spread struct{ SD, DF float64 }

// History is what is known beforehand. The zero value knows nothing.
type History struct {
	Setup, Block, Pull Spread
	Assumed            bool             // by judgement
	Archive            *scatter.Archive // takes the place of Setup and Pull (and of Block where it has blocks) when present
	DriftRate          Spread           // SD of drift rate over archived campaigns, 1/h
}

// Input is one campaign's pulls and the question.
type Input struct {
	SpeedRPM []float64 // the grid that all pulls share, increasing, 1/min
	Pulls    []Pull    // used pulls only, any order

	Baseline   string
	Candidates []string

	BandRPM      [2]float64 // riding band, 1/min; both 0: the whole shared range
	BandCovered  bool       // false: some used pull misses part of the band, so there is no band figure
	SmallestGain float64    // smallest gain of interest, a fraction; 0: not stated
	Confidence   float64    // in (0, 1); 0 is an error
	Primary      Metric
	DriftLinear  bool // declared beforehand: no allowance, no gate
	// NoPeaks says why no peak is to be read off the grid, which is then too sparse
	// for it; empty: peaks are read.
	NoPeaks string

	History History

	// Type B terms.
	ExponentU Spread // relative standard uncertainty of the correction's exponent (method.md section 3)
	// LossPlacement is the difference between the sides of what the correction
	// would give applied to wheel plus loss instead of the wheel alone, as a
	// fraction; by candidate id.
	LossPlacement map[string]float64

	Draws int // Gaussian draws for the whole-band limits; 0: 20000
}

// Figure is one scalar: level on both sides, and the gain. A figure without a
// gain has Missing set; one without an interval has Interval false.
type Figure struct {
	Missing  string // why there is no gain; empty: there is one
	Interval bool

	BaselineLevel, CandidateLevel float64 // N·m, or W for peak power; baseline at the mean time
	BaselineRPM, CandidateRPM     float64 // peaks only

	Gain    float64 // ln(candidate/baseline)
	SE, DF  float64
	Lo, Hi  float64 // two-sided interval, ln
	AtLeast float64 // one-sided lower bound, ln
	AtMost  float64 // one-sided upper bound, ln

	// Origins is the variance of the gain by origin; zero without an interval.
	Origins Origins
	// BaselineScatter and CandidateScatter are those of the levels; zero without an
	// interval, and for a contrast.
	BaselineScatter, CandidateScatter LevelScatter
}

// Node is the comparison at one engine speed. Gains are ln(candidate/baseline).
// BandLo and BandHi hold for the whole riding band at once; NaN outside it.
type Node struct {
	RPM                 float64
	Baseline, Candidate float64 // N·m
	Gain, SE, DF        float64
	Interval            bool
	Lo, Hi              float64
	AtLeast             float64
	BandLo, BandHi      float64
	// BandAtLeast is the one-sided lower bound that holds for the whole riding band
	// at once: what may be said of an engine speed picked after looking.
	BandAtLeast float64

	// Relative half-widths (ln) of each side's own level, from the same
	// variances: what to draw as a ribbon about either curve.
	BaselineHalf, CandidateHalf float64
}

// Drift is the change of the level over the session in the primary figure (in
// torque where that is missing): fractions on the log scale. Where Known is
// false the numbers are NaN, MaxWeightSum apart.
type Drift struct {
	Known        bool
	PerHour      float64
	Lo, Hi       float64 // per hour, two-sided at the confidence
	Change       float64 // over the session: first to last block mean time
	ChangeLo     float64
	ChangeHi     float64
	P            float64
	Detected     bool    // P < 0.10
	MaxWeightSum float64 // max |w1 + … + wj|: what share of Change the gain can be off by
	Gate         bool    // drift detected and more than half of the gain: no claim
	// NoLargerThan is the change over the session beyond which no drift is, by two
	// one-sided tests at the confidence.
	NoLargerThan float64
	Answer       DriftAnswer
}

// DriftAnswer is what can be said of the drift.
type DriftAnswer string

// The answers. DriftSmall: whatever drift there is can move the gain by no more
// than half of the smallest gain of interest.
const (
	DriftShown   DriftAnswer = "drift shown"
	DriftSmall   DriftAnswer = "no drift that matters"
	DriftUnclear DriftAnswer = "not enough to say"
)

// Source says where the setup scatter came from.
type Source string

// The sources.
const (
	FromCampaign Source = "campaign"
	FromHistory  Source = "history"
	FromBoth     Source = "both"
	Cancelled    Source = "cancelled" // all blocks in one setup: its offset drops out
	FromNone     Source = "none"
)

// Scatter is the noise that the interval rests on, for the band mean (or the
// primary figure where there is no band mean).
type Scatter struct {
	PullSD, PullDF   float64 // NaN and 0 without replicates or history
	SetupSD, SetupDF float64 // NaN and 0 where unknown
	BlockSD, BlockDF float64
	Source           Source
	BlockKnown       bool // block scatter known, or no part of this design
	// SetupKnown is true when the setup scatter is known well enough for a verdict,
	// or is not needed because the offsets cancel. A scatter with one degree of
	// freedom, from this campaign alone, is a number and not knowledge.
	SetupKnown bool
	// HistoryP is the p value of campaign scatter against history; NaN where it
	// could not be asked. CampaignAlone says that the campaign then stood alone.
	HistoryP      float64
	CampaignAlone bool
}

// Verdict is one of the four answers.
type Verdict string

// The verdicts, as the gain result spells them.
const (
	GainShown         Verdict = "gain shown"
	LossShown         Verdict = "loss shown"
	NoDifference      Verdict = "no difference of interest"
	NotEnoughEvidence Verdict = "not enough evidence"
)

// Reason is why a verdict was withheld.
type Reason string

// The reasons.
const (
	SetupScatterUnknown Reason = "setup scatter unknown"
	BlockScatterUnknown Reason = "change-over scatter unknown"
	PullScatterUnknown  Reason = "no repeated pulls"
	DriftNotBounded     Reason = "drift not bounded"
	DriftGate           Reason = "drift too large"
	OpenCheck           Reason = "open check"
	CoastDown           Reason = "coast-down share"
	UnusualOpen         Reason = "unusual pull open"
	NoPrimary           Reason = "primary figure missing"
	PlanChanged         Reason = "plan changed"
	PlanUnfinished      Reason = "plan unfinished"
)

// Unusual is a pull or block that stands out; it stays in.
type Unusual struct {
	Pull      string // empty: a block
	Block     int
	Level     bool    // level stands out; false: shape
	Deviation float64 // ln, from the others of its block
	AtRPM     float64 // shape only
	P         float64
}

// Block is consecutive pulls of one configuration in one setup.
type Block struct {
	Configuration, Setup string
	Pulls                []string
	Hours                float64 // mean time
	Weight               float64 // in the gain contrast
	BandMean             float64 // ln; NaN without a band figure
	PullSD               float64 // SD of the band mean within the block; NaN below 2 pulls
}

// The origins in Comparison.Parts.
const (
	PartSetup   = "setup"
	PartBlock   = "block"
	PartPull    = "pull"
	PartDrift   = "drift"
	PartWeather = "weather"
	PartLoss    = "loss placement"
)

// MaxSettle is the longest order, in blocks, that Comparison.SetupsToSettle names.
const MaxSettle = 24

// Comparison is one candidate against the baseline.
type Comparison struct {
	Baseline, Candidate string
	BandRPM             [2]float64
	Confidence          float64
	SmallestGain        float64
	Primary             Metric

	Band, PeakTorque, PeakPower Figure
	Curve                       []Node
	// WholeBandFactor is the quantile of max|t| over the band; WholeBandDF its df.
	WholeBandFactor, WholeBandDF float64
	// AtLeastEverywhere is the pointwise one-sided bound that holds at every
	// speed of the band (ln); NaN without intervals.
	AtLeastEverywhere float64

	Drift     Drift
	Bracketed bool
	// DriftBounded is true when a drift can not have made the gain unseen:
	// bracketed, or its rate known from earlier campaigns, or declared linear and
	// estimated.
	DriftBounded bool
	Scatter      Scatter
	Blocks       []Block
	Unusual      []Unusual
	// Parts is the variance of the primary figure by origin, ln²; the keys are the
	// Part constants. It is nil where that figure has no interval.
	Parts map[string]float64

	// TippingSD is the setup (or block) SD, at 5 df, above which the gain would
	// no longer be shown; NaN where scatter is known or nothing would be shown.
	TippingSD float64
	// SetupsToSettle is how many blocks of the same alternating order would show
	// a gain of the smallest gain of interest with 80 % chance; 0: not computed, or
	// more than MaxSettle.
	SetupsToSettle int

	Verdict Verdict
	// SmallerThanInterest is set when the effect is shown and smaller than the smallest gain of
	// interest at the same time.
	SmallerThanInterest bool
	Reasons             []Reason

	prospect prospect // what Outlook rests on
}

// Figure returns the figure of metric m.
func (c *Comparison) Figure(m Metric) *Figure {
	switch m {
	case PeakTorque:
		return &c.PeakTorque
	case PeakPower:
		return &c.PeakPower
	}
	return &c.Band
}

// Doubts are findings from outside the statistics that bear on a verdict.
type Doubts struct {
	OpenFail bool // an unresolved fail of a check that withholds verdicts
	// CoastShareLo and CoastShareHi are the two-sided interval of the coast-down
	// share: what the rig added to the candidate's wheel figure, a fraction. They
	// are used when CoastFlagged is set.
	CoastFlagged bool
	CoastShareLo float64
	CoastShareHi float64
	PlanChanged  bool
	// PlanUnfinished: planned blocks are still to be measured. A verdict now would
	// stop the campaign early.
	PlanUnfinished bool
	// Answered lists pulls whose open flags were answered in writing: an Unusual
	// on one of them no longer withholds a verdict.
	Answered []string
}
