package lab

import (
	"bytes"
	"encoding/json"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fairpull/compare"
	"fairpull/ingest"
	"fairpull/quantity"
	"fairpull/report"
)

// stepped writes a campaign folder of several candidates: configurations are lists of
// components by id, besides the baseline's; gains are ln. Scatter is a tenth of a per
// cent without chance.
func stepped(t testing.TB, order string, components map[string]string, gains map[string]float64) string {
	t.Helper()
	v := invented{id: "steps", vehicle: "twin-01", begun: inventedDay(0)}
	for b, c := range order {
		id := string(c)
		block := inventedBlock{configuration: id}
		for i := range 3 {
			block.levels = append(block.levels, gains[id]+0.0005*math.Sin(float64(7*b+3*i)))
		}
		v.blocks = append(v.blocks, block)
	}
	files := v.folder()
	text := string(files[ingest.CampaignFile].Data)
	from, to := strings.Index(text, "[[configuration]]\nid = \"B\""), strings.Index(text, "[history]")
	candidates := ""
	for _, id := range slices.Sorted(keysOf(components)) {
		candidates += "[[configuration]]\nid = \"" + id + "\"\nrole = \"candidate\"\ncomponents = [ " + components[id] + " ]\n"
	}
	files[ingest.CampaignFile].Data = []byte(text[:from] + candidates + text[to:])
	dir := filepath.Join(t.TempDir(), v.id)
	writeTree(t, dir, files)
	return dir
}

func keysOf(m map[string]string) func(func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

const (
	stockExhaust = `{ function = "exhaust", part = "OEM 90" }`
	stockCam     = `{ function = "camshaft", part = "OEM 14" }`
	ownExhaust   = `{ function = "exhaust", part = "S-2" }`
	ownCam       = `{ function = "camshaft", part = "K-9", serial = "7" }`
	ownIntake    = `{ function = "intake", part = "I-3" }`
)

// A ladder is found from the parts; each step has the gain over the one before it and
// over stock, and they add up.
func TestStepsOfALadder(t *testing.T) {
	gains := map[string]float64{"B": 0.02, "C": 0.05, "D": 0.055}
	dir := stepped(t, "ADCBABCDA", map[string]string{
		"B": ownExhaust + ", " + stockCam, "D": ownExhaust + ", " + ownCam + ", " + ownIntake, "C": ownExhaust + ", " + ownCam,
	}, gains)
	view, err := Steps(t.Context(), nil, StepsQuery{Campaign: dir})
	if err != nil {
		t.Fatal(err)
	}
	if len(view.Ladder) != 3 || len(view.Effects) != 3 {
		t.Fatalf("%d steps, %d effects", len(view.Ladder), len(view.Effects))
	}
	before, sum := "A", 0.0
	for i, id := range []string{"B", "C", "D"} {
		s := &view.Ladder[i]
		sum += s.Over.Band.Gain
		if s.ID != id || s.Over.Baseline != before || s.Over.Candidate != id || s.Stock.Baseline != "A" || s.Stock.Candidate != id {
			t.Errorf("step %d: %s, %s over %s", i, s.ID, s.Over.Candidate, s.Over.Baseline)
		}
		if math.Abs(s.Over.Band.Gain-(gains[id]-gains[before])) > 0.001 || math.Abs(sum-s.Stock.Band.Gain) > 1e-12 {
			t.Errorf("step %s gives %g over %s; the steps sum to %g, over stock it is %g", id, s.Over.Band.Gain, before, sum, s.Stock.Band.Gain)
		}
		before = id
	}
	if got := view.Ladder[1]; got.Over.Verdict != compare.GainShown || !slices.Equal(got.Changed, []string{"camshaft K-9"}) {
		t.Errorf("%s %v: %v", got.Over.Verdict, got.Over.Reasons, got.Changed)
	}
	if got := view.Effects[0]; !slices.Equal(got.Parts, []string{"camshaft K-9"}) || got.Rests != "C − B" {
		t.Errorf("%v, %s", got.Parts, got.Rests)
	}
	turned, err := Steps(t.Context(), nil, StepsQuery{Campaign: dir, Order: []string{"C", "B"}})
	if err != nil {
		t.Fatal(err)
	}
	if s := turned.Ladder[1]; s.Over.Baseline != "C" || math.Abs(s.Over.Band.Gain+0.03) > 0.001 || !slices.Equal(s.Changed, []string{"without camshaft K-9"}) {
		t.Errorf("%s over %s: %g, %v", s.ID, s.Over.Baseline, s.Over.Band.Gain, s.Changed)
	}
	for want, order := range map[string][]string{`"X"`: {"X"}, "twice": {"B", "B"}, `"A"`: {"A"}} {
		if _, err := Steps(t.Context(), nil, StepsQuery{Campaign: dir, Order: order}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: %v", order, err)
		}
	}
}

// Two parts in four combinations are no ladder, and tell what each does and what they
// do together: 3 %, 2 % and 2 % by how the campaign was made.
func TestStepsOfCombinations(t *testing.T) {
	dir := stepped(t, "ADCBABCDA", map[string]string{
		"B": ownExhaust + ", " + stockCam, "C": stockExhaust + ", " + ownCam, "D": ownExhaust + ", " + ownCam,
	}, map[string]float64{"B": 0.02, "C": 0.01, "D": 0.05})
	view, err := Steps(t.Context(), nil, StepsQuery{Campaign: dir, Version: "0"})
	if err != nil {
		t.Fatal(err)
	}
	if len(view.Ladder) != 0 || len(view.Effects) != 3 {
		t.Fatalf("%d steps, %d effects", len(view.Ladder), len(view.Effects))
	}
	for i, want := range []struct {
		parts []string
		rests string
		gain  float64
	}{
		{[]string{"camshaft K-9"}, "(C + D − A − B)/2", 0.02},
		{[]string{"exhaust S-2"}, "(B + D − A − C)/2", 0.03},
		{[]string{"camshaft K-9", "exhaust S-2"}, "A + D − B − C", 0.02},
	} {
		e := view.Effects[i]
		if !slices.Equal(e.Parts, want.parts) || e.Rests != want.rests || math.Abs(e.Effect.Band.Gain-want.gain) > 0.001 || e.Effect.Verdict != compare.GainShown {
			t.Errorf("%v by %s: %g, %s %v", e.Parts, e.Rests, e.Effect.Band.Gain, e.Effect.Verdict, e.Effect.Reasons)
		}
	}
	var text bytes.Buffer
	if err := view.Text(&text, report.TextOptions{Width: 100, Units: quantity.SI}); err != nil {
		t.Fatal(err)
	}
	flat := strings.Join(strings.Fields(text.String()), " ")
	for _, want := range []string{"no ladder", "together, beyond what each gives by itself: +2.0", "shown to help one another", "(A + D − B − C)"} {
		if !strings.Contains(flat, want) {
			t.Errorf("the text has no %q:\n%s", want, text.String())
		}
	}
	sameInEveryForm(t, view)
}

// sameInEveryForm holds page and JSON against the view: the same figures, rounded as
// the page rounds them, and the same bytes each time.
func sameInEveryForm(t *testing.T, view *report.Steps) {
	t.Helper()
	data, err := view.JSON()
	if err != nil {
		t.Fatal(err)
	}
	var out struct {
		Format  string
		Effects []struct {
			Gain    float64 `json:"gain_pct"`
			AtLeast float64 `json:"at_least_pct"`
			Weights map[string]float64
		}
	}
	if err := json.Unmarshal(data, &out); err != nil {
		t.Fatal(err)
	}
	var page bytes.Buffer
	for name, write := range map[string]func(*bytes.Buffer) error{
		"html": func(b *bytes.Buffer) error { return view.HTML(b, quantity.SI) }, "pdf": func(b *bytes.Buffer) error { return view.PDF(b, quantity.SI) },
		"svg": func(b *bytes.Buffer) error { return view.SVG(b, quantity.SI) }, "png": func(b *bytes.Buffer) error { return view.PNG(b, quantity.SI) },
	} {
		var one, two bytes.Buffer
		if err := write(&one); err != nil {
			t.Fatal(name, err)
		}
		if err := write(&two); err != nil || !bytes.Equal(one.Bytes(), two.Bytes()) || one.Len() < 1000 {
			t.Errorf("%s: %v, %d bytes", name, err, one.Len())
		}
		if name == "html" {
			page = one
		}
	}
	for i, e := range view.Effects {
		f := e.Effect.Band
		if out.Format != "fairpull.steps/1" || out.Effects[i].Gain != 100*math.Expm1(f.Gain) || out.Effects[i].AtLeast != 100*math.Expm1(f.AtLeast) || len(out.Effects[i].Weights) != 4 {
			t.Errorf("%v in JSON: %+v", e.Parts, out.Effects[i])
		}
		rounded, _ := quantity.RoundDown(100*math.Expm1(f.AtLeast), 1)
		if !strings.Contains(page.String(), ">"+rounded+"<") {
			t.Errorf("the page's table has no %s", rounded)
		}
	}
}

// What withholds the verdict of a configuration withholds that of a step that it is
// part of, and of an effect that it is weighed in.
func TestStepsWithheld(t *testing.T) {
	dir := stepped(t, "ADCBABCDA", map[string]string{
		"B": ownExhaust + ", " + stockCam, "C": ownExhaust + ", " + ownCam, "D": stockExhaust + ", " + ownCam,
	}, map[string]float64{"B": 0.02, "C": 0.05, "D": 0.03})
	a, err := Gain(t.Context(), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range a.Checks {
		a.Checks[i].Withholds = nil
	}
	a.Checks[0].Withholds = []string{"B"}
	step := compare.Comparison{Baseline: "B", Candidate: "C"}
	if !a.stepDoubts(&step, "B").OpenFail || a.stepDoubts(&step, "D").OpenFail {
		t.Error("a step from B, whose check is open, is not withheld, or one from D is")
	}
	if !a.effectDoubts(map[string]float64{"B": -0.5, "C": 0.5}).OpenFail || a.effectDoubts(map[string]float64{"C": 1, "A": -1}).OpenFail {
		t.Error("an effect that weighs B is not withheld, or one that does not is")
	}
}

// Ladders and effects that a set of configurations tells, worked out by hand.
func TestLadderAndEffects(t *testing.T) {
	for _, c := range []struct {
		sets   map[string][]string
		ladder string
		tells  string // effects and their contrasts
	}{
		{map[string][]string{"A": nil, "B": {"x"}}, "B", ""},
		{map[string][]string{"A": nil, "B": {"x", "y"}, "C": {"x", "y", "z"}}, "B C", "x with y: B − A; z: C − B"},
		{map[string][]string{"A": nil, "B": {"x"}, "C": {"y"}}, "", "x: B − A; y: C − A"},
		{map[string][]string{"A": nil, "B": {"x"}, "C": {"x"}}, "", ""},
		{map[string][]string{"A": nil, "B": {"x"}, "C": nil}, "", ""},
		{map[string][]string{"A": nil, "B": {"x"}, "C": {"y"}, "D": {"x", "y"}, "E": {"z"}, "F": {"x", "z"}, "G": {"y", "z"}, "H": {"x", "y", "z"}}, "",
			"x: (B + D + F + H − A − C − E − G)/4; y: (C + D + G + H − A − B − E − F)/4; z: (E + F + G + H − A − B − C − D)/4; " +
				"x, y: (A + D + E + H − B − C − F − G)/2; x, z: (A + C + F + H − B − D − E − G)/2; y, z: (A + B + G + H − C − D − E − F)/2"},
	} {
		var tells []string
		for _, e := range effectsOf(c.sets) {
			tells = append(tells, strings.Join(e.parts, ", ")+": "+weightsWords(e.contrast.Weights))
		}
		if got := strings.Join(ladderOf(c.sets), " "); got != c.ladder || strings.Join(tells, "; ") != c.tells {
			t.Errorf("%v:\n ladder %q, not %q\n %s\n %s", c.sets, got, c.ladder, strings.Join(tells, "; "), c.tells)
		}
	}
}
