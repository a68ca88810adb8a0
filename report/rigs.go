package report

import (
	"math"
	"time"

	"fairpull/campaign"
	"fairpull/compare"
)

// Rigs is what several rigs read of one vehicle in one configuration, a campaign each.
type Rigs struct {
	Vehicle       string
	Configuration campaign.Configuration // as the first campaign has it
	Confidence    float64
	BandRPM       [2]float64 // both 0: all engine speeds that the campaigns share
	AtCrank       bool
	Rigs          []RigRow
	Biases        []RigsBias       // of each rig but the first, against the first
	Evaluations   []RigsEvaluation // of three rigs and more: over the band, then at some speeds
	Cautions      []string         // in what the campaigns differ
	Version       string           // of the program
}

// RigRow is one rig with its campaign.
type RigRow struct {
	Campaign, Dyno, Configuration, Standard string

	Level                 *compare.RigLevel
	Factor                float64 // correction factor, as the level weighs its blocks
	Pressure, Temperature float64 // mean of the air, Pa and K; NaN: not known
	First, Last           time.Time
	History               bool // earlier work tells of its scatter
	Checks                []string
	// CalibrationU is the relative standard uncertainty that the calibration leaves in
	// the level over the band, NodeU at each node; 0: nothing is stated. NotStated says of
	// what nobody stated it.
	CalibrationU float64
	NodeU        []float64
	NotStated    []string
}

// RigsBias is a bias with its interval once the doubt of both calibrations is added.
type RigsBias struct {
	compare.RigBias
	Stated    bool // both rigs state something of their calibration
	WithBand  [2]float64
	WithNodes [][2]float64
}

// RigsEvaluation is the evaluation of ISO 5725-2 over the band (RPM 0) or at an engine
// speed. Result is nil where there is none, for the reason Why.
type RigsEvaluation struct {
	RPM    float64
	Result *RigsTogether
	Why    string
}

// RigsTogether is what the standard says of all rigs, on the log scale: the SD of a setup
// on one rig and from rig to rig, and the part between the rigs alone; Mandel's h and k of
// each rig (k NaN with one setup); what stands out.
type RigsTogether struct {
	Repeatability, Reproducibility, Between float64
	H, K                                    []float64
	Flags                                   []RigsFlag
}

// RigsFlag is one rig, or two, by their place, beyond the 5 % limit of a test; Outlier:
// beyond that of 1 %.
type RigsFlag struct {
	Test                      string
	Rigs                      []int
	Statistic, Limit5, Limit1 float64
	Outlier                   bool
}

func (r *Rigs) title() string {
	return plural(len(r.Rigs), "rig") + ", one vehicle: " + clean(r.Vehicle) + labelled(" in configuration ", clean(r.Configuration.ID))
}

func (r *Rigs) subtitle() string {
	of := "Torque at the wheel"
	if r.AtCrank {
		of = "Torque at the crank"
	}
	return of + ", each rig against " + clean(r.Rigs[0].Dyno) + ", with " + confidence(r.Confidence) + " intervals" + labelled(" over ", r.bandWords()) + "."
}

func (r *Rigs) bandWords() string {
	if r.BandRPM == [2]float64{} {
		return "all engine speeds that the campaigns share"
	}
	return "the riding band " + span(r.BandRPM)
}

// Sentences answer the question: by how much the rigs differ, whether their calibrations
// allow it, and how they stand together.
func (r *Rigs) Sentences() []string {
	var out []string
	for i := range r.Biases {
		out = append(out, r.biasSentence(i))
		if s := r.calibrationSentence(i); s != "" {
			out = append(out, s)
		}
	}
	if len(r.Evaluations) > 0 {
		out = append(out, r.Evaluations[0].sentence(r))
	}
	return out
}

func (r *Rigs) biasSentence(i int) string {
	b, first, second := &r.Biases[i], &r.Rigs[0], &r.Rigs[i+1]
	if !b.HasBand {
		return "The campaigns do not cover the whole riding band together, so " + clean(second.Dyno) + " has no bias over it against " + clean(first.Dyno) + "; see each engine speed."
	}
	g := gainWords(b.Bias, b.Lo, b.Hi, math.NaN(), b.Interval)
	s := clean(second.Dyno) + " reads " + g.Size + " % "
	if b.Bias < 0 {
		s += "less"
	} else {
		s += "more"
	}
	s += " than " + clean(first.Dyno) + " over the riding band"
	switch {
	case !b.Interval:
		return s + ", without an interval: " + r.unknown(first, second) + "."
	case b.Lo > 0 || b.Hi < 0:
		return s + " (" + confidence(r.Confidence) + " interval of the difference " + g.Interval + "): a bias is shown."
	}
	return s + " (" + confidence(r.Confidence) + " interval of the difference " + g.Interval + "): no bias is shown, and one as large as either end is not ruled out."
}

// unknown says why a bias has no interval.
func (r *Rigs) unknown(rows ...*RigRow) string {
	var words []string
	for _, x := range rows {
		if !x.Level.Known {
			words = append(words, string(x.Level.Reason)+" on "+clean(x.Dyno))
		}
	}
	return list(words)
}

// calibrationSentence says whether the calibrations allow the difference.
func (r *Rigs) calibrationSentence(i int) string {
	b, first, second := &r.Biases[i], &r.Rigs[0], &r.Rigs[i+1]
	if !b.HasBand || !b.Interval {
		return ""
	}
	if !b.Stated {
		var words []string
		for _, x := range []*RigRow{first, second} {
			if x.CalibrationU == 0 {
				words = append(words, clean(x.Dyno))
			}
		}
		return "Nobody stated how uncertain the calibration of " + list(words) + " is, so whether it allows the difference cannot be said."
	}
	g := gainWords(b.Bias, b.WithBand[0], b.WithBand[1], math.NaN(), true)
	s := "The calibrations leave " + fixed(100*first.CalibrationU, 2) + " % open on " + clean(first.Dyno) + " and " + fixed(100*second.CalibrationU, 2) + " % on " + clean(second.Dyno) + " (standard uncertainties). With that the interval is " + g.Interval
	if b.WithBand[0] > 0 || b.WithBand[1] < 0 {
		s += " and leaves out zero: a calibration is off by more than it states, or the vehicle changed between the campaigns"
		if len(r.Cautions) > 0 {
			s += ", or it comes of what the campaigns differ in (see below)"
		}
		return s + "."
	}
	return s + " and holds zero: the rigs agree as far as their calibrations reach."
}

// sentence words an evaluation of the standard.
func (e *RigsEvaluation) sentence(r *Rigs) string {
	where := "Over the riding band"
	if e.RPM > 0 {
		where = "At " + plain(e.RPM) + " rpm"
	}
	if e.Result == nil {
		return where + " there is no evaluation of all rigs together: " + clean(e.Why) + "."
	}
	l := e.Result
	s := where + " a setup scatters by " + fixed(100*l.Repeatability, 2) + " % on one rig and by " + fixed(100*l.Reproducibility, 2) + " % from rig to rig (SD, ISO 5725-2)"
	if len(l.Flags) == 0 {
		return s + "; no rig stands out, and none is left out."
	}
	var words []string
	for _, f := range l.Flags {
		words = append(words, r.flagWords(f))
	}
	return s + "; what stands out stays in: " + list(words) + "."
}

func (r *Rigs) flagWords(f RigsFlag) string {
	var names []string
	for _, i := range f.Rigs {
		names = append(names, clean(r.Rigs[i].Dyno))
	}
	kind := "straggler"
	if f.Outlier {
		kind = "outlier"
	}
	return list(names) + " (" + f.Test + " " + fixed(f.Statistic, 2) + ", " + kind + ")"
}

// cautions say what the figures rest on.
func (r *Rigs) cautions() []string {
	out := append([]string{}, r.Cautions...)
	out = append(out, "What the vehicle itself changed between the campaigns is in the bias and in no interval: "+r.apart()+".",
		"The interval holds the scatter of setups and pulls on both rigs, and what the correction for the air may be wrong by. It is that of the rigs as they stand; what a calibration may be wrong by is part of the bias, and so widens the second interval only.")
	if len(r.Biases) > 1 {
		out = append(out, "Each interval is right by itself, not all at once; all rest on the same level of "+clean(r.Rigs[0].Dyno)+".")
	}
	return out
}

// apart says how far apart the campaigns were made.
func (r *Rigs) apart() string {
	first, last := r.Rigs[0].First, r.Rigs[0].Last
	for _, x := range r.Rigs[1:] {
		if x.First.Before(first) {
			first = x.First
		}
		if x.Last.After(last) {
			last = x.Last
		}
	}
	return "from the first to the last pull " + fixed(last.Sub(first).Hours()/24, 1) + " days went by"
}

// note is what stands beside a rig.
func (x *RigRow) note() string {
	var parts []string
	if !x.Level.Known {
		parts = append(parts, string(x.Level.Reason))
	}
	if x.History {
		parts = append(parts, "scatter of earlier work joined")
	}
	if len(x.NotStated) > 0 {
		parts = append(parts, "not stated how uncertain: "+cleanedList(x.NotStated))
	}
	if len(x.Checks) > 0 {
		parts = append(parts, "checks not passed: "+cleanedList(x.Checks))
	}
	return joined("; ", parts...)
}
