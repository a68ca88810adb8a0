package lab

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/quantity"
	"fairpull/report"
)

// stateClass states the class of a vehicle.
func stateClass(t *testing.T, w *Workspace, vehicle, class string) {
	t.Helper()
	v := campaign.Vehicle{ID: vehicle, Class: class}
	if known, err := w.store.Vehicle(t.Context(), vehicle, 0); err == nil {
		v = known.Value
		v.Class = class
	}
	if changed, err := w.SaveVehicle(t.Context(), v, anna); err != nil || !changed {
		t.Fatal(changed, err)
	}
}

// Between the vehicle and the dyno stands the class: its vehicles are the history where
// the vehicle's own campaigns do not know what the design meets, and they do.
func TestHistoryOfAClass(t *testing.T) {
	w := newWorkspace(t)
	keepStudy(t, w, "older", "twin-1", 0, 0, 4)
	keepStudy(t, w, "own", "twin-1", 1, 3, 4)
	keepStudy(t, w, "sister", "twin-2", 2, 5, 0)
	keepStudy(t, w, "four", "four-1", 3, 5, 0)
	keepStudy(t, w, "other", "four-1", 4, 3, 0)
	keepStudy(t, w, "bare", "bare-1", 5, 2, 0)
	stateClass(t, w, "twin-1", "twin-650")
	stateClass(t, w, "twin-2", "Twin-650") // written otherwise
	stateClass(t, w, "four-1", "four-1000")
	anew, one, both := levelsMet{setups: true}, levelsMet{blocks: true}, levelsMet{setups: true, blocks: true}
	class, all := []string{"sister", "own", "older"}, []string{"bare", "other", "four", "sister", "own", "older"}
	for _, c := range []struct {
		name           string
		q              PastQuery
		vehicle, class string
		want           []string
	}{
		{"the class knows setups", PastQuery{Vehicle: "twin-1", Meets: anew}, "", "twin-650", class},
		{"from the sister's side", PastQuery{Vehicle: "twin-2", Meets: anew}, "", "Twin-650", class},
		{"the vehicle itself knows change-overs", PastQuery{Vehicle: "twin-1", Meets: one}, "twin-1", "", []string{"own", "older"}},
		{"of change-overs the class knows enough", PastQuery{Vehicle: "twin-2", Meets: one}, "", "Twin-650", class},
		{"the class knows both", PastQuery{Vehicle: "twin-1", Meets: both}, "", "twin-650", class},
		{"the class does not know enough without one", PastQuery{Vehicle: "twin-1", Without: "sister", Meets: anew}, "", "", []string{"bare", "other", "four", "own", "older"}},
		{"nor before it began", PastQuery{Vehicle: "twin-1", Before: inventedDay(2), Meets: anew}, "", "", []string{"own", "older"}},
		{"the vehicle knows enough", PastQuery{Vehicle: "four-1", Meets: anew}, "four-1", "", []string{"other", "four"}},
		{"a vehicle without a class", PastQuery{Vehicle: "bare-1", Meets: anew}, "", "", all},
		{"a new vehicle whose campaign states its class", PastQuery{Vehicle: "twin-3", Class: "TWIN-650", Meets: anew}, "", "TWIN-650", class},
		{"what the workspace knows goes before that", PastQuery{Vehicle: "twin-1", Class: "four-1000", Meets: anew}, "", "twin-650", class},
		{"a vehicle without an id", PastQuery{Class: "twin-650", Meets: anew}, "", "twin-650", class},
		{"a class of nobody else", PastQuery{Vehicle: "bare-1", Class: "lonely", Meets: anew}, "", "", all},
	} {
		c.q.Dyno = "cell-1"
		past, err := w.history(t.Context(), c.q)
		if err != nil {
			t.Fatal(err)
		}
		if got := pastIDs(past); !slices.Equal(got, c.want) || past.Vehicle != c.vehicle || past.Class != c.class {
			t.Errorf("%s: %v of vehicle %q, class %q; want %v of %q, %q", c.name, got, past.Vehicle, past.Class, c.want, c.vehicle, c.class)
		}
	}
}

// Scatter of a class counts its vehicles, lists what is not in it of them only, and
// says which classes there are.
func TestScatterOfAClass(t *testing.T) {
	w := newWorkspace(t)
	keepStudy(t, w, "own", "twin-1", 1, 3, 0)
	keepStudy(t, w, "sister", "twin-2", 2, 5, 0)
	keepStudy(t, w, "four", "four-1", 3, 5, 0)
	keepStudy(t, w, "gone", "twin-2", 4, 5, 0)
	keepStudy(t, w, "also", "four-1", 5, 5, 0)
	for _, id := range []string{"gone", "also"} {
		if _, err := w.LeaveOut(t.Context(), id, anna); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := w.Scatter(t.Context(), ScatterQuery{Class: "twin-650"}); err == nil || !strings.Contains(err.Error(), "no vehicle of the workspace has a class") {
		t.Errorf("nobody has a class: %v", err)
	}
	stateClass(t, w, "twin-1", "twin-650")
	stateClass(t, w, "twin-2", "Twin-650")
	stateClass(t, w, "four-1", "four-1000")
	view, err := w.Scatter(t.Context(), ScatterQuery{Class: "TWIN-650", Version: "1"})
	if err != nil {
		t.Fatal(err)
	}
	if len(view.Campaigns) != 2 || view.Levels[0].DF != 8 || view.Class != "twin-650" || len(view.LeftOut) != 1 || view.LeftOut[0].Campaign != "gone" {
		t.Errorf("%+v", view)
	}
	var text bytes.Buffer
	if err := view.Text(&text, report.TextOptions{Width: 100}); err != nil || !strings.Contains(text.String(), "Scatter of dyno cell-1 with vehicles of class twin-650") {
		t.Errorf("%v\n%s", err, text.String())
	}
	if data, err := view.JSON(); err != nil || !strings.Contains(string(data), `"class": "twin-650"`) {
		t.Errorf("%v\n%s", err, data)
	}
	for want, q := range map[string]ScatterQuery{
		"the workspace has four-1000, twin-650": {Class: "single-125"}, "both are named": {Class: "twin-650", Vehicle: "twin-1"},
	} {
		if _, err := w.Scatter(t.Context(), q); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", q, err, want)
		}
	}
}

// A verdict that rests on its class says so in report, gain result and settings, and
// is found again to the last byte after the vehicles were stated otherwise.
func TestJudgedByItsClass(t *testing.T) {
	w, ctx := newWorkspace(t), t.Context()
	for n, vehicle := range []string{"twin-1", "twin-1", "twin-1", "twin-1", "four-1", "twin-2"} {
		s := labScenario(n)
		s.Plan.Order, s.Vehicle.ID = "ABABA", vehicle
		putScenario(t, w, s)
	}
	stateClass(t, w, "twin-1", "twin-650")
	stateClass(t, w, "twin-2", "twin-650")
	for n := range 5 {
		mustJudge(t, w, labScenario(n).ID, true)
	}
	j := mustJudge(t, w, "lab-05", true)
	var body struct {
		History struct {
			Used           bool
			Vehicle, Class string
			Campaigns      []string
		}
	}
	if err := json.Unmarshal(j.Result.Body, &body); err != nil || !body.History.Used || body.History.Vehicle != "" || body.History.Class != "twin-650" ||
		!slices.Equal(body.History.Campaigns, []string{"lab-03", "lab-02", "lab-01", "lab-00"}) {
		t.Errorf("the result says %+v, %v", body.History, err)
	}
	if lines := j.View("1", quantity.SI).Basis(); len(lines) != 1 || !strings.Contains(lines[0], "4 earlier campaigns on dyno cell-1 with vehicles of class twin-650, ") {
		t.Errorf("the report says %q", lines)
	}
	if s, err := decodeSettings(j.Result.Settings); err != nil || s.History == nil || s.History.Class != "twin-650" {
		t.Errorf("%s, %v", j.Result.Settings, err)
	}
	stateClass(t, w, "twin-2", "single-125")
	kept, err := w.store.LatestResult(ctx, "lab-05")
	if err != nil {
		t.Fatal(err)
	}
	again, err := w.Rederive(ctx, kept)
	if err != nil || !bytes.Equal(again.Body, kept.Body) || !bytes.Equal(again.Settings, kept.Settings) {
		t.Errorf("derived again: %v\n%s\n%s", err, again.Settings, kept.Settings)
	}
	if now := mustJudge(t, w, "lab-05", false); now.past == nil || now.past.Class != "" || len(now.past.Campaigns) != 5 {
		t.Errorf("in another class it is judged by %+v", now.past)
	}
	if lines := mustJudge(t, w, "lab-05", false).View("1", quantity.SI).Basis(); len(lines) != 1 || !strings.Contains(lines[0], "5 earlier campaigns on dyno cell-1 with any vehicle, ") {
		t.Errorf("the report says %q", lines)
	}
	if _, err := w.SaveVehicle(ctx, campaign.Vehicle{ID: "x", Class: strings.Repeat("x", 65)}, Author{Who: "Anna Test"}); err == nil || !strings.Contains(err.Error(), "class") {
		t.Errorf("a class of 65 bytes: %v", err)
	}
}
