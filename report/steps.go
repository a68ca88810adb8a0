package report

import (
	"bufio"
	"encoding/json"
	"io"
	"strconv"
	"strings"

	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// Steps is a campaign of several candidates read as a ladder, or as combinations of
// parts.
type Steps struct {
	Gain   *Gain  // each candidate over the baseline
	Ladder []Step // in order; empty: the candidates are no ladder
	// Effects are what single parts do, and pairs of parts together, as far as the
	// combinations tested tell.
	Effects []StepEffect
	Version string // of the program
}

// Step is one rung of a ladder.
type Step struct {
	ID      string
	Changed []string           // against the step before
	Over    compare.Comparison // the step over the one before it
	Stock   compare.Comparison // the step over the baseline
}

// StepEffect is the effect of one part, or what two do beyond both.
type StepEffect struct {
	Parts []string // one, or two together
	// Rests names the configurations that it is a contrast of, plus first: "B − A".
	Rests  string
	Effect compare.Effect
}

func (s *Steps) title() string { return "Steps: " + s.Gain.title() }

func (s *Steps) foot() string {
	return joined(" · ", "Made by Fairpull"+labelled(" ", clean(s.Version)), "campaign "+clean(s.Gain.Campaign.ID))
}

// byStep returns the view with the steps over the ones before them as its comparisons.
func (s *Steps) byStep() *Gain {
	g := *s.Gain
	g.Comparisons, g.WithAll = nil, nil
	for i := range s.Ladder {
		g.Comparisons = append(g.Comparisons, s.Ladder[i].Over)
	}
	return &g
}

// Sentence says what the step adds, in the words of every verdict.
func (s *Steps) Sentence(i int) string { return s.Gain.Sentence(&s.Ladder[i].Over) }

// question says what the page answers.
func (s *Steps) question() string {
	c := &s.Gain.Comparisons[0]
	return "Gain in " + s.Gain.quantityName(c.Primary) + s.Gain.scope(c, c.Primary, c.Figure(c.Primary)) + ", at full throttle, with " + confidence(c.Confidence) + " intervals."
}

// words words the effect: what was found, and whether it is shown.
func (e *StepEffect) words() string {
	f := e.Effect.Figure(e.Effect.Primary)
	parts := cleanedList(e.Parts)
	s := capitalised(parts) + ": "
	if len(e.Parts) == 2 {
		s = capitalised(parts) + " together, beyond what each gives by itself: "
	}
	if f.Missing != "" {
		return s + "no figure, because " + because(f.Missing) + "."
	}
	t := gainTextOf(f)
	s += t.Value + " % " + withInterval(&e.Effect.Comparison, t)
	return s + "; " + e.answer() + "."
}

// answer says whether an effect is shown.
func (e *StepEffect) answer() string {
	together := len(e.Parts) == 2
	switch c := &e.Effect.Comparison; {
	case len(c.Reasons) > 0:
		return "nothing is said: " + reasonNames(c)
	case c.Verdict == compare.GainShown && together:
		return "they are shown to help one another"
	case c.Verdict == compare.GainShown:
		return "a gain of its own is shown"
	case c.Verdict == compare.LossShown && together:
		return "they are shown to take from one another"
	case c.Verdict == compare.LossShown:
		return "a loss of its own is shown"
	case c.Verdict == compare.NoDifference && together:
		return "that they act on one another by as much as is of interest is ruled out"
	case c.Verdict == compare.NoDifference:
		return "an effect of interest is ruled out"
	case together:
		return "it is not shown that they act on one another"
	}
	return "no effect of its own is shown"
}

// cautions say how several intervals are to be read.
func (s *Steps) cautions() []string {
	out := []string{
		"All steps rest on one design: they share the baseline's blocks, the drift and the scatter, and each interval is that of its own contrast. On the logarithmic scale the steps add up to the whole gain.",
		"Each interval holds for the contrast that it stands beside. Of many read together some miss: the largest of several is not to be picked for its size.",
	}
	if len(s.Effects) > 0 {
		out = append(out, "A part's own effect is the mean over all pairs of tested configurations that differ in nothing else; what two parts do together is what is left once both effects are multiplied.")
	}
	return append(out, ClaimCautions(nil)[0])
}

// Text writes the steps for a terminal.
func (s *Steps) Text(w io.Writer, o TextOptions) error {
	out := bufio.NewWriter(w)
	para := func(indent int, text string) { writeWrapped(out, text, indent, o.Width) }
	para(0, s.title())
	para(0, s.question())
	if len(s.Ladder) == 0 {
		para(0, "The candidates are no ladder: none of them but the first holds all of another. To read them as one: --order")
	}
	for i := range s.Ladder {
		step := &s.Ladder[i]
		out.WriteString("\n")
		para(0, "Step "+strconv.Itoa(i+1)+", "+s.Gain.side(step.ID)+": "+cleanedList(step.Changed))
		para(2, s.Sentence(i))
		if i > 0 {
			t := gainTextOf(step.Stock.Figure(step.Stock.Primary))
			para(2, "Over "+s.Gain.side(step.Stock.Baseline)+": "+t.Value+" % "+withInterval(&step.Stock, t)+atLeastWords(&step.Stock, t)+".")
		}
	}
	if len(s.Effects) > 0 {
		out.WriteString("\n")
		para(0, "What each part does:")
	}
	for i := range s.Effects {
		para(2, s.Effects[i].words()+" ("+s.Effects[i].Rests+")")
	}
	out.WriteString("\n")
	for _, c := range s.cautions() {
		para(0, c)
	}
	return out.Flush()
}

// atLeastWords adds the at-least figure to one that is shown.
func atLeastWords(c *compare.Comparison, t gainText) string {
	if c.Verdict != compare.GainShown || strings.Trim(t.AtLeast, "0.") == "" {
		return "; " + strings.ToLower(Verdict(c)) + labelled(": ", reasonNames(c))
	}
	return ", at least " + t.AtLeast + " %"
}

type (
	stepsJSON struct {
		Format     string       `json:"format"`
		Campaign   string       `json:"campaign"`
		Figure     string       `json:"figure"`
		Confidence float64      `json:"confidence"`
		Ladder     []stepJSON   `json:"ladder"`
		Effects    []effectLine `json:"effects"`
	}
	stepJSON struct {
		Configuration string    `json:"configuration"`
		Changed       []string  `json:"changed"`
		Sentence      string    `json:"sentence"`
		OverBefore    stepGains `json:"over_step_before"`
		OverStock     stepGains `json:"over_baseline"`
	}
	stepGains struct {
		Baseline string `json:"baseline"`
		gainFigure
	}
	gainFigure struct {
		Verdict string   `json:"verdict"`
		Gain    amount   `json:"gain_pct"`
		Lo      amount   `json:"lo_pct"`
		Hi      amount   `json:"hi_pct"`
		AtLeast amount   `json:"at_least_pct"`
		SE      amount   `json:"se_pct"`
		DF      amount   `json:"df"`
		Reasons []string `json:"reasons,omitempty"`
	}
	effectLine struct {
		Parts   []string           `json:"parts"`
		Weights map[string]float64 `json:"weights"`
		gainFigure
		Sentence string `json:"sentence"`
	}
)

func figureJSON(c *compare.Comparison) gainFigure {
	f := c.Figure(c.Primary)
	out := gainFigure{Verdict: string(c.Verdict), Gain: null, Lo: null, Hi: null, AtLeast: null, SE: null, DF: null}
	if f.Missing == "" {
		out.Gain = amount(percent(f.Gain))
	}
	if f.Missing == "" && f.Interval {
		out.Lo, out.Hi, out.AtLeast, out.SE, out.DF = amount(percent(f.Lo)), amount(percent(f.Hi)), amount(percent(f.AtLeast)), amount(100*f.SE), amount(f.DF)
	}
	for _, r := range c.Reasons {
		out.Reasons = append(out.Reasons, string(r))
	}
	return out
}

// JSON returns it as one fairpull.steps/1 object, unrounded; se_pct is 100 times the
// standard error on the log scale.
func (s *Steps) JSON() ([]byte, error) {
	c := &s.Gain.Comparisons[0]
	out := stepsJSON{Format: "fairpull.steps/1", Campaign: s.Gain.Campaign.ID, Figure: metricRows[c.Primary].key, Confidence: c.Confidence, Ladder: []stepJSON{}, Effects: []effectLine{}}
	for i := range s.Ladder {
		step := &s.Ladder[i]
		out.Ladder = append(out.Ladder, stepJSON{
			step.ID, step.Changed, s.Sentence(i),
			stepGains{step.Over.Baseline, figureJSON(&step.Over)}, stepGains{step.Stock.Baseline, figureJSON(&step.Stock)},
		})
	}
	for i := range s.Effects {
		e := &s.Effects[i]
		out.Effects = append(out.Effects, effectLine{e.Parts, e.Effect.Weights, figureJSON(&e.Effect.Comparison), e.words()})
	}
	data, err := json.MarshalIndent(out, "", "  ")
	return append(data, '\n'), err
}

// HTML writes the steps as one page that stands alone.
func (s *Steps) HTML(w io.Writer, units quantity.System) error {
	return writePage(w, s.title(), s.question(), s.foot(), s.blocks(onScreen, units))
}

// PDF writes the same on A4, or on Letter for who reads US customary units.
func (s *Steps) PDF(w io.Writer, units quantity.System) error {
	return writePaper(w, s.title(), s.question(), s.foot(), s.Version, s.blocks(onPaper, units), units)
}

// SVG writes the picture of the steps alone: gains are in per cent in any units.
func (s *Steps) SVG(w io.Writer, _ quantity.System) error { return draw.SVG(w, s.picture(), false) }

// PNG writes the same picture in pixels.
func (s *Steps) PNG(w io.Writer, _ quantity.System) error {
	return draw.PNG(w, s.picture(), pixelsPerPoint)
}
