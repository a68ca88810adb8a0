package lab

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairpull/campaign"
)

// planCheck is the check of the plan.
const planCheck = "plan-changed"

// frozenSlack is how much later than the first candidate pull a plan may say that
// it was frozen: the clocks of logger and program need not agree. Our own limit.
const frozenSlack = 10 * time.Minute

// checkPlan asks whether the campaign was measured as it was planned: the question,
// the order and the numbers of blocks and pulls as they were frozen when the first
// candidate pull began. Without a plan nothing is asked.
func (a *Analysis) checkPlan() []campaign.Check {
	plan := a.Campaign.Plan
	first, begun := a.Campaign.FirstCandidatePull()
	if plan == nil || !begun {
		return nil
	}
	k := campaign.Check{
		ID: planCheck, Status: campaign.Pass, Unit: "1", Limit: number(0), LimitSource: "the campaign's plan",
		Touches: []string{"band", "peak_torque", "peak_power", "curve"},
	}
	progress := a.Campaign.Progress()
	departures := append(questionDepartures(a.Campaign), progress.Departures...)
	if late := plan.Frozen.Sub(first.Started); !plan.Frozen.IsZero() && late > frozenSlack {
		departures = append(departures, fmt.Sprintf("the plan was frozen on %s, after the first candidate pull began on %s", moment(plan.Frozen), moment(first.Started)))
	}
	k.Measured = number(float64(len(departures)))
	switch {
	case len(departures) > 0:
		k.Status = campaign.Fail
		k.Message = "This is not what was planned before the first candidate pull: " + strings.Join(departures, "; ") +
			". What follows is exploratory and carries no claim: plan a new campaign for it, or put back what was planned."
	case !progress.Finished:
		k.Status = campaign.Warn
		k.Message = fmt.Sprintf("Planned: %s. %s. There is no verdict before the end: to stop here would be to stop early.",
			planSize(plan), capital(planRest(plan, progress)))
	case slices.ContainsFunc(a.given, func(k campaign.Check) bool { return k.ID == planCheck }):
		return nil // the workspace knows of another plan
	default:
		k.Message = "Measured as planned: " + planSize(plan) + ". " + frozenWords(plan, first)
	}
	return []campaign.Check{k}
}

// planDoubts returns what the check of the plan means for every verdict.
func (a *Analysis) planDoubts() (changed, unfinished bool) {
	for _, k := range a.Checks {
		if k.ID == planCheck {
			changed, unfinished = changed || k.Status == campaign.Fail, unfinished || k.Status == campaign.Warn
		}
	}
	return changed, unfinished
}

// questionDepartures says where the question is not the frozen one; none where the
// plan names no moment.
func questionDepartures(c *campaign.Campaign) []string {
	if c.Plan.Frozen.IsZero() {
		return nil
	}
	return objectiveDepartures(c.Objective, c.Plan.Objective, c.Correction, c.Plan.Correction)
}

// objectiveDepartures says where a question, with its correction, is not what it was.
func objectiveDepartures(now, then campaign.Objective, correction, correctionThen string) []string {
	var out []string
	differ := func(what, now, then string) {
		if now != then {
			out = append(out, what+" is "+now+" and was "+then)
		}
	}
	differ("the riding band", questionBand(now.BandRPM), questionBand(then.BandRPM))
	differ("the primary figure", string(now.Primary), string(then.Primary))
	differ("the smallest gain of interest", questionPercent(now.SmallestGain), questionPercent(then.SmallestGain))
	differ("the confidence", questionPercent(now.Confidence), questionPercent(then.Confidence))
	differ("the drift", questionDrift(now.DriftLinear), questionDrift(then.DriftLinear))
	differ("the correction", correction, correctionThen)
	return out
}

func questionBand(band [2]float64) string {
	if band == [2]float64{} {
		return "the range that all pulls share"
	}
	return exact(band[0]) + " to " + exact(band[1]) + " rpm"
}

func questionPercent(fraction float64) string {
	if fraction == 0 {
		return "not stated"
	}
	return strconv.FormatFloat(100*fraction, 'g', 10, 64) + " %"
}

func questionDrift(linear bool) string {
	if linear {
		return "declared linear"
	}
	return "allowed for as any"
}

// exact writes a number that a person wrote.
func exact(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func moment(t time.Time) string { return t.Format("2 Jan 2006 15:04 -07:00") }

// planSize words how much is planned: "3 blocks, 9 pulls".
func planSize(p *campaign.Plan) string {
	return counted(len(p.Blocks), "block") + ", " + counted(p.TotalPulls(), "pull")
}

func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

// planRest words what is still to be measured: "block 2 (B) wants 1 pull more, and 2
// blocks follow".
func planRest(p *campaign.Plan, progress campaign.Progress) string {
	if progress.Next >= len(p.Blocks) {
		return "nothing is left"
	}
	s := fmt.Sprintf("block %d (%s) wants %s more", progress.Next+1, p.Blocks[progress.Next].Configuration, counted(progress.Left, "pull"))
	switch rest := len(p.Blocks) - progress.Next - 1; rest {
	case 0:
		return s
	case 1:
		return s + ", and 1 block follows"
	default:
		return s + fmt.Sprintf(", and %d blocks follow", rest)
	}
}

// frozenWords says since when the plan stands.
func frozenWords(p *campaign.Plan, first campaign.Pull) string {
	if p.Frozen.IsZero() {
		return "The plan names no moment at which it was frozen, so it is taken as it stands, from the first candidate pull on (" +
			moment(first.Started) + "): that the question is older than that is the folder's word."
	}
	return "Question, order and numbers stand since " + moment(p.Frozen) + ", when the first candidate pull began."
}
