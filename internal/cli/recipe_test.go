package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// foreignLog writes a log of the demo as another logger would: other names, units in a
// row of their own, semicolons and decimal commas.
func foreignLog(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("my-campaign", "logs", "pull-001.csv"))
	if err != nil {
		t.Fatal(err)
	}
	_, rows, _ := strings.Cut(string(data), "\n")
	rows = strings.ReplaceAll(strings.ReplaceAll(rows, ",", ";"), ".", ",")
	const name = "lauf 0012.csv"
	text := "Anlage 2\nZeit;v_Rolle;Drehzahl;Kanal 4;T_Oel;Lam1\ns;km/h;1/min;%;°C;\n" + rows
	if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return name
}

// answer runs a command line with what a person types.
func answer(t *testing.T, typed string, args ...string) (code int, out, errs string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	code = Run(context.Background(), args, strings.NewReader(typed), &stdout, &stderr)
	return code, stdout.String(), stderr.String()
}

func TestRecipeDialogue(t *testing.T) {
	plannedKit(t)
	file := foreignLog(t)
	// time, drum speed, engine speed and lambda as proposed, with slips and a wrong unit
	// in between; one more channel; the proof is agreed to.
	typed := "\n\n9\nx\n2\nbar\n\n3\n\n\n\n0\nthrottle=4\n\nthrottle\n\nmaybe\nyes\n"
	code, out, errs := answer(t, typed, "recipe", "cell-1", "--learn", file)
	if code != exitDone {
		t.Fatalf("exit %d: %s\n%s", code, errs, out)
	}
	for _, want := range []string{
		"lauf 0012.csv: 6 columns split by semicolon, named in line 2",
		"Which column is time? Its number [1]:", "In which unit is Zeit? [s]:",
		"Which column is engine_speed? Its number, 0 for none [3]:",
		"A number from 1 to 6 is wanted.", "a unit of drum_speed is km/h", "As in oil_temp=5.",
		"engine turns a drum turn", // the proof
		"Keep it as recipe lauf-0012 of dyno cell-1?",
		"Kept for dyno cell-1:\nlauf-0012: files of any name, split by semicolon\n  time = Zeit in s\n  drum_speed = v_Rolle in km/h\n",
		"  throttle = Kanal 4 in %\n  lambda = Lam1\n",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("the dialogue has no %q:\n%s", want, out)
		}
	}
	// The same said by flags is the same recipe.
	same := mustRun(t, "recipe", "cell-1", "--learn", file, "--channel", "time=#1:s", "--channel", "drum_speed=v_Rolle:km/h",
		"--channel", "engine_speed=Drehzahl:1/min", "--channel", "throttle=Kanal 4:%", "--channel", "lambda=Lam1")
	if !strings.Contains(same, "has this recipe already: nothing was changed") {
		t.Errorf("said by flags:\n%s", same)
	}
	if out := mustRun(t, "recipe", "cell-1", "--test", file); !strings.Contains(out, "lauf-0012") || !strings.Contains(out, "coast-down") {
		t.Errorf("tested:\n%s", out)
	}
}

func TestRecipeDialogueThatIsNotFinished(t *testing.T) {
	plannedKit(t)
	file := foreignLog(t)
	for typed, want := range map[string]string{
		"1\ns\n":                    "the answers ended before the questions",
		"\n\n\n\n\n\n\n\n0\n\nno\n": "nothing was kept",
	} {
		code, _, errs := answer(t, typed, "recipe", "cell-1", "--learn", file)
		if code != exitCouldNot || !strings.Contains(errs, want) {
			t.Errorf("%q: exit %d: %s", typed, code, errs)
		}
	}
	if out := mustRun(t, "recipe", "cell-1"); !strings.Contains(out, "has no recipe") {
		t.Errorf("something was kept:\n%s", out)
	}
}

// A recipe whose proof fails is not kept.
func TestRecipeWithoutProof(t *testing.T) {
	plannedKit(t)
	file := foreignLog(t)
	code, _, errs := run(t, "recipe", "cell-1", "--learn", file, "--channel", "time=Zeit:s", "--channel", "drum_speed=T_Oel:km/h")
	if code == exitDone || !strings.Contains(errs, "Nothing was kept") {
		t.Errorf("exit %d: %s", code, errs)
	}
	code, _, errs = run(t, "recipe", "cell-7", "--learn", file, "--channel", "time=Zeit:s", "--channel", "drum_speed=v_Rolle:km/h")
	if code == exitDone || !strings.Contains(errs, "--inertia") {
		t.Errorf("a dyno that nobody knows: exit %d: %s", code, errs)
	}
	out := mustRun(t, "recipe", "cell-7", "--learn", file, "--channel", "time=Zeit:s", "--channel", "drum_speed=v_Rolle:km/h",
		"--channel", "engine_speed=Drehzahl:1/min", "--inertia", "15", "--drum-radius", "0.25")
	if !strings.Contains(out, "Kept for dyno cell-7") {
		t.Errorf("a dyno that is described:\n%s", out)
	}
}

func TestRecipeListRetireAndJSON(t *testing.T) {
	plannedKit(t)
	file := foreignLog(t)
	learn := []string{"recipe", "cell-1", "--learn", file, "--name", "rig", "--files", "lauf*", "--channel", "time=Zeit:s", "--channel", "drum_speed=v_Rolle:km/h:,", "--channel", "engine_speed=#3:1/min"}
	mustRun(t, learn...)
	var list struct {
		Format, Dyno string
		Recipes      []struct {
			Name, Files, Delimiter string
			Channels               map[string]struct{ Column, Unit, Decimal string }
		}
	}
	if err := json.Unmarshal([]byte(mustRun(t, "recipe", "cell-1", "--json")), &list); err != nil {
		t.Fatal(err)
	}
	if list.Format != "fairpull.recipes/1" || len(list.Recipes) != 1 || list.Recipes[0].Delimiter != ";" || list.Recipes[0].Channels["drum_speed"].Decimal != "," {
		t.Errorf("%+v", list)
	}
	other := append(learn[:len(learn):len(learn)], "--channel", "lambda=Lam1")
	if code, _, errs := run(t, other...); code != exitCouldNot || !strings.Contains(errs, "--why") {
		t.Errorf("another of that name: exit %d: %s", code, errs)
	}
	mustRun(t, append(other, "--why", "the lambda probe was added")...)
	mustRun(t, "recipe", "cell-1", "--retire", "rig", "--why", "the logger was replaced")
	if out := mustRun(t, "recipe", "cell-1"); !strings.Contains(out, "has no recipe") {
		t.Errorf("after it was retired:\n%s", out)
	}
}

func TestRecipeUsage(t *testing.T) {
	plannedKit(t)
	file := foreignLog(t)
	for _, args := range [][]string{
		{"recipe"},
		{"recipe", "cell-1", "--learn", file, "--test", file},
		{"recipe", "cell-1", "--learn", ""},
		{"recipe", "cell-1", "--channel", "time=Zeit:s"},
		{"recipe", "cell-1", "--retire", "rig"},
		{"recipe", "cell-1", "--test", file, "--json"},
		{"recipe", "cell-1", "--learn", file, "--channel", "time"},
		{"recipe", "cell-1", "--learn", file, "--channel", "drum_speed=Lam1"},
		{"recipe", "cell-1", "--learn", file, "--channel", "lambda=O2"},
		{"recipe", "cell-1", "--learn", file, "--channel", "lambda=#9"},
		{"recipe", "cell-1", "--learn", file, "--channel", "time=Zeit:s:;"},
		{"recipe", "cell-1", "--learn", file, "--channel", "time=Zeit:bar"},
		{"recipe", "cell-1", "--learn", file, "--channel", "time=Zeit:s", "--channel", "time=Zeit:s"},
	} {
		if code, _, errs := run(t, args...); code != exitUsage || strings.Count(errs, "\n") != 1 || !strings.Contains(errs, "Try: fairpull recipe") {
			t.Errorf("%v: exit %d: %s", args, code, errs)
		}
	}
}
