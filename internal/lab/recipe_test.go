package lab

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/quantity"
	"fairpull/reduce"
	"fairpull/report"
)

// foreign returns a log of the demo as another logger writes it: other names, no
// units but in a row of their own, semicolons and decimal commas.
func foreign(log []byte) []byte {
	header, rows, _ := bytes.Cut(log, []byte("\n"))
	if string(header) != "time [s],drum_speed [km/h],engine_speed [1/min],throttle [%],oil_temp [degC],lambda" {
		panic("the demo's logs have another header: " + string(header))
	}
	rows = bytes.ReplaceAll(bytes.ReplaceAll(rows, []byte(","), []byte(";")), []byte("."), []byte(","))
	return append([]byte("Anlage 2\nZeit;v_Rolle;Drehzahl;Klappe;T_Oel;Lam1\ns;km/h;1/min;%;°C;\n"), rows...)
}

// foreignRecipe says what those columns are.
func foreignRecipe(t *testing.T, dir string, log []byte) campaign.Recipe {
	t.Helper()
	path := filepath.Join(dir, "foreign.csv")
	if err := os.WriteFile(path, foreign(log), 0o644); err != nil {
		t.Fatal(err)
	}
	table, data, err := ReadLogTable(path)
	if err != nil || !bytes.Equal(data, foreign(log)) {
		t.Fatal(err)
	}
	return RecipeOf("foreign", "*.csv", table, campaign.ChannelMap{
		"time": {Column: "Zeit", Unit: "s"}, "drum_speed": {Column: "v_Rolle", Unit: "km/h"},
		"engine_speed": {Column: "Drehzahl", Unit: "1/min"}, "throttle": {Column: "Klappe", Unit: "%"}, "lambda": {Column: "Lam1"},
	})
}

// A recipe is proved on the log that it is learned from: what comes out is what the
// log in the program's own form gives.
func TestRecipeIsProved(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, nil)
	r := foreignRecipe(t, dir, logs[0])
	if want := []string{"Zeit", "v_Rolle", "Drehzahl", "Klappe", "Lam1"}; !reflect.DeepEqual(r.Header, want) || r.Delimiter != ';' {
		t.Errorf("recipe %+v, want the header %v", r, want)
	}
	proof, err := w.TryRecipe(t.Context(), c.Dyno.ID, r, filepath.Join(dir, "foreign.csv"), reduce.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	own := filepath.Join(dir, "own.csv")
	if err := os.WriteFile(own, logs[0], 0o644); err != nil {
		t.Fatal(err)
	}
	want, err := ReduceLog(own, LogSettings{Settings: settings(&c, "")})
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(proof.Pulls[0].Result.Curve, want.Pulls[0].Result.Curve) {
		t.Error("the curve by the recipe is not that of the log in the program's own form")
	}
	// Another dyno has to be described.
	if _, err := w.TryRecipe(t.Context(), "cell-9", r, filepath.Join(dir, "foreign.csv"), reduce.Settings{}); err == nil || !strings.Contains(err.Error(), "--inertia") {
		t.Errorf("a dyno that nobody knows: %v", err)
	}
	rig := settings(&c, "")
	if _, err := w.TryRecipe(t.Context(), "cell-9", r, filepath.Join(dir, "foreign.csv"), rig); err != nil {
		t.Errorf("a dyno that is described: %v", err)
	}
	if _, err := w.TryRecipe(t.Context(), c.Dyno.ID, r, own, reduce.Settings{}); err == nil || !strings.Contains(err.Error(), "does not fit") {
		t.Errorf("a log of another logger: %v", err)
	}
}

func TestRecipesAreKeptAndFound(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, nil)
	r := foreignRecipe(t, dir, logs[0])
	file := filepath.Join(dir, "foreign.csv")
	if _, err := w.Recipe(t.Context(), c.Dyno.ID, "", file); err == nil || !strings.Contains(err.Error(), "--learn") {
		t.Errorf("before it is kept: %v", err)
	}
	if changed, err := w.KeepRecipe(t.Context(), c.Dyno.ID, r, anna); err != nil || !changed {
		t.Fatalf("kept: %v, %v", changed, err)
	}
	for _, name := range []string{"", "foreign"} {
		if got, err := w.Recipe(t.Context(), c.Dyno.ID, name, file); err != nil || !reflect.DeepEqual(got, r) {
			t.Errorf("recipe %q: %+v, %v", name, got, err)
		}
	}
	other := r
	other.Files = ""
	if _, err := w.KeepRecipe(t.Context(), c.Dyno.ID, other, Author{Who: "Anna Test"}); err == nil || !strings.Contains(err.Error(), "--why") {
		t.Errorf("another of its name, without a reason: %v", err)
	}
	slip := r
	slip.Name, slip.Channels = "slip", campaign.ChannelMap{"drumspeed": {Column: "v_Rolle"}}
	if _, err := w.KeepRecipe(t.Context(), c.Dyno.ID, slip, anna); err == nil || !strings.Contains(err.Error(), "did you mean") {
		t.Errorf("a channel's name that is a slip: %v", err)
	}
	if err := w.RetireRecipe(t.Context(), c.Dyno.ID, "foreign", anna); err != nil {
		t.Error(err)
	}
	if err := w.RetireRecipe(t.Context(), c.Dyno.ID, "foreign", anna); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("retired twice: %v", err)
	}
}

// Foreign logs are captured by the recipe; its channels join the campaign's, so that
// the folder that is exported can be analysed by itself.
func TestCaptureByARecipe(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	c, logs := demoPulls(t)
	putPlanned(t, w, func(k *campaign.Campaign) {
		k.Plan.Blocks = []campaign.PlannedBlock{{Configuration: "A", Setup: "s1", Pulls: 3}, {Configuration: "B", Setup: "s2", Pulls: 3}, {Configuration: "A", Setup: "s3", Pulls: 3}}
	})
	session := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true})
	drop(t, dir, "0.csv", foreign(logs[0]))
	session.until("0.csv is not taken")
	// Learned meanwhile, it is taken by itself.
	r := foreignRecipe(t, t.TempDir(), logs[0])
	if _, err := w.KeepRecipe(t.Context(), c.Dyno.ID, r, anna); err != nil {
		t.Fatal(err)
	}
	for i := range 9 {
		if i > 0 {
			drop(t, dir, string(rune('0'+i))+".csv", foreign(logs[i]))
		}
		if e := session.event(report.CapturePull); !e.Pull.Accepted {
			t.Fatalf("pull %d: %s", i+1, e.Message)
		}
	}
	session.enter("quit")
	session.wait()
	if got := current(t, w, c.ID).Campaign.Channels; !reflect.DeepEqual(got, r.Channels) {
		t.Errorf("channels %v, want the recipe's", got)
	}
	exported := filepath.Join(t.TempDir(), "exported")
	if _, err := w.Export(t.Context(), c.ID, 0, exported); err != nil {
		t.Fatal(err)
	}
	got, err := Gain(t.Context(), exported, nil)
	if err != nil {
		t.Fatal(err)
	}
	own, err := mustJudge(t, w, c.ID, false).View("1", quantity.SI).JSON()
	if err != nil {
		t.Fatal(err)
	}
	folder, err := got.View("1", quantity.SI).JSON()
	if err != nil || !bytes.Equal(own, folder) {
		t.Errorf("the exported folder says something else than the workspace (%v)", err)
	}
	mustBeSound(t, w)
}

// A recipe that contradicts the campaign, or by which an earlier log could not be read
// any more, is not applied.
func TestCaptureByARecipeThatContradicts(t *testing.T) {
	for says, channels := range map[string]campaign.ChannelMap{
		"contradicts":                {"time": {Column: "Zeit", Unit: "ms"}},
		"could not be read any more": {"afr": {Column: "lambda"}},
	} {
		w, dir := newWorkspace(t), t.TempDir()
		c, logs := demoPulls(t)
		putPlanned(t, w, func(k *campaign.Campaign) { k.Channels = channels })
		r := foreignRecipe(t, t.TempDir(), logs[0])
		if says != "contradicts" {
			// The earlier log names its engine speed itself, and by the recipe another
			// column of it is the engine speed, too.
			r.Channels["engine_speed"] = campaign.ChannelSource{Column: "throttle", Unit: "1/min"}
			r.Header = []string{"Zeit"}
			delete(r.Channels, "throttle")
		}
		if _, err := w.KeepRecipe(t.Context(), c.Dyno.ID, r, anna); err != nil {
			t.Fatal(err)
		}
		session := capture(t, w, CaptureOptions{Campaign: c.ID, From: dir, KeepGoing: true})
		if says != "contradicts" {
			drop(t, dir, "own.csv", logs[1])
			session.event(report.CapturePull)
		}
		drop(t, dir, "foreign.csv", foreign(logs[0]))
		session.until(says)
		if n := len(current(t, w, c.ID).Campaign.Channels); n != len(channels) {
			t.Errorf("%s: the campaign has %d channels, want %d", says, n, len(channels))
		}
	}
}

// What is no dyno's id has no recipes, and is not said to have none.
func TestRecipesOfWhatIsNoDyno(t *testing.T) {
	if _, err := newWorkspace(t).Recipes(t.Context(), "cell 1"); !errors.Is(err, campaign.ErrNotSlug) {
		t.Errorf("got %v, want ErrNotSlug", err)
	}
}

func TestRecipeNames(t *testing.T) {
	for path, want := range map[string]string{
		"/rig/run 0012.csv": "run-0012", "läufe.txt": "l-ufe", "...": "logger", "": "logger", strings.Repeat("x", 99) + ".csv": strings.Repeat("x", campaign.MaxID),
	} {
		if got := RecipeName(path); got != want {
			t.Errorf("%q gives %q, want %q", path, got, want)
		}
	}
}
