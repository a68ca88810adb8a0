package report

import (
	"encoding/json"
	"math"

	"fairpull/compare"
)

// Across is what one part does on several vehicles: a campaign for each.
type Across struct {
	Part       []string // what the candidate changes, component by component
	Metric     compare.Metric
	Confidence float64
	Rows       []AcrossRow // in the order asked for
	// Result is of the rows that are used; the zero value where none is.
	Result compare.AcrossVehicles
	// SharedHistory says that the gains rest on one lab's setup scatter.
	SharedHistory bool
	Version       string // of the program
}

// AcrossRow is one campaign: the part on one vehicle.
type AcrossRow struct {
	Campaign, Vehicle, Dyno string
	Baseline, Candidate     string
	Figure                  compare.Figure
	Verdict                 string
	Used                    bool
	Reason                  string   // why it is not used
	Also                    []string // settings that the candidate changed as well
	Checks                  []string // that did not pass
}

// acrossNames are the figures as a gain is named.
var acrossNames = map[compare.Metric]string{
	compare.Band: "mean torque over the riding band", compare.PeakTorque: "peak torque", compare.PeakPower: "peak power",
}

func (a *Across) title() string {
	words := make([]string, len(a.Part))
	for i, p := range a.Part {
		words[i] = clean(p)
	}
	return capitalised(list(words)) + " on " + plural(len(a.Rows), "vehicle")
}

func (a *Across) subtitle() string {
	return "Gain in " + acrossNames[a.Metric] + ", in per cent of each vehicle's own baseline, with " + confidence(a.Confidence) + " intervals."
}

// Sentences answer the question: what the part does on vehicles like these, how much
// they differ, and what the next one may see.
func (a *Across) Sentences() []string {
	r := a.Result
	switch r.Vehicles {
	case 0:
		return []string{"No campaign has a gain that can be used, so nothing can be said."}
	case 1:
		return []string{"One vehicle is no sample: its gain is known, and what the part does on another does not follow from it. Measure it on three vehicles at least."}
	}
	mean := gainWords(r.Mean, r.Lo, r.Hi, r.AtLeast, true)
	s := "On " + plural(r.Vehicles, "vehicle") + " the part gives " + mean.Value + " % on average (" + confidence(a.Confidence) + " interval " + mean.Interval + ")"
	switch {
	case r.AtLeast > 0:
		s += ": an average gain is shown, at least " + mean.AtLeast + " %"
	case percent(r.Hi) < 0:
		s += ": an average loss is shown"
	default:
		s += ": no average gain is shown"
	}
	out := []string{s + "."}
	if r.Vehicles == 2 {
		return append(out, a.heterogeneity(), "Two vehicles say too little of how vehicles differ to predict a third: their two results stand side by side, and their mean has one degree of freedom. Measure a third.")
	}
	return append(out, a.next(), a.heterogeneity())
}

// next says what one more vehicle may see.
func (a *Across) next() string {
	r := a.Result
	next := gainWords(r.Mean, r.PredictionLo, r.PredictionHi, math.NaN(), true)
	s := "On one more vehicle like these the gain is to be expected between " + next.Lo + " % and " + next.Hi + " % (" + confidence(a.Confidence) + " prediction interval)"
	switch {
	case r.PredictionLo > 0:
		return s + ": it should see a gain."
	case r.PredictionHi < 0:
		return s + ": it should see a loss."
	}
	return s + ": it may see nothing, or a loss."
}

// heterogeneity says how much the vehicles differ beyond their own errors.
func (a *Across) heterogeneity() string {
	r := a.Result
	if r.Tau == 0 {
		return "The gains differ no more than their own errors make them (Q = " + fixed(r.Q, 1) + " on " + degrees(r.DF) + " df, " + pWords(r.P) + "); with so few vehicles that is no proof that they are alike."
	}
	return "From vehicle to vehicle the gain differs by " + fixed(100*r.Tau, 2) + " % (SD); that is " + fixed(100*r.I2, 0) + " % of the scatter seen, the rest being their own errors (Q = " + fixed(r.Q, 1) + " on " + degrees(r.DF) + " df, " + pWords(r.P) + ")."
}

// cautions say what the figures rest on.
func (a *Across) cautions() []string {
	out := []string{"The vehicles stand for those that were not measured only as far as they were not picked by their result. Each gain is full throttle on one specimen of the part."}
	if a.SharedHistory && a.Result.Vehicles >= manyVehicles {
		out = append(out, "The gains rest on the same lab's setup scatter: if that is off, it is off for all of them.")
	}
	return out
}

// manyVehicles is the number from which the interval of the mean is narrow enough for
// a shared scatter to matter.
const manyVehicles = 5

// interval words a row's gain.
func (r *AcrossRow) words() gainText { return gainTextOf(&r.Figure) }

// note is what stands beside a row: why it is not used, or what touches it.
func (r *AcrossRow) note() string {
	var parts []string
	if !r.Used {
		parts = append(parts, "not used: "+cleanTo(r.Reason, 300))
	}
	if len(r.Also) > 0 {
		parts = append(parts, "changed as well: "+cleanedList(r.Also))
	}
	if len(r.Checks) > 0 {
		parts = append(parts, "checks not passed: "+cleanedList(r.Checks))
	}
	return joined("; ", parts...)
}

func cleanedList(words []string) string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = clean(w)
	}
	return list(out)
}

type (
	acrossJSON struct {
		Format     string          `json:"format"`
		Part       []string        `json:"part"`
		Figure     string          `json:"figure"`
		Confidence float64         `json:"confidence"`
		Vehicles   []acrossRowJSON `json:"vehicles"`
		Used       int             `json:"used"`
		Mean       amount          `json:"mean_gain_pct"`
		Lo         amount          `json:"lo_pct"`
		Hi         amount          `json:"hi_pct"`
		AtLeast    amount          `json:"at_least_pct"`
		SE         amount          `json:"se_pct"`
		DF         amount          `json:"df"`
		NextLo     amount          `json:"next_vehicle_lo_pct"`
		NextHi     amount          `json:"next_vehicle_hi_pct"`
		Tau        amount          `json:"vehicle_sd_pct"`
		I2         amount          `json:"i2"`
		Q          amount          `json:"q"`
		P          amount          `json:"q_p"`
		Sentences  []string        `json:"sentences"`
	}
	acrossRowJSON struct {
		Campaign  string   `json:"campaign"`
		Vehicle   string   `json:"vehicle"`
		Dyno      string   `json:"dyno"`
		Baseline  string   `json:"baseline"`
		Candidate string   `json:"candidate"`
		Verdict   string   `json:"verdict"`
		Gain      amount   `json:"gain_pct"`
		Lo        amount   `json:"lo_pct"`
		Hi        amount   `json:"hi_pct"`
		SE        amount   `json:"se_pct"`
		DF        amount   `json:"df"`
		Used      bool     `json:"used"`
		Reason    string   `json:"reason,omitempty"`
		Also      []string `json:"also_changed,omitempty"`
		Checks    []string `json:"checks_not_passed,omitempty"`
	}
)

// JSON returns it as one fairpull.across/1 object, unrounded; se_pct and
// vehicle_sd_pct are 100 times the figures on the log scale.
func (a *Across) JSON() ([]byte, error) {
	r := a.Result
	out := acrossJSON{
		Format: "fairpull.across/1", Part: a.Part, Figure: map[compare.Metric]string{compare.Band: "band", compare.PeakTorque: "peak_torque", compare.PeakPower: "peak_power"}[a.Metric],
		Confidence: a.Confidence, Vehicles: []acrossRowJSON{}, Used: r.Vehicles, Sentences: a.Sentences(),
		Mean: null, Lo: null, Hi: null, AtLeast: null, SE: null, DF: null, NextLo: null, NextHi: null, Tau: null, I2: null, Q: null, P: null,
	}
	if r.Vehicles > 0 {
		out.Mean, out.Lo, out.Hi, out.AtLeast = amount(percent(r.Mean)), amount(percent(r.Lo)), amount(percent(r.Hi)), amount(percent(r.AtLeast))
		out.SE, out.DF, out.Tau, out.I2, out.Q, out.P = amount(100*r.SE), amount(r.DF), amount(100*r.Tau), amount(r.I2), amount(r.Q), amount(r.P)
		out.NextLo, out.NextHi = amount(percent(r.PredictionLo)), amount(percent(r.PredictionHi))
	}
	for i := range a.Rows {
		x := &a.Rows[i]
		f := x.Figure
		row := acrossRowJSON{
			x.Campaign, x.Vehicle, x.Dyno, x.Baseline, x.Candidate, x.Verdict,
			amount(percent(f.Gain)), null, null, null, null, x.Used, x.Reason, x.Also, x.Checks,
		}
		if f.Interval {
			row.Lo, row.Hi, row.SE, row.DF = amount(percent(f.Lo)), amount(percent(f.Hi)), amount(100*f.SE), amount(f.DF)
		}
		out.Vehicles = append(out.Vehicles, row)
	}
	data, err := json.MarshalIndent(out, "", "  ")
	return append(data, '\n'), err
}
