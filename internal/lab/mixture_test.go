package lab

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fairpull/quantity"
	"fairpull/report"
	"fairpull/simulate"
)

// tuningSession writes a session with known truth to a folder and returns both.
func tuningSession(t testing.TB, change func(*simulate.Tuning)) (string, simulate.Tuning) {
	t.Helper()
	u := simulate.DefaultTuning()
	u.Seconds = 900
	if change != nil {
		change(&u)
	}
	files, err := u.Files()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for name, data := range files {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir, u
}

func askMixture(t testing.TB, q MixtureQuery) *report.Mixture {
	t.Helper()
	m, err := Mixture(context.Background(), q)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// cellCoverage counts the known cells of an answer and those whose own and smoothed
// intervals hold the truth.
func cellCoverage(m *report.Mixture, truth simulate.TuningTruth) (cells, own, smoothed int) {
	for _, c := range m.Grid.Cells {
		for _, want := range truth.Cells {
			if !c.Known || math.Abs(want.RPM-c.RPM) > 1 || math.Abs(want.Opening-c.Load) > 0.01 {
				continue
			}
			cells++
			if c.Lo <= want.Lambda && want.Lambda <= c.Hi {
				own++
			}
			if c.SmoothLo <= want.Lambda && want.Lambda <= c.SmoothHi {
				smoothed++
			}
		}
	}
	return cells, own, smoothed
}

// TestMixtureTruth: from a session with known truth the cells, the delays of sensor and
// analyser, and the agreement of the two are found again.
func TestMixtureTruth(t *testing.T) {
	dir, u := tuningSession(t, nil)
	m := askMixture(t, MixtureQuery{What: []string{filepath.Join(dir, "before.csv")}, Settings: filepath.Join(dir, "mixture.toml")})
	cells, own, smoothed := cellCoverage(m, u.Truth(nil))
	if cells < 40 || float64(own) < 0.88*float64(cells) || float64(smoothed) < 0.88*float64(cells) {
		t.Errorf("of %d cells %d own and %d smoothed intervals hold the truth", cells, own, smoothed)
	}
	want := map[string]float64{"lambda sensor": u.SensorDead + u.SensorLag, "gas analyser": u.GasDead + u.GasLag}
	for _, d := range m.Delays {
		if !(math.Abs(d.Total-want[d.What]) <= 3*d.U && d.U < 0.06) {
			t.Errorf("%s is %.3f ± %.3f s late, want %.3f s", d.What, d.Total, d.U, want[d.What])
		}
	}
	if m.Gas == nil || !m.Gas.Agrees() || math.Abs(m.Gas.Difference) > 0.003 || m.Gas.Visits < 100 {
		t.Errorf("sensor and gas: %+v", m.Gas)
	}
	for _, c := range m.Grid.Cells {
		switch {
		case c.Known != (c.Visits >= 3):
			t.Errorf("cell %+v", c)
		case c.Known && !(math.Abs(c.Fuel) <= 0.05):
			t.Errorf("a change of fuel of %g", c.Fuel)
		case c.Known && c.Fuel < 0:
			t.Errorf("the session is lean everywhere, and less fuel is asked for: %+v", c)
		}
	}
	n := m.Curves[0].Nodes
	at := slices.IndexFunc(n, func(n report.MixtureNode) bool { return n.RPM == 6000 })
	if at < 0 || !(n[at].AllLo/n[at].Target-1 < 0.07 && n[at].AllHi/n[at].Target-1 > 0.07) {
		t.Errorf("the curve at 6,000 1/min: %+v, truth +7 %%", n[max(at, 0)])
	}
}

// TestMixtureWrongSensor: a sensor that reads 0.05 lean throughout is found out by the gas.
func TestMixtureWrongSensor(t *testing.T) {
	dir, _ := tuningSession(t, func(u *simulate.Tuning) { u.SensorOffset, u.Seconds = 0.05, 300 })
	m := askMixture(t, MixtureQuery{What: []string{filepath.Join(dir, "before.csv")}, Settings: filepath.Join(dir, "mixture.toml")})
	if m.Gas == nil || m.Gas.Agrees() || math.Abs(m.Gas.Difference-0.05) > 0.005 {
		t.Errorf("sensor and gas: %+v", m.Gas)
	}
}

// TestMixtureBeforeAfter: the change of fuel that the session made is found cell by cell.
func TestMixtureBeforeAfter(t *testing.T) {
	dir, u := tuningSession(t, nil)
	m := askMixture(t, MixtureQuery{What: []string{filepath.Join(dir, "after.csv")}, Before: []string{filepath.Join(dir, "before.csv")}, Settings: filepath.Join(dir, "mixture.toml")})
	truth := map[[2]int]float64{}
	for _, c := range u.Truth(nil).Cells {
		off := c.Lambda/u.Target - 1
		truth[[2]int{int(c.RPM), int(math.Round(100 * c.Opening))}] = 1/(1+math.Min(off, 0.05)) - 1
	}
	held, nearer := 0, 0
	for _, c := range m.Changes {
		want, known := truth[[2]int{int(c.RPM), int(math.Round(100 * c.Load))}]
		if !known {
			continue
		}
		if c.Lo <= want && want <= c.Hi {
			held++
		}
		if math.Abs(c.After-c.Target) < math.Abs(c.Before-c.Target) {
			nearer++
		}
	}
	if n := len(m.Changes); n < 30 || float64(held) < 0.87*float64(n) || float64(nearer) < 0.9*float64(n) {
		t.Errorf("of %d cells %d intervals hold the change, %d lie nearer to the target", n, held, nearer)
	}
}

// TestMixtureLoop: best-torque point and curvature are found again.
func TestMixtureLoop(t *testing.T) {
	dir, u := tuningSession(t, func(u *simulate.Tuning) { u.Seconds = 60 })
	m := askMixture(t, MixtureQuery{What: []string{filepath.Join(dir, "loop.csv")}, Settings: filepath.Join(dir, "mixture.toml")})
	if len(m.Loops) != len(u.LoopRPM) {
		t.Fatalf("%d loops, %d were run", len(m.Loops), len(u.LoopRPM))
	}
	for i, l := range m.Loops {
		if math.Abs(l.RPM-u.LoopRPM[i]) > 20 || !l.Within || math.Abs(l.Best-u.Best) > 0.004 || math.Abs(l.Curvature-u.Curvature) > 0.3 || !(l.BestHi-l.BestLo < 0.02) {
			t.Errorf("%+v, want %g and %g", l, u.Best, u.Curvature)
		}
	}
}

// TestMixtureFolder: a candidate that was fuelled richer is found out, and the share of the
// gain that the virtual engine's own answer gives lies within the bounds and, with a loop
// of that answer, within the interval.
func TestMixtureFolder(t *testing.T) {
	s, err := simulate.Named("mixture")
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "campaign")
	if err := s.Write(dir); err != nil {
		t.Fatal(err)
	}
	session, _ := tuningSession(t, func(u *simulate.Tuning) {
		u.Seconds, u.Best, u.Curvature = 60, s.Engine.MixtureBest, s.Engine.MixtureCurvature
	})
	a := s.Configurations[0].Lambda
	b := s.Configurations[1].Lambda + s.Faults[0].Size
	relative := func(x float64) float64 {
		return 1 - s.Engine.MixtureCurvature*(x-s.Engine.MixtureBest)*(x-s.Engine.MixtureBest)
	}
	want := relative(b)/relative(a) - 1
	for _, loops := range [][]string{nil, {filepath.Join(session, "loop.csv")}} {
		m := askMixture(t, MixtureQuery{What: []string{dir}, Loops: loops})
		if len(m.Sides) != 1 || len(m.Curves) != 2 {
			t.Fatalf("%d sides, %d curves", len(m.Sides), len(m.Curves))
		}
		side := m.Sides[0]
		if !(side.Mean.Lo <= b-a && b-a <= side.Mean.Hi) || !side.ByBlock {
			t.Errorf("the difference is %+v, want %.3f", side.Mean, b-a)
		}
		if side.Share == nil || side.Share.Bounds != (loops == nil) || !(side.Share.Lo <= want && want <= side.Share.Hi) {
			t.Errorf("share %+v (%s), want %.4f", side.Share, side.NoShare, want)
		}
		if !strings.Contains(m.Sentence(), "not fuelled alike") {
			t.Error(m.Sentence())
		}
	}
}

// TestMixtureSteadyFolder: where a campaign holds speeds and makes no pull, each held speed
// is a visit.
func TestMixtureSteadyFolder(t *testing.T) {
	s, err := simulate.Named("steady")
	if err != nil {
		t.Fatal(err)
	}
	s.Plan.Order = "ABA"
	s.Configurations[1].Lambda += 0.03
	dir := filepath.Join(t.TempDir(), "campaign")
	if err := s.Write(dir); err != nil {
		t.Fatal(err)
	}
	m := askMixture(t, MixtureQuery{What: []string{dir}})
	if len(m.Sides) != 1 || len(m.Sides[0].Nodes) != len(s.Brake.SpeedsRPM) || math.Abs(m.Sides[0].Mean.Difference-0.03) > 0.001 {
		t.Errorf("%+v", m.Sides)
	}
}

// TestMixtureCheck: the check of a campaign says by how much torque could differ for the
// mixture alone, and the truth of the virtual engine lies within.
func TestMixtureCheck(t *testing.T) {
	s, err := simulate.Named("mixture")
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "campaign")
	if err := s.Write(dir); err != nil {
		t.Fatal(err)
	}
	a, err := Gain(context.Background(), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range a.Checks {
		if k.ID != "mixture-difference" {
			continue
		}
		_, words, found := strings.Cut(k.Message, "something from ")
		var lo, hi float64
		if n, _ := fmt.Sscanf(words, "%f %% to %f %%", &lo, &hi); !found || n != 2 || !(lo < 2 && hi > 2 && hi < 6) {
			t.Errorf("%s; the truth is about +2 %%", k.Message)
		}
		return
	}
	t.Error("there is no check of the mixture")
}

// TestMixtureGasOnly: without a sensor, lambda comes from the gas; without the fuel's
// composition it is refused, with the cure.
func TestMixtureGasOnly(t *testing.T) {
	dir, u := tuningSession(t, func(u *simulate.Tuning) {
		u.GasDead, u.GasLag, u.Hold = 0.5, 0.3, 6
	})
	data, err := os.ReadFile(filepath.Join(dir, "before.csv"))
	if err != nil {
		t.Fatal(err)
	}
	log := filepath.Join(dir, "gas.csv")
	if err := os.WriteFile(log, bytes.Replace(data, []byte(",lambda,"), []byte(",sensor_voltage,"), 1), 0o666); err != nil {
		t.Fatal(err)
	}
	m := askMixture(t, MixtureQuery{What: []string{log}, Settings: filepath.Join(dir, "mixture.toml")})
	cells, own, _ := cellCoverage(m, u.Truth(nil))
	if cells < 20 || float64(own) < 0.85*float64(cells) {
		t.Errorf("of %d cells %d intervals hold the truth", cells, own)
	}
	if _, err := Mixture(context.Background(), MixtureQuery{What: []string{log}}); err == nil || !strings.Contains(err.Error(), "hydrogen_carbon") {
		t.Errorf("without a fuel: %v", err)
	}
}

// TestMixtureWithoutDrum: a log of engine speed, throttle and an air/fuel ratio alone.
func TestMixtureWithoutDrum(t *testing.T) {
	dir := t.TempDir()
	var b strings.Builder
	b.WriteString("time [s];engine_speed [1/min];throttle [%];afr\n")
	for i := range 4000 {
		rpm := 3000 + 1000*float64(i/400%3)
		b.WriteString(strings.Join([]string{fmt.Sprint(float64(i) / 50), fmt.Sprint(rpm), "100", fmt.Sprint(13.23 + 0.05*math.Sin(float64(i)))}, ";") + "\n")
	}
	log := filepath.Join(dir, "engine.csv")
	if err := os.WriteFile(log, []byte(b.String()), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := Mixture(context.Background(), MixtureQuery{What: []string{log}}); err == nil || !strings.Contains(err.Error(), "afr_ratio") {
		t.Fatalf("an air/fuel ratio of a meter that nobody described: %v", err)
	}
	settings := filepath.Join(dir, "s.toml")
	if err := os.WriteFile(settings, []byte("format = \"fairpull.mixture/1\"\n[sensor]\nafr_ratio = 14.7\ndead_s = 0.1\nu_delay_s = 0.05\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	m := askMixture(t, MixtureQuery{What: []string{log}, Settings: settings})
	if n := m.Curves[0].Nodes; len(n) != 3 || math.Abs(n[0].Lambda-0.9) > 1e-3 {
		t.Errorf("%+v", n)
	}
	if !math.IsNaN(m.Stoichiometric) {
		t.Error("an air/fuel ratio would be shown for a fuel that nobody declared")
	}
}

// TestMixtureForms: every form is written; the grid has a row for every visited cell, blank
// where it is blank; the cautions stand in all that a person reads.
func TestMixtureForms(t *testing.T) {
	dir, _ := tuningSession(t, func(u *simulate.Tuning) { u.Seconds = 200 })
	m := askMixture(t, MixtureQuery{What: []string{filepath.Join(dir, "before.csv")}, Settings: filepath.Join(dir, "mixture.toml")})
	var text, html, pdf, svg, png, grid bytes.Buffer
	for _, err := range []error{
		m.Text(&text, report.TextOptions{ASCII: true}), m.HTML(&html, quantity.USCustomary), m.PDF(&pdf, quantity.SI), m.SVG(&svg, quantity.SI), m.PNG(&png, quantity.SI), m.CSV(&grid),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	for name, b := range map[string]string{"text": strings.Join(strings.Fields(text.String()), " "), "page": html.String()} {
		for _, words := range []string{"lean engine under load", "nothing is written to a vehicle", "emissions law"} {
			if !strings.Contains(b, words) {
				t.Errorf("the %s does not say %q", name, words)
			}
		}
		if strings.Contains(b, "NaN") {
			t.Errorf("the %s says NaN", name)
		}
	}
	if !bytes.HasPrefix(pdf.Bytes(), []byte("%PDF")) || !bytes.HasPrefix(png.Bytes(), []byte("\x89PNG")) || !bytes.Contains(svg.Bytes(), []byte("<svg")) {
		t.Error("a form is none")
	}
	rows, err := csv.NewReader(&grid).ReadAll()
	if err != nil || len(rows) != len(m.Grid.Cells)+1 {
		t.Fatalf("%d rows for %d cells, %v", len(rows), len(m.Grid.Cells), err)
	}
	for i, c := range m.Grid.Cells {
		if blank := rows[i+1][4] == "" && rows[i+1][15] == ""; blank == c.Known {
			t.Errorf("row %v of cell %+v", rows[i+1], c)
		}
	}
	data, err := m.JSON()
	var back struct {
		Format   string
		Cautions []string
		Grid     struct{ Cells []map[string]any }
	}
	if err == nil {
		err = json.Unmarshal(data, &back)
	}
	if err != nil || back.Format != "fairpull.mixture-answer/1" || len(back.Cautions) == 0 || len(back.Grid.Cells) != len(m.Grid.Cells) {
		t.Errorf("%v: %+v", err, back)
	}
}

// TestMixtureRefusals: each refusal names the place and the cure.
func TestMixtureRefusals(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		return path
	}
	const head = "time [s],engine_speed [1/min],throttle [%],lambda\n"
	rows := ""
	for i := range 60 {
		rows += fmt.Sprint(float64(i)/20) + ",3000,50,0.9\n"
	}
	good := write("good.csv", head+rows)
	for _, c := range []struct{ name, settings, log, want string }{
		{"no lambda", "", write("a.csv", "time [s],engine_speed [1/min]\n0,3000\n1,3000\n"), "no lambda"},
		{"no engine speed", "", write("b.csv", "time [s],lambda\n0,0.9\n1,0.9\n"), "engine_speed"},
		{"a cell that is no number", "", write("c.csv", head+"0,3000,50,0.9\n0.1,3000,50,rich\n"), "line 3"},
		{"an unknown key", "format = \"fairpull.mixture/1\"\nfule = 3\n", good, "line 2, column 1"},
		{"bad TOML", "format = \"fairpull.mixture/1\"\n[fuel\n", good, "line 2"},
		{"another format", "format = \"x\"\n", good, "fairpull.mixture/1"},
		{"no fuel's composition", "format = \"fairpull.mixture/1\"\n[fuel]\nhydrogen_carbon = 14.7\n", good, "0.5 to 4"},
		{"a gas without a basis", "format = \"fairpull.mixture/1\"\n[gas]\nhc_as = \"hexane\"\n", good, "basis"},
		{"a target past its limit", "format = \"fairpull.mixture/1\"\n[[target]]\nlambda = 0.9\nleanest = 0.8\n", good, "leanest"},
		{"a load that is not logged", "format = \"fairpull.mixture/1\"\nload = \"manifold_pressure\"\n", good, "no such channel"},
		{"a delay without its uncertainty", "format = \"fairpull.mixture/1\"\n[sensor]\ndead_s = 0.2\n", good, "u_delay_s"},
		{"steps that are too fine", "format = \"fairpull.mixture/1\"\n[grid]\nspeed_step_rpm = 1\n", good, "wider"},
		{"a folder without a campaign", "", dir, "campaign.toml"},
	} {
		q := MixtureQuery{What: []string{c.log}}
		if c.settings != "" {
			q.Settings = write("s.toml", c.settings)
		}
		if _, err := Mixture(context.Background(), q); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v; want %q in it", c.name, err, c.want)
		}
	}
	if _, err := Mixture(context.Background(), MixtureQuery{What: []string{good}, Loops: []string{good}}); err == nil || !strings.Contains(err.Error(), "brake_torque") {
		t.Errorf("a loop without torque: %v", err)
	}
	if _, err := Mixture(context.Background(), MixtureQuery{}); !errors.Is(err, ErrRefused) {
		t.Errorf("nothing: %v", err)
	}
	if _, err := Mixture(context.Background(), MixtureQuery{What: []string{good}, Confidence: 1}); !errors.Is(err, ErrRefused) {
		t.Errorf("a confidence of 1: %v", err)
	}
}

// FuzzMixtureSettings: a settings file is taken over or refused, and what is taken over can
// be used.
func FuzzMixtureSettings(f *testing.F) {
	f.Add([]byte("format = \"fairpull.mixture/1\"\n[fuel]\nhydrogen_carbon = 1.9\noxygen_carbon = 0.03\n[gas]\nbasis = \"dry\"\nhc_as = \"hexane\"\n[[target]]\nrpm = [2000, 3000]\nload = [0, 50]\nlambda = 0.9\nleanest = 0.95\n"))
	f.Add([]byte("format = \"fairpull.mixture/1\"\nload = \"throttle\"\n[sensor]\ndead_s = 0.1\nu_delay_s = nan\n[channels]\nlambda = { column = \"x\", decimal = \",\" }\n"))
	f.Add([]byte("[[target]]\nrpm = [1]\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := parseMixtureSettings("s.toml", text)
		if err != nil {
			return
		}
		targets, step := s.inSI("throttle")
		for _, target := range targets {
			if v := target.Lambda + target.Leanest + target.SpeedRPM[1] + target.Load[1]; v-v != 0 || target.Lambda <= 0 {
				t.Errorf("target %+v", target)
			}
		}
		if !(step > 0) || s.sensorDelay != nil && !(s.sensorDelay.UTotal > 0) || s.fuel != nil && s.fuel.Validate() != nil || s.analyser != nil && s.analyser.Validate() != nil {
			t.Errorf("%+v", s)
		}
	})
}
