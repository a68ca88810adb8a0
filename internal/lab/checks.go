package lab

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// Limits are what the checks hold a campaign to. They are the lab's to set: start
// from DefaultLimits and change what differs, since a zero is a limit of nought.
type Limits struct {
	WeatherChange     float64 // fraction, of the factor between the sides
	PressureExcess    float64 // Pa above the standard atmosphere at the site
	GearRatio         float64 // fraction, between pulls
	Slip              float64 // fraction, within a pull
	Repeatability     float64 // SD within a block, ln
	BlockTrend        float64 // change over a block, ln, when also significant
	BlockTrendP       float64
	Lambda            float64 // difference of means
	OilTemperature    float64 // K, between the sides, where no set point is given
	HoursBetweenSides float64
	CoastShare        float64 // fraction of wheel power
	CoastShareOfGain  float64 // fraction of the gain
	MinimumSetups     int
	RangeLost         float64 // fraction of the common range that one pull takes away
	HistoryP          float64
}

// DefaultLimits returns the limits that separated campaigns with one fault from
// clean ones in trials; see docs/formats.md, section 2.
func DefaultLimits() Limits {
	return Limits{
		WeatherChange:     0.02,
		PressureExcess:    3000,
		GearRatio:         0.03,
		Slip:              0.005,
		Repeatability:     0.012,
		BlockTrend:        0.005,
		BlockTrendP:       0.01,
		Lambda:            0.02,
		OilTemperature:    8,
		HoursBetweenSides: 8,
		CoastShare:        0.002,
		CoastShareOfGain:  0.25,
		MinimumSetups:     3,
		RangeLost:         0.05,
		HistoryP:          0.05,
	}
}

const labLimit = "the lab's limit (default)"

// check asks every check of the analysis.
func (a *Analysis) check() []campaign.Check {
	var checks []campaign.Check
	for _, ask := range []func() []campaign.Check{
		a.checkCorrectionRange, a.checkCorrectionStated, a.checkTemperatureRange, a.checkWeatherChange, a.checkPressurePlausible,
		a.checkProcedure, a.checkOilTemperature, a.checkTyreSpeed, a.checkGear, a.checkSlip,
		a.checkLogIntegrity, a.checkSameLog, a.checkBandCovered, a.checkPullRange, a.checkResolution,
		a.checkRepeatability, a.checkTrendInBlock, a.checkUnusual,
		a.checkFigureKind, a.checkPeaks, a.checkDrift, a.checkBracketing, a.checkTimeBetweenSides,
		a.checkCoastDown, a.checkMixture, a.checkWheelChanged, a.checkSetups, a.checkHistory, a.checkCalibrations, a.checkPlan,
	} {
		checks = append(checks, ask()...)
	}
	checks = append(checks, a.given...)
	a.withhold(checks)
	return checks
}

// withholding are the checks whose unresolved fail withholds a verdict.
var withholding = []string{
	"gear", "slip", "mixture-difference", "log-integrity", "log-repeated", "band-not-covered",
	"correction-stated", "uncorrected-air",
}

// withhold notes on each check the candidates whose verdict it withholds: a
// fail of one of the withholding checks that stands unresolved on a pull of
// theirs or of the baseline.
func (a *Analysis) withhold(checks []campaign.Check) {
	for i := range checks {
		k := &checks[i]
		for j := range a.Comparisons {
			c := &a.Comparisons[j]
			concerned := k.Comparison == "" || k.Comparison == c.Candidate
			if k.Status != campaign.Fail || !concerned || !slices.Contains(withholding, k.ID) && !a.onOneSideOnly(k, c) {
				continue
			}
			switch a.concern(k, c) {
			case unresolved:
				k.Withholds = append(k.Withholds, c.Candidate)
			case answeredOnly:
				k.Answered = append(k.Answered, c.Candidate)
			}
		}
	}
}

// doubts gathers what the checks mean for the verdict of comparison c.
func (a *Analysis) doubts(c *compare.Comparison) compare.Doubts {
	var d compare.Doubts
	for _, k := range a.Checks {
		d.OpenFail = d.OpenFail || slices.Contains(k.Withholds, c.Candidate)
	}
	if share, ok := a.coastShare(c); ok && share.flagged(a.Limits) {
		d.CoastFlagged, d.CoastShareLo, d.CoastShareHi = true, share.Lo, share.Hi
	}
	d.Answered = a.answered()
	d.PlanChanged, d.PlanUnfinished = a.planDoubts()
	return d
}

// onOneSideOnly says whether k is an implausible pressure on some of the pulls
// of c but not on all: a pressure that is wrong throughout drops out of the
// gain, one that is wrong in part passes for a gain.
func (a *Analysis) onOneSideOnly(k *campaign.Check, c *compare.Comparison) bool {
	if k.ID != "pressure-plausible" {
		return false
	}
	for _, b := range c.Blocks {
		for _, name := range b.Pulls {
			if !slices.Contains(k.Pulls, name) {
				return true
			}
		}
	}
	return false
}

// How a check stands towards one comparison.
type concern int

const (
	unconcerned  concern = iota // it stands on none of its used pulls
	answeredOnly                // on some, and all were answered in writing
	unresolved                  // on one at least that nobody answered, or on none by name
)

// concern says how check k stands towards comparison c.
func (a *Analysis) concern(k *campaign.Check, c *compare.Comparison) concern {
	if len(k.Pulls) == 0 {
		return unresolved
	}
	found := unconcerned
	for _, name := range k.Pulls {
		p := a.pull(name)
		if p == nil || !p.Used || p.Configuration != c.Baseline && p.Configuration != c.Candidate {
			continue
		}
		if p.answer() == "" {
			return unresolved
		}
		found = answeredOnly
	}
	return found
}

// answerColumn is the column of pulls.csv that answers an open check on a pull
// in writing: the pull stays in, and the text is shown beside the check.
const answerColumn = "answer"

func (p *Pull) answer() string { return strings.TrimSpace(p.Values[answerColumn]) }

// answered lists the used pulls whose open checks were answered in writing.
func (a *Analysis) answered() []string {
	var names []string
	for _, p := range usedPulls(a.Pulls) {
		if p.answer() != "" {
			names = append(names, p.Name)
		}
	}
	return names
}

func (a *Analysis) pull(name string) *Pull {
	for i := range a.Pulls {
		if a.Pulls[i].Name == name {
			return &a.Pulls[i]
		}
	}
	return nil
}

// withAnswers adds to the message what was answered for the pulls concerned.
func (a *Analysis) withAnswers(k campaign.Check) campaign.Check {
	for _, name := range k.Pulls {
		if p := a.pull(name); p != nil && p.answer() != "" {
			k.Message += fmt.Sprintf(" Pull %s was answered: %q.", name, p.answer())
		}
	}
	return k
}

// write returns an SI value in the person's unit, with its name.
func (a *Analysis) write(si float64, d quantity.Dimension, places int) string {
	unit := a.units.Unit(d)
	return fmt.Sprintf("%.*f %s", places, unit.From(si), unit.Name)
}

// confidence words a comparison's confidence: "95 %".
func confidence(c *compare.Comparison) string {
	return strconv.FormatFloat(100*c.Confidence, 'g', 6, 64) + " %"
}

func number(v float64) *float64 { return &v }

// pullList words pull names: "pull 3", "pulls 3 and 4", "pulls 3, 4 and 7".
func pullList(names []string) string {
	switch len(names) {
	case 0:
		return "no pull"
	case 1:
		return "pull " + names[0]
	}
	last := len(names) - 1
	return "pulls " + strings.Join(names[:last], ", ") + " and " + names[last]
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

func have(names []string) string {
	if len(names) == 1 {
		return "has"
	}
	return "have"
}
