package web

import (
	"bytes"
	"html"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"
)

const dynoPath = "/dynos/cell-1"

func TestVehiclePages(t *testing.T) {
	s := open(t, nil)
	s.get("/vehicles").says(t, "twin650-03", "650 cc parallel twin", "gear 4", "1 campaign", "State a vehicle")
	s.get("/vehicles?units=us").says(t, "lb with rider")
	s.get("/vehicles?vehicle=twin650-03").says(t, "Vehicle twin650-03: another statement", `value="285"`, `value="0.62"`)
	form := url.Values{"id": {"single400-01"}, "description": {"400 cc single"}, "mass": {"251,5"}, "gear": {"4"}, "tyre": {"H"}}
	s.post("/vehicles", form)
	s.get("/vehicles?done=stated").says(t, "single400-01", "Not measured yet", "The statement is kept")
	s.get("/plan?like="+demoID).says(t, "<option>single400-01</option>")
	for name, c := range map[string]struct {
		change url.Values
		says   string
	}{
		"another statement": {url.Values{"mass": {"260"}}, "Say why this takes its place"},
		"a word":            {url.Values{"mass": {"heavy"}}, "“heavy” is no number"},
		"half a gear":       {url.Values{"gear": {"3.5"}}, "whole number"},
		"below nought":      {url.Values{"mass": {"-3"}, "why": {"weighed"}}, "mass"},
		"an id of a path":   {url.Values{"id": {"../x"}}, "is not a slug"},
		"no id":             {url.Values{"id": {""}}, "id"},
	} {
		changed := url.Values{}
		for key := range form {
			changed.Set(key, form.Get(key))
		}
		for key := range c.change {
			changed.Set(key, c.change.Get(key))
		}
		a := s.do(s.client(), http.MethodPost, "/vehicles", changed)
		if a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, c.says) {
			t.Errorf("%s: %d, %.3000s", name, a.status, a.body)
		}
	}
	form.Set("mass", "260")
	form.Set("why", "weighed anew")
	form.Set("class", "single-400")
	s.post("/vehicles", form)
	s.get("/vehicles").says(t, "Statement 2. Class single-400.", "<option>single-400</option>")
	s.get("/plan?like="+demoID).says(t, `<option value="single400-01">single400-01, class single-400</option>`)
	form.Set("class", strings.Repeat("x", 65))
	if a := s.do(s.client(), http.MethodPost, "/vehicles", form); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "The class") {
		t.Errorf("a class of 65 bytes: %d", a.status)
	}
	if a := s.do(s.client(), http.MethodGet, "/vehicles?vehicle=none", nil); a.status != http.StatusNotFound {
		t.Errorf("a vehicle that is not there: %d", a.status)
	}
}

func TestDynoPages(t *testing.T) {
	s := open(t, nil)
	s.get("/dynos").says(t, "cell-1", "calibrations: 0")
	s.get(dynoPath).says(t, "None yet.", `name="inertia" inputmode="decimal" maxlength="32" value="15"`, `value="0.25"`, `value="210"`, "Teach another kind of log")
	if a := s.do(s.client(), http.MethodPost, "/dynos", url.Values{"id": {"cell-2"}, "inertia": {"41.8"}, "radius": {"0.2286"}}); a.status != http.StatusSeeOther || a.header.Get("Location") != "/dynos/cell-2?done=stated" {
		t.Errorf("a new dyno: %d to %q", a.status, a.header.Get("Location"))
	}
	a := s.do(s.client(), http.MethodPost, "/dynos", url.Values{"id": {"cell-3"}, "inertia": {"41.8"}, "inertia_u": {"42"}})
	if a.status != http.StatusUnprocessableEntity {
		t.Errorf("an uncertainty above its value: %d", a.status)
	}
	a.says(t, "is not below the drum inertia", `value="41.8"`)
	a = s.do(s.client(), http.MethodPost, dynoPath, url.Values{"inertia": {"15.2"}, "radius": {"0.25"}})
	if a.status != http.StatusUnprocessableEntity {
		t.Errorf("another statement without a reason: %d", a.status)
	}
	a.says(t, "Say why this takes its place", `value="15.2"`)
	for _, path := range []string{"/dynos/none", "/dynos/none/recipes/new", "/dynos/..%2fx"} {
		if a := s.do(s.client(), http.MethodGet, path, nil); a.status != http.StatusNotFound {
			t.Errorf("%s: %d", path, a.status)
		}
	}
	if a := s.do(s.client(), http.MethodPost, "/dynos/none/calibrations", url.Values{"day": {"2025-09-01"}, "inertia": {"15"}}); a.status != http.StatusNotFound {
		t.Errorf("a calibration of a dyno that is not there: %d", a.status)
	}
}

// A calibration is entered with its uncertainty, and what rests on other values is
// named.
func TestCalibrationForm(t *testing.T) {
	s := open(t, nil)
	judge(t, s)
	form := url.Values{"day": {"2025-09-01"}, "time": {"08:30"}, "inertia": {"15,3"}, "inertia_u": {"0.1"}, "note": {"rim weights"}}
	if a := s.do(s.client(), http.MethodPost, dynoPath+"/calibrations", form); a.status != http.StatusSeeOther {
		t.Fatalf("entering: %d\n%s", a.status, a.body)
	}
	from := time.Date(2025, 9, 1, 8, 30, 0, 0, time.Local)
	s.get(dynoPath+"?done=calibrated").says(t, "From "+from.Format("2006-01-02 15:04 MST")+", for 15 pulls", "15.3 ± 0.1 kg·m²", "rim weights", "Kept results rest on other values:", demoID, "The calibration is kept")
	list, err := s.w.Calibrations(t.Context(), "cell-1")
	if err != nil || len(list.Rows) != 1 || !list.Rows[0].From.Equal(from) || list.Rows[0].Inertia != 15.3 || list.Rows[0].InertiaU != 0.1 {
		t.Errorf("kept: %+v, %v", list, err)
	}
	for name, c := range map[string]struct {
		change url.Values
		says   string
	}{
		"the same moment":  {url.Values{"inertia": {"15.4"}}, "To put this one in its place, say why"},
		"no day":           {url.Values{"day": {""}}, "Since when does it hold?"},
		"no day at all":    {url.Values{"day": {"2025-02-30"}}, "A day is written as"},
		"u above value":    {url.Values{"inertia_u": {"16"}}, "is not below"},
		"u alone":          {url.Values{"arm_u": {"0.001"}}, "An uncertainty stands without its value"},
		"below nought":     {url.Values{"inertia": {"-1"}}, "is not possible"},
		"a word":           {url.Values{"p0": {"one"}}, "“one” is no number"},
		"beyond all rigs":  {url.Values{"arm": {"11"}}, "is not possible"},
		"nothing measured": {url.Values{"inertia": {""}, "inertia_u": {""}}, "none is given"},
	} {
		changed := url.Values{}
		for key := range form {
			changed.Set(key, form.Get(key))
		}
		for key := range c.change {
			changed.Set(key, c.change.Get(key))
		}
		a := s.do(s.client(), http.MethodPost, dynoPath+"/calibrations", changed)
		if a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, c.says) {
			t.Errorf("%s: %d, and the page does not say %q", name, a.status, c.says)
		}
		a.says(t, `value="rim weights"`)
	}
}

// oddLog is a demo log as another logger would write it.
func oddLog(t testing.TB, number int) []byte {
	t.Helper()
	log := demoLog(t, number)
	line, rest, _ := bytes.Cut(log, []byte("\n"))
	odd := strings.NewReplacer("time [s]", "Uhr [s]", "drum_speed", "Walze", "engine_speed", "Motor").Replace(string(line))
	return append([]byte(odd+"\n"), rest...)
}

// A kind of log is taught by showing it: the columns, what they are, the curve that
// comes out, and only then it is kept; then logs of that kind are taken.
func TestTeachingALog(t *testing.T) {
	s := open(t, nil)
	plan(t, s, false)
	c := s.client()
	refused := s.send(c, kitPath+"/log", nil, file{name: "odd.csv", data: oddLog(t, 1)})
	refused.says(t, "odd.csv was not taken", "Teach dyno cell-1 this kind of log")
	s.get(dynoPath+"/recipes/new").says(t, "Hand in a log that the rig")
	a := s.send(c, dynoPath+"/recipes/file", nil, file{name: "odd.csv", data: oddLog(t, 1)})
	if a.status != http.StatusSeeOther {
		t.Fatalf("the sample: %d\n%s", a.status, a.body)
	}
	at := a.header.Get("Location")
	s.get(at).says(t, "Which column is what?", "Uhr", "Walze", "split by commas, named in line 1", `value="km/h"`, `value="odd"`)
	q := url.Values{"form": {"1"}, "file": {at[strings.LastIndex(at, "=")+1:]}, "name": {"odd"}, "files": {"odd*.csv"}}
	for n, name := range strings.Split(strings.SplitN(string(oddLog(t, 1)), "\n", 2)[0], ",") {
		for begin, as := range map[string][2]string{"Uhr": {"time", "s"}, "Walze": {"drum_speed", "km/h"}, "Motor": {"engine_speed", "1/min"}} {
			if strings.HasPrefix(name, begin) {
				q.Set("ch"+string(rune('0'+n)), as[0])
				q.Set("u"+string(rune('0'+n)), as[1])
			}
		}
	}
	try := dynoPath + "/recipes/new?" + q.Encode()
	proof := s.get(try)
	proof.says(t, "Is that what the rig did?", "Reduced curve", "<svg", "Keep the recipe")
	figures := strings.Split(proof.body, "<figure ")[1:]
	if len(figures) != 2 {
		t.Fatalf("%d charts, wanted curve and coast-down", len(figures))
	}
	for i, name := range []string{"pull-curve", "pull-coast"} {
		found := figureOf.FindStringSubmatch("<figure " + figures[i])
		if found == nil || found[1] != name || found[2] == "" {
			t.Fatalf("chart %s has no data to read: %q", name, found)
		}
		s.chartFiles(name, "cell-1-odd.csv-"+name, html.UnescapeString(found[2]), figures[i])
	}
	if a := s.do(c, http.MethodGet, dynoPath+"/recipes/new/charts/pull-curve.svg?form=1&file="+q.Get("file"), nil); a.status != http.StatusUnprocessableEntity {
		t.Errorf("a chart of what is not taught: %d", a.status)
	}
	if list, err := s.w.Recipes(t.Context(), "cell-1"); err != nil || len(list) != 0 {
		t.Fatalf("before it was kept there are %v, %v", list, err)
	}
	if a := s.do(c, http.MethodPost, dynoPath+"/recipes", q); a.status != http.StatusSeeOther {
		t.Fatalf("keeping: %d\n%s", a.status, a.body)
	}
	s.get(dynoPath+"?done=taught").says(t, "drum_speed = Walze in km/h", "Files named like odd*.csv", "The recipe is kept")
	s.post(kitPath+"/values", rigAir)
	if a := s.send(c, kitPath+"/log", nil, file{name: "odd-1.csv", data: oddLog(t, 1)}); a.status != http.StatusSeeOther {
		t.Fatalf("a log of that kind: %d\n%s", a.status, a.body)
	}
	s.get(kitPath).says(t, "Accepted")

	q.Set("files", "other*.csv")
	if a := s.do(c, http.MethodPost, dynoPath+"/recipes", q); a.status != http.StatusUnprocessableEntity {
		t.Errorf("a recipe that its own log does not fit: %d", a.status)
	}
	q.Set("files", "")
	a = s.do(c, http.MethodPost, dynoPath+"/recipes", q)
	if a.status != http.StatusUnprocessableEntity {
		t.Errorf("another of that name: %d", a.status)
	}
	a.says(t, "which says something else", "say why; to keep both")
	if a := s.do(c, http.MethodPost, dynoPath+"/recipes/end", url.Values{"recipe": {"odd"}}); a.status != http.StatusUnprocessableEntity {
		t.Errorf("ending it without a reason: %d", a.status)
	}
	s.post(dynoPath+"/recipes/end", url.Values{"recipe": {"odd"}, "why": {"the logger was replaced"}})
	s.get(dynoPath).saysNot(t, "drum_speed = Walze")
}

// What cannot be taught is said, and nothing is kept.
func TestTeachingRefuses(t *testing.T) {
	s := open(t, nil)
	c := s.client()
	for name, f := range map[string]file{"words": {name: "a.txt", data: []byte("only words\n")}, "empty": {name: "a.csv"}, "a program": {name: "a.csv", data: append([]byte("\x7fELF"), make([]byte, 999)...)}} {
		if a := s.send(c, dynoPath+"/recipes/file", nil, f); a.status < 400 || a.status >= 500 {
			t.Errorf("%s: %d", name, a.status)
		}
	}
	a := s.send(c, dynoPath+"/recipes/file", nil, file{name: "odd.csv", data: oddLog(t, 1)})
	at := a.header.Get("Location")
	for _, c := range []struct{ query, says string }{
		{"&name=odd&ch0=time&u0=s", "drum_speed"},
		{"&name=odd&ch0=time&u0=furlong", "furlong"},
		{"&name=odd&ch0=time&u0=s&ch1=time&u1=s", "Two columns are said to be time"},
		{"&name=odd", "No column is said to be anything yet"},
		{"&name=../odd&ch0=time&u0=s&ch1=drum_speed&u1=km/h", "name"},
	} {
		a := s.do(s.client(), http.MethodGet, at+"&form=1"+c.query, nil)
		if a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, c.says) {
			t.Errorf("%s: %d, and the page does not say %q\n%.4000s", c.query, a.status, c.says, a.body)
		}
	}
	for _, token := range []string{"x", "", strings.Repeat("A", 26)} {
		if a := s.do(c, http.MethodPost, dynoPath+"/recipes", url.Values{"file": {token}}); a.status != http.StatusNotFound {
			t.Errorf("a log that was not handed in, %q: %d", token, a.status)
		}
	}
	if list, err := s.w.Recipes(t.Context(), "cell-1"); err != nil || len(list) != 0 {
		t.Errorf("kept: %v, %v", list, err)
	}
}

// Files are held for who handed them in, for an hour, and no more than fit.
func TestHeldFiles(t *testing.T) {
	var h heldFiles
	now := time.Now()
	first := h.hold("a.csv", []byte("a"), "Anna Test", now)
	if f, found := h.find(first, "Anna Test", now); !found || f.name != "a.csv" {
		t.Error("what was held is not found")
	}
	if _, found := h.find(first, "Bert Test", now); found {
		t.Error("another finds it")
	}
	if _, found := h.find(first, "Anna Test", now.Add(heldFor)); found {
		t.Error("it is held for more than an hour")
	}
	first = h.hold("a.csv", []byte("a"), "Anna Test", now)
	for range maxHeldFiles {
		h.hold("b.csv", []byte("b"), "Anna Test", now)
	}
	if _, found := h.find(first, "Anna Test", now); found || len(h.list) != maxHeldFiles {
		t.Errorf("%d files are held", len(h.list))
	}
	big := make([]byte, maxHeldBytes/2+1)
	one := h.hold("c.csv", big, "Anna Test", now)
	two := h.hold("d.csv", big, "Anna Test", now)
	if _, found := h.find(one, "Anna Test", now); found {
		t.Error("more bytes are held than may be")
	}
	if _, found := h.find(two, "Anna Test", now); !found {
		t.Error("the latest is gone")
	}
}

func TestLabPageRoles(t *testing.T) {
	s := guarded(t, nil)
	technician, viewer := s.as("technician"), s.as("viewer")
	for _, path := range []string{"/vehicles", "/dynos", dynoPath, dynoPath + "/calibrations"} {
		if a := s.do(technician, http.MethodPost, path, url.Values{"id": {"x"}, "day": {"2025-09-01"}, "inertia": {"15"}}); a.status != http.StatusForbidden {
			t.Errorf("%s by a technician: %d", path, a.status)
		}
	}
	for _, path := range []string{dynoPath + "/recipes", dynoPath + "/recipes/end"} {
		if a := s.do(viewer, http.MethodPost, path, url.Values{"recipe": {"x"}}); a.status != http.StatusForbidden {
			t.Errorf("%s by a viewer: %d", path, a.status)
		}
	}
	if a := s.send(viewer, dynoPath+"/recipes/file", nil, file{name: "a.csv", data: demoLog(t, 1)}); a.status != http.StatusForbidden {
		t.Errorf("a sample of a viewer: %d", a.status)
	}
	sample := s.send(technician, dynoPath+"/recipes/file", nil, file{name: "a.csv", data: demoLog(t, 1)})
	if a := s.do(s.as("engineer"), http.MethodGet, sample.header.Get("Location"), nil); a.status != http.StatusNotFound {
		t.Errorf("another one's sample: %d", a.status)
	}
	s.do(technician, http.MethodGet, dynoPath, nil).saysNot(t, "Enter a calibration", "Keep this statement")
}
