package lab

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"

	"fairpull/campaign"
	"fairpull/reduce"
	"fairpull/signal"
)

// checkLogIntegrity gathers the defects that the reducer found in the logs. A
// defect under a curve or coast-down that could not be repaired fails.
func (a *Analysis) checkLogIntegrity() []campaign.Check {
	k := campaign.Check{
		ID: "log-integrity", Status: campaign.Pass, LimitSource: labLimit,
		Touches: []string{"pulls", "curve", "band", "peak_torque", "peak_power"},
	}
	var worst *reduce.Finding
	var says []string
	for _, p := range usedPulls(a.Pulls) {
		status, found := campaign.Pass, []string(nil)
		for i := range p.Result.Findings {
			f := &p.Result.Findings[i]
			found = append(found, describe(f, p.Kind))
			switch {
			case f.InPull && !f.Repaired:
				status, worst = campaign.Fail, f
			case status == campaign.Pass:
				status = campaign.Warn
			}
			if worst == nil {
				worst = f
			}
		}
		if status == campaign.Pass {
			continue
		}
		if k.Status != campaign.Fail {
			k.Status = status
		}
		k.Pulls = append(k.Pulls, p.Name)
		says = append(says, fmt.Sprintf("Pull %s: %s.", p.Name, strings.Join(found, "; ")))
	}
	if worst == nil {
		k.Message = "No gap, repeated time, stuck value or lost pulse in the logs."
		return []campaign.Check{k}
	}
	k.Measured, k.Unit = number(worst.Measured), worst.Unit
	if worst.Limit != 0 {
		k.Limit = number(worst.Limit)
	}
	if len(says) > maxSentences {
		says = append(says[:maxSentences], fmt.Sprintf("And %d pulls more.", len(says)-maxSentences))
	}
	k.Message = strings.Join(says, " ")
	if k.Status == campaign.Fail {
		k.Message += " Repeat the pull, or exclude it with the reason."
	}
	return []campaign.Check{a.withAnswers(k)}
}

// maxSentences bounds a message that could name every pull of a long campaign.
const maxSentences = 6

// describe words one finding.
func describe(f *reduce.Finding, kind signal.Kind) string {
	where := fmt.Sprintf("%.2f s into the log", f.Time)
	if kind == signal.Reduced { // no time base: the row is the place
		where = fmt.Sprintf("data row %d", f.Row+1)
	}
	if f.Channel != "" {
		where = strings.ReplaceAll(f.Channel, "_", " ") + ", " + where
	}
	count := ""
	if f.Count > 1 {
		count = fmt.Sprintf("%d times, worst ", f.Count)
	}
	mended := ""
	if f.Repaired {
		mended = ", repaired without loss"
	} else if !f.InPull {
		mended = ", outside what the result rests on"
	}
	return fmt.Sprintf("%s (%s%s)%s", strings.ReplaceAll(f.Kind, "-", " "), count, where, mended)
}

// checkSameLog asks whether two used pulls hold the very same log: then one of
// them was not measured, and the scatter comes out too small.
func (a *Analysis) checkSameLog() []campaign.Check {
	k := campaign.Check{
		ID: "log-repeated", Status: campaign.Pass, LimitSource: "SHA-256 of the logs",
		Touches: []string{"pulls", "curve", "band", "peak_torque", "peak_power"}, Message: "Every used pull has a log of its own.",
	}
	first := map[[sha256.Size]byte]string{}
	for _, p := range usedPulls(a.Pulls) {
		if other, seen := first[p.digest]; seen {
			if !slices.Contains(k.Pulls, other) {
				k.Pulls = append(k.Pulls, other)
			}
			k.Pulls = append(k.Pulls, p.Name)
			continue
		}
		first[p.digest] = p.Name
	}
	if len(k.Pulls) > 0 {
		k.Status = campaign.Fail
		k.Message = fmt.Sprintf("The logs of %s are the same file, byte for byte: one of them is not the pull it is written down as. Put the right log in its place, or exclude the pull, with the reason.", pullList(k.Pulls))
	}
	return []campaign.Check{a.withAnswers(k)}
}

// checkBandCovered asks whether every used pull covers the whole riding band.
func (a *Analysis) checkBandCovered() []campaign.Check {
	band := a.Campaign.Objective.BandRPM
	if band == [2]float64{} {
		return nil
	}
	k := campaign.Check{
		ID: "band-not-covered", Status: campaign.Pass, Unit: "rpm",
		LimitSource: "the campaign's riding band", Touches: []string{"band"},
		Message: fmt.Sprintf("Every used pull covers the riding band, %.0f to %.0f rpm.", band[0], band[1]),
	}
	if a.BandCovered {
		return []campaign.Check{k}
	}
	k.Status = campaign.Fail
	low, high := a.SpeedRPM[0], a.SpeedRPM[len(a.SpeedRPM)-1]
	k.Measured, k.Limit = number(high), number(band[1])
	if low > band[0] {
		k.Measured, k.Limit = number(low), number(band[0])
	}
	if a.allSteady {
		return []campaign.Check{a.withAnswers(a.heldBand(k))}
	}
	for _, p := range usedPulls(a.Pulls) {
		for _, rpm := range gridNodes(band) {
			if inBand(rpm, band) && !everyPullHas([]*Pull{p}, rpm) {
				k.Pulls = append(k.Pulls, p.Name)
				break
			}
		}
	}
	k.Message = fmt.Sprintf("The used pulls share %.0f to %.0f rpm and the riding band is %.0f to %.0f rpm: there is no band figure, and no narrower one is put in its place. %s %s part of the band; begin full throttle lower, hold it longer, log it without gaps, or state the band that was meant.",
		low, high, band[0], band[1], capital(pullList(k.Pulls)), misses(k.Pulls))
	return []campaign.Check{a.withAnswers(k)}
}

func misses(names []string) string {
	if len(names) == 1 {
		return "misses"
	}
	return "miss"
}

// checkPullRange asks whether single pulls shorten the range that all share.
func (a *Analysis) checkPullRange() []campaign.Check {
	used := usedPulls(a.Pulls)
	lows, highs := make([]float64, len(used)), make([]float64, len(used))
	for i, p := range used {
		lows[i] = p.Corrected.SpeedRPM[0]
		highs[i] = p.Corrected.SpeedRPM[p.Corrected.Len()-1]
	}
	low, high := median(lows), median(highs)
	if !(high > low) {
		return nil
	}
	k := campaign.Check{
		ID: "pull-range", Status: campaign.Pass, Unit: "%", Limit: number(100 * a.Limits.RangeLost),
		LimitSource: labLimit, Touches: []string{"curve", "peak_torque", "peak_power"},
	}
	worst := 0.0
	for i, p := range used {
		lost := (max(lows[i]-low, 0) + max(high-highs[i], 0)) / (high - low)
		worst = max(worst, lost)
		if lost > a.Limits.RangeLost {
			k.Pulls = append(k.Pulls, p.Name)
		}
	}
	// A hole in one of them shortens what they share as a short pull does.
	shared := a.SpeedRPM[len(a.SpeedRPM)-1] - a.SpeedRPM[0]
	if lost := 1 - shared/(high-low); lost > worst+a.Limits.RangeLost {
		worst = lost
		for _, p := range used {
			if holed(p.Corrected.SpeedRPM) && !slices.Contains(k.Pulls, p.Name) {
				k.Pulls = append(k.Pulls, p.Name)
			}
		}
	}
	k.Measured = number(100 * worst)
	k.Message = fmt.Sprintf("All pulls cover about the same engine speeds, %.0f to %.0f rpm.", low, high)
	if len(k.Pulls) > 0 {
		k.Status = campaign.Warn
		k.Message = fmt.Sprintf("%s %s up to %.0f %% of the range that the others share; the curve and the peaks end there for all.", capital(pullList(k.Pulls)), misses(k.Pulls), 100*worst)
	}
	return []campaign.Check{k}
}

// holed says whether a curve has nodes on both sides of a hole.
func holed(rpm []float64) bool {
	for i := 1; i < len(rpm); i++ {
		if rpm[i]-rpm[i-1] > gridStep+1e-6 {
			return true
		}
	}
	return false
}

// checkResolution asks whether the log's sampling let the fit keep its window.
func (a *Analysis) checkResolution() []campaign.Check {
	const widened = 1.25
	k := campaign.Check{
		ID: "resolution", Status: campaign.Pass, Unit: "rpm",
		LimitSource: "the fitting window for this range of engine speeds", Touches: []string{"curve"},
	}
	coarsest, finest := 0.0, 0.0
	for _, p := range usedPulls(a.Pulls) {
		if p.Kind == signal.Reduced || p.Steady != nil || len(p.Result.Resolution) == 0 {
			continue
		}
		typical := median(p.Result.Resolution)
		if finest == 0 || typical < finest {
			finest = typical
		}
		for _, r := range p.Result.Resolution {
			coarsest = max(coarsest, r)
		}
	}
	if finest == 0 {
		return nil
	}
	for _, p := range usedPulls(a.Pulls) {
		for _, r := range p.Result.Resolution {
			if r > widened*finest {
				k.Pulls = append(k.Pulls, p.Name)
				break
			}
		}
	}
	k.Measured, k.Limit = number(coarsest), number(widened*finest)
	k.Message = fmt.Sprintf("Features narrower than about %.0f rpm are not resolved.", coarsest)
	if len(k.Pulls) > 0 {
		k.Status = campaign.Warn
		k.Message = fmt.Sprintf("The logs of %s are sampled too thinly for the fitting window: features narrower than about %.0f rpm are not resolved. Log faster, or use the encoder's pulses.", pullList(k.Pulls), coarsest)
	}
	return []campaign.Check{k}
}
