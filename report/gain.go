// Package report words verdicts, formats numbers, and draws charts, pages and
// documents. It is the only place where that is done, so that the terminal, the
// browser and the paper cannot disagree.
//
// Values come in SI and leave in the units that a person chose; the gain result
// in JSON (docs/formats.md, section 2) keeps the units of its format.
package report

import (
	"math"
	"time"

	"fairpull/air"
	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/curve"
)

// Gain is one analysed campaign: all that a page, a document or a terminal says
// of it. Strings that came from files need no cleaning by the caller.
type Gain struct {
	Campaign    campaign.Campaign
	Standard    Standard
	Comparisons []compare.Comparison // each candidate against the baseline
	Pulls       []PullRow            // in the order of pulls.csv
	Checks      []campaign.Check
	Compensated []Compensated // empty: no coast-downs
	// CoastShares holds, by candidate, the part of a gain that the coast-downs say
	// is the rig's. A candidate without an entry has no such figure.
	CoastShares map[string]CoastShare
	// WithAll holds the same comparisons with the excluded pulls put back; nil
	// where none was excluded.
	WithAll []compare.Comparison
	// History and Calibrations are what a workspace lent: scatter of earlier
	// campaigns, and the rig as it was calibrated. Nil and empty: the folder alone.
	History      *History
	Calibrations []Calibration
	// Steady says that the pulls are steady logs: speeds held on the brake. Held is the
	// same campaign's steady logs where it has pulls as well, and Ways how both ways of
	// measuring differ; nil without such logs.
	Steady  bool
	Held    *Gain
	Ways    *Ways
	AtCrank bool   // the logs were reduced elsewhere and give crank figures, not wheel figures
	Version string // of the program; empty: not stated
	// Exploratory says what was changed to look at the campaign in another way, one
	// change each; empty: it is as the campaign has it.
	Exploratory []string
}

// CoastShare is a part of wheel torque, as a fraction, with its two-sided
// interval at the campaign's confidence; positive where the candidate gained.
type CoastShare struct{ Value, Lo, Hi float64 }

// Standard says how the figures were corrected for the air.
type Standard struct {
	Name string // as the campaign names it: SAE J1349; or none
	Form string // which form of it: 1990 form; may be empty
	Note string // one sentence on reference state and limits; may be empty
}

// PullRow is one pull, used or not. A value that the pull does not have is NaN.
type PullRow struct {
	Pull, Configuration, Setup string

	Used    bool
	Reason  string // why it is not used
	Block   int    // counted from 1; 0: in none
	Started time.Time

	CorrectionFactor float64
	PeakTorqueNm     float64     // corrected, at the wheel, referred to the engine
	PeakPowerW       float64     // corrected, at the wheel
	BandTorqueNm     float64     // corrected, mean over the riding band, or over all that the pulls share
	Curve            curve.Curve // corrected; may be empty
	Air              *air.State  // nil: not known

	CoastLossNm   float64 // mean tyre and driveline loss at the drum axis
	CoastSpeedMPS float64 // drum surface speed that it belongs to
	Ratio         float64 // engine turns a drum turn
	Notes         []string
}

// Compensated is the peak power of one configuration at the wheel and with the
// coast-down loss added at the same engine speed, in watts.
type Compensated struct {
	Candidate     string // of the comparison that it belongs to; empty: any
	Configuration string
	AtRPM         float64 // engine speed of the peak, 1/min
	WheelW        float64 // the comparison's own level
	// WheelHalfW is the half-width of the interval of WheelW; 0 or NaN: not known.
	WheelHalfW   float64
	CompensatedW float64 // NaN: the coast-downs do not reach this speed
	// HalfWidthW is the half-width of the interval of CompensatedW: that of
	// WheelW with the scatter of the losses; 0 or NaN: not known.
	HalfWidthW float64
}

// percent turns a gain on the log scale into per cent of the baseline.
func percent(ln float64) float64 { return 100 * math.Expm1(ln) }

// configuration returns the configuration called id, or one with only that id.
func (g *Gain) configuration(id string) campaign.Configuration {
	if c, known := g.Campaign.Configuration(id); known {
		return c
	}
	return campaign.Configuration{ID: id}
}

// checksFor returns the checks that concern candidate, in order.
func (g *Gain) checksFor(candidate string) []campaign.Check {
	var out []campaign.Check
	for _, c := range g.Checks {
		if c.Comparison == "" || c.Comparison == candidate {
			out = append(out, c)
		}
	}
	return out
}

// notPassed returns the checks that did not pass, fails before warnings.
func notPassed(checks []campaign.Check) []campaign.Check {
	var out []campaign.Check
	for _, status := range []campaign.Status{campaign.Fail, campaign.Warn} {
		for _, c := range checks {
			if c.Status == status {
				out = append(out, c)
			}
		}
	}
	return out
}
