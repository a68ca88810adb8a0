package lab

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report"
	"fairpull/simulate"
)

// demoFolder writes the built-in campaign and returns its folder.
func demoFolder(t *testing.T) string {
	t.Helper()
	folder := filepath.Join(t.TempDir(), "campaign")
	if err := WriteDemo(folder); err != nil {
		t.Fatal(err)
	}
	return folder
}

func mustBudget(t *testing.T, q BudgetQuery) *report.Budget {
	t.Helper()
	if q.Draws == 0 {
		q.Draws = 40_000
	}
	b, err := Budget(t.Context(), nil, q)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func budgetRow(t *testing.T, f *report.BudgetFigure, key string) report.BudgetRow {
	t.Helper()
	for _, r := range f.Rows {
		if r.Key == key {
			return r
		}
	}
	t.Fatalf("no row %q", key)
	return report.BudgetRow{}
}

func within(t *testing.T, what string, got, want, by float64) {
	t.Helper()
	if !(math.Abs(got-want) <= by) {
		t.Errorf("%s: got %.8g; want %.8g ± %.2g", what, got, want, by)
	}
}

// known states every source, in the words of a file.
const known = `format = "fairpull.uncertainty/1"

[[source]]
what = "drum_speed"
u = 0.1
unit = "%"
note = "counter, certificate"

[[source]]
what = "engine_speed"
within = 0.2
unit = "%"

[[source]]
what = "pressure"
u = 0.1
unit = "kPa"
shared = 1
degrees_of_freedom = 50

[[source]]
what = "temperature"
within = 1.0
unit = "°C"
distribution = "triangular"
shared = 0.5

[[source]]
what = "humidity"
u = 3
unit = "%"
shared = 0

[[source]]
what = "bare_drum"
u = 10
unit = "%"

[[source]]
what = "other"
u = 0.2
unit = "%"
shared = 0.75
note = "belt tension"
`

// Where nothing is stated beside the campaign, the interval of a gain is the gain's
// own, for all three figures: the drum's inertia drops out of it.
func TestBudgetOfAGainIsItsInterval(t *testing.T) {
	b := mustBudget(t, BudgetQuery{What: demoFolder(t)})
	if len(b.Figures) != 3 {
		t.Fatalf("%d figures", len(b.Figures))
	}
	for i := range b.Figures {
		f := &b.Figures[i]
		own := f.Comparison.Figure(f.Metric)
		within(t, "gain", f.Gain.Value, own.Gain, 1e-9)
		within(t, "standard error", f.Gain.U/own.SE, 1, 1e-4)
		within(t, "degrees of freedom", f.Gain.DF/own.DF, 1, 2e-3)
		within(t, "low end", f.Gain.Lo, own.Lo, 2e-4*own.SE)
		within(t, "high end", f.Gain.Hi, own.Hi, 2e-4*own.SE)
		within(t, "baseline level", f.Baseline.Value/own.BaselineLevel, 1, 1e-9)
		within(t, "candidate level", f.Candidate.Value/own.CandidateLevel, 1, 1e-9)
		inertia := budgetRow(t, f, sourceInertia)
		if u := 0.11 / 15; !(inertia.Baseline > 0.98*u && inertia.Baseline <= u) || inertia.Gain > 2e-3*u || inertia.Drops() < 0.9999 {
			t.Errorf("drum inertia: %+v", inertia)
		}
		sum := 0.0
		for _, r := range f.Rows {
			if r.PartOf == "" {
				sum += r.Gain * r.Gain
			}
		}
		within(t, "squares of the rows", math.Sqrt(sum)/f.Gain.U, 1, 1e-9)
		if f.Gain.Digits < 1 || f.Baseline.Digits < 1 {
			t.Errorf("first order holds to %d and %d digits", f.Gain.Digits, f.Baseline.Digits)
		}
	}
	if len(b.NotStated) != 6 || !strings.Contains(strings.Join(b.NotStated, ","), "barometer") {
		t.Errorf("not stated: %q", b.NotStated)
	}
}

// Each stated source has the part that the physics gives it, worked out by hand: for
// torque from inertia almost alone the scale of drum speed counts twice; the
// correction factor of SAE J1349 (1990 form), 1.18·(990/pd)·√(T/298) − 0.18, goes by
// −1.18·(990/pd)·√(T/298)/pd with dry pressure.
func TestBudgetOfStatedSources(t *testing.T) {
	list, err := parseKnown([]byte(known))
	if err != nil {
		t.Fatal(err)
	}
	b := mustBudget(t, BudgetQuery{What: demoFolder(t), Known: list})
	for i := range b.Figures {
		f := &b.Figures[i]
		inertia := budgetRow(t, f, sourceInertia).Baseline / (0.11 / 15) // part of the torque that is inertia's
		speed := budgetRow(t, f, sourceDrumSpeed)
		within(t, "scale of drum speed", speed.Baseline, 0.001*(1+inertia), 1e-8)
		bare := budgetRow(t, f, sourceBare)
		within(t, "bare drum", bare.Baseline, 0.1*(1-inertia), 1e-6)
		other := budgetRow(t, f, "other 1")
		within(t, "other", other.Candidate, 0.002, 1e-9)
		within(t, "other in the gain", other.Gain, 0.002*math.Sqrt(2*0.25), 1e-9)
		pressure := budgetRow(t, f, sourcePressure)
		if !(pressure.Baseline > 0.0010 && pressure.Baseline < 0.0014) || pressure.Drops() < 0.999 {
			t.Errorf("barometer, ± 0.1 kPa of about 98: %+v", pressure)
		}
		temperature := budgetRow(t, f, sourceTemperature)
		if half := 1 - 0.5; math.Abs(temperature.Drops()-half) > 0.02 {
			t.Errorf("thermometer, half shared, drops out by %g", temperature.Drops())
		}
		humidity := budgetRow(t, f, sourceHumidity)
		if math.Abs(humidity.Drops()) > 0.02 || !(humidity.Baseline > 0) {
			t.Errorf("hygrometer, not shared: %+v", humidity)
		}
	}
	engine := [3]float64{}
	for i := range b.Figures {
		engine[i] = budgetRow(t, &b.Figures[i], sourceEngineSpeed).Baseline
	}
	within(t, "engine speed at the peak of torque", engine[1], 0.002/math.Sqrt(3), 1e-9)
	within(t, "engine speed at the peak of power", engine[2], 0, 1e-12)
	if len(b.NotStated) != 0 {
		t.Errorf("not stated: %q", b.NotStated)
	}
}

// By hand, for the first figure's baseline: d ln CF/d p at the mean air.
func TestBudgetOfTheBarometer(t *testing.T) {
	folder := demoFolder(t)
	list := []KnownSource{{What: sourcePressure, U: 100, DF: math.Inf(1), Shared: 0, Shape: 1}}
	b := mustBudget(t, BudgetQuery{What: folder, Known: list})
	a, err := Gain(t.Context(), folder, nil)
	if err != nil {
		t.Fatal(err)
	}
	if a.Standard.Name != "SAE J1349" {
		t.Fatalf("the demo is corrected by %s", a.Standard.Name)
	}
	var dry, kelvin, n float64
	for _, p := range usedPulls(a.Pulls) {
		if p.Configuration == "A" {
			dry, kelvin, n = dry+float64(p.Air.Dry()), kelvin+float64(p.Air.Temperature), n+1
		}
	}
	dry, kelvin = dry/n, kelvin/n
	main := 1.18 * (99_000 / dry) * math.Sqrt((kelvin-273.15+273)/298)
	want := 100 * main / dry / (main - 0.18)
	within(t, "part of the barometer", budgetRow(t, &b.Figures[0], sourcePressure).Baseline, want, 2e-3*want)
}

// A calibration of the rig in the workspace is what the budget takes; where it
// changed between the sides its doubt does not drop out.
func TestBudgetTakesCalibrations(t *testing.T) {
	s := simulate.Default()
	s.Plan.Order = "ABA"
	s.Logger.Sampled.Rate = 60
	w := newWorkspace(t)
	putScenario(t, w, s)
	first := Calibration{Dyno: s.Dyno.ID, ValidFrom: s.Plan.Start.AddDate(0, -1, 0), DrumInertia: 15, DrumInertiaU: 0.15, Parasitic: [3]float64{0.8, 0.004, 0}, ParasiticU: [3]float64{0.1, 0, 0}}
	if _, err := w.Calibrate(t.Context(), first, anna); err != nil {
		t.Fatal(err)
	}
	b, err := Budget(t.Context(), w, BudgetQuery{What: s.ID, Draws: 20_000})
	if err != nil {
		t.Fatal(err)
	}
	row := budgetRow(t, &b.Figures[0], sourceInertia)
	if !(row.Baseline > 0.0098 && row.Baseline <= 0.01) || row.Drops() < 0.9999 {
		t.Errorf("one calibration: %+v", row)
	}
	if bare := budgetRow(t, &b.Figures[0], sourceBare); !(bare.Baseline > 0) {
		t.Errorf("bare drum: %+v", bare)
	}
	j := mustJudge(t, w, s.ID, true)
	var began time.Time
	for _, p := range j.Pulls {
		if p.Configuration == "B" && (began.IsZero() || p.Started.Before(began)) {
			began = p.Started
		}
	}
	second := first
	second.ValidFrom = began
	if _, err := w.Calibrate(t.Context(), second, anna); err != nil {
		t.Fatal(err)
	}
	if b, err = Budget(t.Context(), w, BudgetQuery{What: s.ID, Draws: 20_000}); err != nil {
		t.Fatal(err)
	}
	if row := budgetRow(t, &b.Figures[0], sourceInertia); row.Drops() > 0.01 {
		t.Errorf("two calibrations: %+v", row)
	}
}

// The same campaign gives the same bytes; what is written names the rows and parses.
func TestBudgetDocuments(t *testing.T) {
	folder := demoFolder(t)
	var texts [2]string
	for k := range texts {
		b := mustBudget(t, BudgetQuery{What: folder, Draws: 20_000, Version: "1"})
		data, err := b.JSON()
		if err != nil {
			t.Fatal(err)
		}
		texts[k] = string(data)
		var out bytes.Buffer
		if err := b.Text(&out, report.TextOptions{Width: 80, Units: quantity.USCustomary}); err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"drum inertia", "drops out", "lbf·ft", "first order", "drawn:", "nobody has stated"} {
			if !strings.Contains(out.String(), want) {
				t.Errorf("the text has no %q:\n%s", want, out.String())
			}
		}
		for _, name := range []string{"b.html", "b.pdf", "b.svg", "b.png"} {
			if err := WriteDocument(b, filepath.Join(t.TempDir(), name), false, quantity.SI); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
	if texts[0] != texts[1] {
		t.Error("two budgets of one campaign differ")
	}
	var back struct {
		Format  string
		Figures []struct {
			Figure string
			Gain   struct {
				Digits int `json:"first_order_holds_to_digits"`
			} `json:"ln_gain"`
			Rows []struct {
				Source string
				Drops  *float64 `json:"drops_out"`
			}
		}
	}
	if err := json.Unmarshal([]byte(texts[0]), &back); err != nil {
		t.Fatal(err)
	}
	if back.Format != "fairpull.budget/1" || len(back.Figures) != 3 || back.Figures[0].Rows[0].Source != sourceInertia || *back.Figures[0].Rows[0].Drops < 0.9999 {
		t.Errorf("%+v", back)
	}
}

func TestParseKnownRefuses(t *testing.T) {
	if _, err := parseKnown([]byte(known)); err != nil {
		t.Fatal(err)
	}
	head := "format = \"fairpull.uncertainty/1\"\n[[source]]\n"
	for name, text := range map[string]string{
		"another format":      "format = \"x\"\n",
		"nothing":             "format = \"fairpull.uncertainty/1\"\n",
		"unknown source":      head + "what = \"luck\"\nu = 1\nunit = \"%\"\n",
		"unknown key":         head + "what = \"brake\"\nuu = 1\n",
		"neither":             head + "what = \"brake\"\nunit = \"%\"\n",
		"both":                head + "what = \"brake\"\nu = 1\nwithin = 1\nunit = \"%\"\n",
		"no unit":             head + "what = \"brake\"\nu = 1\n",
		"wrong unit":          head + "what = \"pressure\"\nu = 1\nunit = \"K\"\nshared = 1\n",
		"not shared":          head + "what = \"pressure\"\nu = 1\nunit = \"kPa\"\n",
		"shared beyond 1":     head + "what = \"pressure\"\nu = 1\nunit = \"kPa\"\nshared = 2\n",
		"below zero":          head + "what = \"brake\"\nu = -1\nunit = \"%\"\n",
		"NaN":                 head + "what = \"brake\"\nu = nan\nunit = \"%\"\n",
		"the whole":           head + "what = \"brake\"\nu = 100\nunit = \"%\"\n",
		"t without an end":    head + "what = \"brake\"\nu = 1\nunit = \"%\"\ndistribution = \"t\"\n",
		"limits of a normal":  head + "what = \"brake\"\nwithin = 1\nunit = \"%\"\ndistribution = \"normal\"\n",
		"no distribution":     head + "what = \"brake\"\nu = 1\nunit = \"%\"\ndistribution = \"flat\"\n",
		"degrees of freedom":  head + "what = \"brake\"\nu = 1\nunit = \"%\"\ndegrees_of_freedom = 0\n",
		"twice":               head + "what = \"brake\"\nu = 1\nunit = \"%\"\n[[source]]\nwhat = \"brake\"\nu = 1\nunit = \"%\"\n",
		"too flat":            head + "what = \"brake\"\nwithin = 1\nunit = \"%\"\ndistribution = \"trapezoidal\"\nflat = 2\n",
		"not the file's form": "[[[",
	} {
		if list, err := parseKnown([]byte(text)); err == nil {
			t.Errorf("%s: %+v", name, list)
		}
	}
	file := filepath.Join(t.TempDir(), "known.toml")
	if err := os.WriteFile(file, []byte(known), 0o600); err != nil {
		t.Fatal(err)
	}
	list, err := ReadKnown(file)
	if err != nil || len(list) != 7 {
		t.Fatalf("%d sources, %v", len(list), err)
	}
	for _, k := range list {
		want := map[string]float64{sourceDrumSpeed: 0.001, sourceEngineSpeed: 0.002 / math.Sqrt(3), sourcePressure: 100, sourceTemperature: 1 / math.Sqrt(6), sourceHumidity: 0.03, sourceBare: 0.1, sourceOther: 0.002}[k.What]
		within(t, k.What, k.U, want, 1e-12)
	}
}

// A gain without an interval has no budget, and its levels say that their scatter is
// not known.
func TestBudgetWithoutAnInterval(t *testing.T) {
	s := simulate.Default()
	s.Plan.Order, s.Plan.PullsPerBlock, s.History = "AB", 1, nil
	s.Logger.Sampled.Rate = 60
	folder := filepath.Join(t.TempDir(), "campaign")
	files, err := s.Files()
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range files {
		file := filepath.Join(folder, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	b := mustBudget(t, BudgetQuery{What: folder})
	for i := range b.Figures {
		f := &b.Figures[i]
		if f.Comparison.Figure(compare.Band).Interval {
			t.Fatal("one pull of each side has an interval")
		}
		if f.Missing == "" && (f.Gain.Known || f.Baseline.Known) {
			t.Errorf("%+v", f)
		}
	}
	var out bytes.Buffer
	if err := b.Text(&out, report.TextOptions{Width: 80, Units: quantity.SI}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "no interval") {
		t.Error(out.String())
	}
}

// Steady points rest on the brake: its arm has nearly all of the level, the drum's
// inertia next to nothing.
func TestBudgetOfSteadyPoints(t *testing.T) {
	folder, _, _ := simulated(t, heldScenario(t, "ABA"))
	defer folder.Close()
	a, err := Analyse(t.Context(), folder, Options{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := a.Budget(t.Context(), BudgetQuery{Draws: 10_000, Known: []KnownSource{{What: sourceBrake, U: 0.01, DF: math.Inf(1), Shared: 1, Shape: 1}}})
	if err != nil {
		t.Fatal(err)
	}
	f := &b.Figures[0]
	brake := budgetRow(t, f, sourceBrake)
	if !(brake.Baseline > 0.008 && brake.Baseline <= 0.0102) || brake.Drops() < 0.999 {
		t.Errorf("brake: %+v", brake)
	}
	for _, r := range f.Rows {
		if r.Key == sourceInertia && r.Baseline > 1e-3 {
			t.Errorf("drum inertia: %+v", r)
		}
	}
}
