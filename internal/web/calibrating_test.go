package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fairpull/internal/lab"
)

const guidePath = dynoPath + "/calibrate"

// readingsOf returns the example of a kind as files of the dyno cell-1, from a day before
// the demo campaign on.
func readingsOf(t testing.TB, kind string) []file {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "readings")
	if err := lab.WriteCalibrationExample(kind, dir); err != nil {
		t.Fatal(err)
	}
	names, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil || len(names) < 2 {
		t.Fatalf("%v, %v", names, err)
	}
	var out []file
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		text := strings.NewReplacer("cell-9", "cell-1", "2031-02-03", "2025-09-01").Replace(string(data))
		out = append(out, file{name: filepath.Base(name), data: []byte(text)})
	}
	return out
}

// typed takes the file of readings, and the table if there is one, out of files.
func typed(files []file) (fields map[string]string, rest []file) {
	fields = map[string]string{}
	for _, f := range files {
		switch {
		case strings.HasSuffix(f.name, ".toml"):
			fields["text"] = string(f.data)
		case f.name == lab.ReadingsTable:
			fields["table"] = string(f.data)
		default:
			rest = append(rest, f)
		}
	}
	return fields, rest
}

// tokenOf returns the word by which readings are found again.
func tokenOf(t testing.TB, a answer) string {
	t.Helper()
	_, token, found := strings.Cut(a.header.Get("Location"), "?readings=")
	if a.status != http.StatusSeeOther || !found {
		t.Fatalf("%d to %q\n%.4000s", a.status, a.header.Get("Location"), a.body)
	}
	return token
}

// Each kind is done as its page says, from the cautions to a kept calibration; what rests
// on other values is named, and the results stand as they are.
func TestGuidedCalibration(t *testing.T) {
	s := open(t, nil)
	judge(t, s)
	s.get(dynoPath).says(t, `href="`+guidePath+`"`)
	kinds := s.get(guidePath)
	for _, kind := range lab.CalibrationKinds() {
		kinds.says(t, `href="`+guidePath+"/"+kind+`"`)
		page := s.get(guidePath + "/" + kind)
		guide, err := lab.CalibrationGuide(kind)
		if err != nil {
			t.Fatal(err)
		}
		page.says(t, guide.Title, "Before anything else", "come before these steps", "Step by step", "kind = &#34;"+kind+"&#34;", "invented")
		c := s.client()
		a := s.send(c, guidePath+"/"+kind+"/readings", nil, readingsOf(t, kind)...)
		token := tokenOf(t, a)
		result := s.get(a.header.Get("Location"))
		if kind == "barometer" || kind == "hygrometer" { // an offset alone has no linearity
			result.says(t, "With five readings or more", "Keep it?")
		} else {
			result.says(t, "Limits of published rules", "40 CFR 10", "certifies nothing", "Keep it?")
		}
		if kind == "coast-down" {
			result.says(t, "It cannot be kept. A coast-down holds the rig against its calibration")
			result.saysNot(t, ">Keep the calibration<")
			if a := s.do(c, http.MethodPost, guidePath+"/"+kind, url.Values{"readings": {token}}); a.status != http.StatusUnprocessableEntity {
				t.Errorf("a coast-down is kept: %d", a.status)
			}
			continue
		}
		result.says(t, "Uncertainty budget", "standard uncertainty", ">Keep the calibration<")
		for _, done := range []string{"calibrated", "calibrated-same"} {
			a := s.do(c, http.MethodPost, guidePath+"/"+kind, url.Values{"readings": {token}})
			if a.status != http.StatusSeeOther || a.header.Get("Location") != dynoPath+"?done="+done+"#calibrations" {
				t.Fatalf("%s: %d to %q\n%.3000s", kind, a.status, a.header.Get("Location"), a.body)
			}
		}
	}
	s.get(dynoPath+"?done=calibrated").says(t, "Kept results rest on other values:", demoID, "brake arm", "barometer", "The calibration is kept")
	list, err := s.w.Calibrations(t.Context(), "cell-1")
	if err != nil || len(list.Rows) != 1 {
		t.Fatalf("kept: %+v, %v", list, err)
	}
	// The truth of the invented rig, as docs/calibration.md names it.
	row := list.Rows[0]
	if want := time.Date(2025, 9, 1, 0, 0, 0, 0, time.Local); !row.From.Equal(want) || math.Abs(row.Inertia-12) > 3*row.InertiaU || math.Abs(row.Arm-0.3) > 3*row.ArmU || !row.HasParasitic || !slices.Contains(row.Affected, demoID) {
		t.Errorf("kept: %+v", row)
	}
}

// Readings are typed, logs are listed by themselves, and what was handed in need not be
// handed in again; another value of the same moment needs a reason.
func TestTypedCalibration(t *testing.T) {
	s := open(t, nil)
	c := s.client()
	fields, coasts := typed(readingsOf(t, "bare-drum"))
	fields["text"], _, _ = strings.Cut(fields["text"], "\n[[spin]]")
	a := s.send(c, guidePath+"/bare-drum/readings", fields, coasts...)
	token := tokenOf(t, a)
	page := s.get(a.header.Get("Location"))
	page.says(t, "Bare drum torque at", "Held for an hour: coast-1.csv, coast-2.csv, coast-3.csv, coast-4.csv", "log = &#34;coast-4.csv&#34;")
	fields["text"] += "\n[[spin]]\nlog = \"coast-1.csv\"\n"
	fields["readings"] = token
	a = s.send(c, guidePath+"/bare-drum/readings", fields)
	if again := tokenOf(t, a); again != token {
		t.Errorf("the same readings are found by %q, then by %q", token, again)
	}
	s.get(a.header.Get("Location")).says(t, "Make the coast-down again, twice at least")

	fields, none := typed(readingsOf(t, "brake"))
	if len(none) > 0 || fields["table"] == "" {
		t.Fatalf("the brake's readings are %v and %d files", fields, len(none))
	}
	keep := func(why string) answer {
		t.Helper()
		token := tokenOf(t, s.send(c, guidePath+"/brake/readings", fields))
		return s.do(c, http.MethodPost, guidePath+"/brake", url.Values{"readings": {token}, "why": {why}})
	}
	if a := keep(""); a.status != http.StatusSeeOther {
		t.Fatalf("keeping: %d\n%.3000s", a.status, a.body)
	}
	fields["text"] = strings.Replace(fields["text"], "lever_m = 0.800", "lever_m = 0.801", 1)
	a = keep("")
	if a.status != http.StatusUnprocessableEntity {
		t.Errorf("another arm without a reason: %d", a.status)
	}
	a.says(t, "To put this one in its place, say why", "lever_m = 0.801", "Uncertainty budget")
	if a := keep("lever measured again"); a.status != http.StatusSeeOther {
		t.Errorf("another arm with a reason: %d", a.status)
	}
	s.get("/trail").says(t, "lever measured again")
	fields["text"] = strings.Replace(fields["text"], `date = "2025-09-01"`, `date = ""`, 1)
	page = s.get(guidePath + "/brake?readings=" + tokenOf(t, s.send(c, guidePath+"/brake/readings", fields)))
	page.says(t, "It cannot be kept. The readings have no date")
	page.saysNot(t, ">Keep the calibration<")
}

// What cannot be worked out is said with its place, what was typed stays, and nothing is
// written.
func TestCalibratingRefuses(t *testing.T) {
	s := open(t, nil)
	before := s.lastChange()
	good, _ := typed(readingsOf(t, "brake"))
	spins, logs := typed(readingsOf(t, "bare-drum"))
	change := func(fields map[string]string, name, old, by string) map[string]string {
		out := map[string]string{"text": fields["text"], "table": fields["table"]}
		if out[name] = strings.Replace(fields[name], old, by, 1); out[name] == fields[name] {
			t.Fatalf("%q is not in the %s", old, name)
		}
		return out
	}
	elf := append([]byte("\x7fELF"), make([]byte, 999)...)
	for name, c := range map[string]struct {
		kind   string
		fields map[string]string
		files  []file
		says   string
	}{
		"another dyno":     {"brake", change(good, "text", "cell-1", "cell-2"), nil, "These are readings of dyno cell-2"},
		"another kind":     {"inertia", good, nil, "inertia was asked for"},
		"a broken line":    {"brake", change(good, "text", "lever_m = 0.800", "lever_m ="), nil, "✗ Line 7: "},
		"an unknown key":   {"brake", change(good, "text", "lever_m", "liver_m"), nil, "Line 7: the key liver_m is unknown"},
		"another table":    {"brake", change(good, "text", "readings.csv", "weights.csv"), nil, "weights.csv"},
		"a path":           {"brake", change(good, "text", "readings.csv", "../weights.csv"), nil, "does not lie beside"},
		"a word":           {"brake", change(good, "table", "\n5,", "\nfive,"), nil, "row 2: &#34;five&#34; in column mass"},
		"not a number":     {"brake", change(good, "table", "\n5,", "\nNaN,"), nil, "row 2: &#34;NaN&#34;"},
		"no unit":          {"brake", change(good, "table", "mass_kg", "mass"), nil, "needs a unit of mass"},
		"half a row":       {"brake", change(good, "table", "falling,", ""), nil, "wrong number of fields"},
		"a day of none":    {"brake", change(good, "text", "2025-09-01", "2025-02-30"), nil, "neither a day"},
		"no place":         {"brake", change(good, "text", "latitude_deg", "# latitude_deg"), nil, "Local gravity is not known"},
		"a log of none":    {"bare-drum", spins, nil, "coast-1.csv"},
		"a path to a log":  {"bare-drum", change(spins, "text", "coast-1.csv", "/etc/hostname"), logs, "does not lie beside"},
		"no log at all":    {"bare-drum", map[string]string{"text": strings.SplitN(spins["text"], "\n[[spin]]", 2)[0]}, nil, "It lists no coast-down"},
		"a program":        {"bare-drum", spins, []file{{name: "coast-1.csv", data: elf}}, "coast-1.csv"},
		"two files":        {"brake", good, []file{{name: "a.toml", data: []byte(good["text"])}, {name: "b.toml", data: []byte(good["text"])}}, "Two files of readings were chosen, a.toml and b.toml"},
		"a binary file":    {"brake", good, []file{{name: "a.toml", data: elf}}, "a.toml is no file of readings"},
		"much text":        {"brake", good, []file{{name: "a.toml", data: []byte(strings.Repeat("# \n", maxFormBytes))}}, "text of at most 64 KiB"},
		"an empty form":    {"brake", nil, nil, "Its format is"},
		"markup in a name": {"bare-drum", map[string]string{"text": spins["text"] + "\n# <img src=y>"}, []file{{name: "<img src=x>.csv", data: elf}}, "&lt;img src=y&gt;"},
	} {
		a := s.send(s.client(), guidePath+"/"+c.kind+"/readings", c.fields, c.files...)
		if a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, c.says) {
			t.Errorf("%s: %d, and the page does not say %q:\n%.3000s", name, a.status, c.says, a.body)
		}
		if strings.Contains(a.body, "<img src=x") || strings.Contains(a.body, "<img src=y") {
			t.Errorf("%s: markup is not escaped", name)
		}
		if text := c.fields["text"]; text != "" && !strings.Contains(a.body, `dyno = &#34;cell-`) && name != "much text" {
			t.Errorf("%s: what was typed is gone", name)
		}
	}
	if seq := s.lastChange(); seq != before {
		t.Errorf("something was written: change %d", seq)
	}
}

// Uploads that no form sends, and addresses that are none.
func TestCalibratingBounds(t *testing.T) {
	s := open(t, nil)
	c, to := s.client(), guidePath+"/bare-drum/readings"
	many := make([]file, 2*maxReadingsFiles+1)
	for i := range many {
		many[i] = file{name: fmt.Sprintf("coast-%d.csv", i), data: []byte("x")}
	}
	big := []file{{name: "coast.csv", data: make([]byte, maxFileBytes+1)}}
	for name, a := range map[string]struct {
		got    answer
		status int
	}{
		"many files":  {s.send(c, to, nil, many[:maxReadingsFiles+1]...), http.StatusRequestEntityTooLarge},
		"a large log": {s.send(c, to, nil, big...), http.StatusRequestEntityTooLarge},
		"two alike":   {s.send(c, to, nil, many[0], many[0]), http.StatusBadRequest},
		"many parts":  {s.send(c, to, nil, many...), http.StatusBadRequest},
		"no upload":   {s.do(c, http.MethodPost, to, url.Values{"text": {"x"}}), http.StatusBadRequest},
		"zero bytes":  {s.send(c, to, map[string]string{"text": "a\x00b"}), http.StatusBadRequest},
		"a long text": {s.send(c, to, map[string]string{"text": strings.Repeat("x", maxFormBytes+1)}), http.StatusRequestEntityTooLarge},
		"no kind":     {s.do(c, http.MethodGet, guidePath+"/luck", nil), http.StatusNotFound},
		"no dyno":     {s.do(c, http.MethodGet, "/dynos/none/calibrate", nil), http.StatusNotFound},
		"none of it":  {s.send(c, "/dynos/none/calibrate/brake/readings", nil), http.StatusNotFound},
		"not held":    {s.do(c, http.MethodGet, guidePath+"/brake?readings=x", nil), http.StatusNotFound},
		"none held":   {s.send(c, to, map[string]string{"readings": "x"}), http.StatusUnprocessableEntity},
		"kept unseen": {s.do(c, http.MethodPost, guidePath+"/brake", url.Values{"readings": {"x"}}), http.StatusNotFound},
	} {
		if a.got.status != a.status {
			t.Errorf("%s: %d, want %d\n%.1000s", name, a.got.status, a.status, a.got.body)
		}
	}
	sample := s.send(c, dynoPath+"/recipes/file", nil, file{name: "odd.csv", data: oddLog(t, 1)}).header.Get("Location")
	_, log, _ := strings.Cut(sample, "file=")
	if a := s.do(c, http.MethodGet, guidePath+"/brake?readings="+log, nil); a.status != http.StatusNotFound {
		t.Errorf("a log to teach as readings: %d", a.status)
	}
	token := tokenOf(t, s.send(c, guidePath+"/brake/readings", nil, readingsOf(t, "brake")...))
	if a := s.do(c, http.MethodGet, dynoPath+"/recipes/new?file="+token, nil); a.status != http.StatusNotFound {
		t.Errorf("readings as a log to teach: %d", a.status)
	}
	for _, path := range []string{guidePath, guidePath + "/inertia", guidePath + "/brake?readings=" + token} {
		a := s.get(path)
		if found := inline.FindString(a.body); found != "" {
			t.Errorf("%.60s holds %q", path, strings.TrimSpace(found))
		}
	}
}

// Readings are held for who handed them in, once under each word.
func TestHeldReadings(t *testing.T) {
	var h heldFiles
	now := time.Now()
	one := map[string][]byte{readingsFile: []byte("a")}
	token := h.holdReadings("", one, "Anna Test", now)
	if got := h.holdReadings(token, map[string][]byte{readingsFile: []byte("b")}, "Anna Test", now); got != token || len(h.list) != 1 {
		t.Errorf("held again under %q, %d in all", got, len(h.list))
	}
	if f, found := h.findReadings(token, "Anna Test", now); !found || string(f.beside[readingsFile]) != "b" {
		t.Errorf("found %v: %q", found, f.beside)
	}
	if _, found := h.findReadings(token, "Bert Test", now); found {
		t.Error("another finds them")
	}
	if _, found := h.findReadings(token, "Anna Test", now.Add(heldFor)); found {
		t.Error("they are held for more than an hour")
	}
	token = h.holdReadings("", one, "Anna Test", now)
	big := map[string][]byte{readingsFile: nil, "spin.csv": make([]byte, maxHeldBytes-1)}
	h.holdReadings("", big, "Anna Test", now)
	if _, found := h.findReadings(token, "Anna Test", now); !found {
		t.Error("what fits is gone")
	}
	h.hold("b.csv", []byte("bc"), "Anna Test", now)
	if _, found := h.findReadings(token, "Anna Test", now); found {
		t.Error("more bytes are held than may be")
	}
}

func TestCalibratingRoles(t *testing.T) {
	s := guarded(t, nil)
	viewer, technician, engineer := s.as("viewer"), s.as("technician"), s.as("engineer")
	to, files := guidePath+"/brake/readings", readingsOf(t, "brake")
	page := s.do(viewer, http.MethodGet, guidePath+"/brake", nil)
	page.says(t, "Dead weights fall", "needs the role technician")
	page.saysNot(t, "Work it out")
	if a := s.send(viewer, to, nil, files...); a.status != http.StatusForbidden {
		t.Errorf("readings of a viewer: %d", a.status)
	}
	a := s.send(technician, to, nil, files...)
	token := url.Values{"readings": {tokenOf(t, a)}}
	page = s.do(technician, http.MethodGet, a.header.Get("Location"), nil)
	page.says(t, "Uncertainty budget", "Keeping it needs the role engineer")
	page.saysNot(t, ">Keep the calibration<")
	if a := s.do(technician, http.MethodPost, guidePath+"/brake", token); a.status != http.StatusForbidden {
		t.Errorf("kept by a technician: %d", a.status)
	}
	if a := s.do(engineer, http.MethodPost, guidePath+"/brake", token); a.status != http.StatusNotFound {
		t.Errorf("another one's readings: %d", a.status)
	}
	if list, err := s.w.Calibrations(t.Context(), "cell-1"); err != nil || len(list.Rows) != 0 {
		t.Errorf("kept: %+v, %v", list, err)
	}
	token = url.Values{"readings": {tokenOf(t, s.send(engineer, to, nil, files...))}}
	if a := s.do(engineer, http.MethodPost, guidePath+"/brake", token); a.status != http.StatusSeeOther {
		t.Errorf("kept by an engineer: %d", a.status)
	}
}
