package web

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fairpull/internal/lab"
)

const pullOne = campaignPath + "/pulls/1"

func TestPullPage(t *testing.T) {
	s := open(t, nil)
	page := s.get(pullOne)
	page.body = strings.ReplaceAll(page.body, "\u00a0", " ")
	page.says(t, "<h1>Pull 1 of A</h1>", "Channels as recorded", "drum speed, rpm", "settling", "Reduced curve", "corrected by", "± one SE", "N·m",
		"Coast-down", "(this one)", "Encoder, slip and gear", "The log itself", `href="`+campaignPath+`/pulls/2" rel="next"`, "pull 1 of the", `data-src="`+pullOne+`/raw.json"`)
	if n := strings.Count(page.body, "<svg"); n < 3 {
		t.Errorf("%d drawings without script, wanted those of channels, curve and coast-down", n)
	}
	s.get(pullOne+"?units=us").says(t, "lbf·ft", "hp")
	s.get(pullOne+"?confidence=0.9").says(t, "Exploratory.")
	if a := s.do(s.client(), http.MethodGet, campaignPath+"/pulls/none", nil); a.status != http.StatusNotFound {
		t.Errorf("a pull that is not there: %d", a.status)
	}
	if a := s.do(s.client(), http.MethodGet, "/campaigns/none/pulls/1", nil); a.status != http.StatusNotFound {
		t.Errorf("a campaign that is not there: %d", a.status)
	}
}

// An excluded pull has its page, and says why it does not count.
func TestPullPageOfAnExcludedPull(t *testing.T) {
	s := open(t, nil)
	s.excludePull("2")
	s.get(campaignPath+"/pulls/2").says(t, "not used: strap slipped", "Reduced curve")
}

// rawAnswer is what the address of the raw channels answers.
type rawAnswer struct {
	Format   string
	First    float64
	Last     float64
	From     float64
	To       float64
	Rows     int
	Phases   []struct{ Name string }
	Channels []struct {
		Title, Unit string
		X, Y        []*float64
	}
}

func (s *site) raw(path string) rawAnswer {
	s.t.Helper()
	var out rawAnswer
	if err := json.Unmarshal([]byte(s.get(path).body), &out); err != nil {
		s.t.Fatal(err)
	}
	return out
}

// longLog writes a campaign whose only pull has n rows: a course that rises and
// falls evenly, with one spike of a single row.
func longLog(t *testing.T, n, spike int) *site {
	t.Helper()
	dir := t.TempDir()
	folder := filepath.Join(dir, "campaign")
	if err := lab.WriteDemo(folder); err != nil {
		t.Fatal(err)
	}
	w, err := lab.InitWorkspace(t.Context(), filepath.Join(dir, "lab"))
	if err != nil {
		t.Fatal(err)
	}
	var log strings.Builder
	log.WriteString("time [s],drum_speed [rad/s],engine_speed [rpm],fan\n")
	for i := range n {
		at := float64(i) / float64(n-1)
		speed := 20 + 80*math.Sin(math.Pi*at)
		v := 1.0
		if i == spike {
			v = 99
		}
		fmt.Fprintf(&log, "%.6f,%.5f,%.3f,%g\n", 40*at, speed, 60*speed, v)
	}
	rows, err := os.ReadFile(filepath.Join(folder, "pulls.csv"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitN(string(rows), "\n", 3)
	name := ""
	for i, head := range strings.Split(lines[0], ",") {
		if head == "log" {
			name = strings.Split(lines[1], ",")[i]
		}
	}
	if err := os.WriteFile(filepath.Join(folder, filepath.FromSlash(name)), []byte(log.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Import(t.Context(), folder, bert, false); err != nil {
		t.Fatal(err)
	}
	return serve(t, w, nil)
}

// Of 200,000 rows no spike is lost, whatever is looked at, and an answer has no
// more points than were asked for.
func TestRawChannelsKeepEverySpike(t *testing.T) {
	const n, spike = 200_000, 123_457
	s := longLog(t, n, spike)
	whole := s.raw(pullOne + "/raw.json?points=500")
	if whole.Format != "fairpull.raw/1" || whole.Rows != n || whole.First != 0 || whole.Last != 40 {
		t.Fatalf("the whole log: %s, %d rows, %g to %g", whole.Format, whole.Rows, whole.First, whole.Last)
	}
	fan := func(a rawAnswer) (points int, greatest float64) {
		for _, c := range a.Channels {
			if len(c.X) != len(c.Y) || len(c.X) > 500+2 {
				t.Errorf("channel %s has %d and %d points", c.Title, len(c.X), len(c.Y))
			}
			if strings.HasPrefix(c.Title, "fan") {
				points = len(c.X)
				for _, v := range c.Y {
					greatest = max(greatest, *v)
				}
			}
		}
		return points, greatest
	}
	if points, greatest := fan(whole); points < 100 || greatest != 99 {
		t.Errorf("the whole log: %d points, greatest %g; the spike is 99", points, greatest)
	}
	at := 40 * float64(spike) / (n - 1)
	near := s.raw(fmt.Sprintf("%s/raw.json?points=500&from=%g&to=%g", pullOne, at-0.01, at+0.01))
	if points, greatest := fan(near); points < 90 || points > 110 || greatest != 99 {
		t.Errorf("0.02 s of 5,000 rows a second: %d points, greatest %g", points, greatest)
	}
	if points, greatest := fan(s.raw(fmt.Sprintf("%s/raw.json?points=500&from=%g&to=40", pullOne, at+0.01))); points < 100 || greatest != 1 {
		t.Errorf("after the spike: %d points, greatest %g", points, greatest)
	}
}

func TestRawChannelsRefuse(t *testing.T) {
	s := open(t, nil)
	for _, query := range []string{"from=x", "to=NaN", "from=Inf", "points=0", "points=1e9", "points=99", "points=4001"} {
		if a := s.do(s.client(), http.MethodGet, pullOne+"/raw.json?"+query, nil); a.status != http.StatusBadRequest {
			t.Errorf("%s: %d", query, a.status)
		}
	}
	if got := s.raw(pullOne + "/raw.json?from=-1e300&to=1e300"); got.From != got.First || got.To != got.Last || len(got.Phases) < 2 {
		t.Errorf("beyond both ends: %g to %g of %g to %g, %d phases", got.From, got.To, got.First, got.Last, len(got.Phases))
	}
}

// The log's text comes some lines at a time, as text, and as the file it was.
func TestLogText(t *testing.T) {
	s := open(t, nil)
	first := s.get(pullOne + "/log")
	first.says(t, "lines 1 to 200 of", "time", "Later lines", `<ol start="1">`)
	first.saysNot(t, "Earlier lines")
	s.get(pullOne+"/log?line=201").says(t, `<ol start="201">`, "Earlier lines", "log?line=1\"")
	s.get(pullOne+"/log?line=999999999").says(t, "Earlier lines")
	for _, line := range []string{"0", "-1", "x", "99999999999999999999"} {
		if a := s.do(s.client(), http.MethodGet, pullOne+"/log?line="+line, nil); a.status != http.StatusBadRequest {
			t.Errorf("line %s: %d", line, a.status)
		}
	}
	file := s.get(pullOne + "/log/file")
	if kind, as := file.header.Get("Content-Type"), file.header.Get("Content-Disposition"); kind != "application/octet-stream" || !strings.HasPrefix(as, `attachment; filename="`+demoID) {
		t.Errorf("the file comes as %s, %s", kind, as)
	}
	if !strings.Contains(file.body, "\n") || strings.Contains(file.body, "<html") {
		t.Errorf("the file is %.200q", file.body)
	}
}

// A log that holds markup and control characters is shown as text.
func TestLogTextIsNeverMarkup(t *testing.T) {
	dir := t.TempDir()
	folder := filepath.Join(dir, "campaign")
	if err := lab.WriteDemo(folder); err != nil {
		t.Fatal(err)
	}
	logs, err := filepath.Glob(filepath.Join(folder, "logs", "*"))
	if err != nil || len(logs) == 0 {
		t.Fatal(logs, err)
	}
	for _, name := range logs {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		attack := "# <script>alert(1)</script> \x1b[2J \u202e\n"
		if err := os.WriteFile(name, append([]byte(attack), text...), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	w, err := lab.InitWorkspace(t.Context(), filepath.Join(dir, "lab"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Import(t.Context(), folder, bert, false); err != nil {
		t.Fatal(err)
	}
	s := serve(t, w, nil)
	a := s.get(pullOne + "/log")
	a.says(t, "# &lt;script&gt;alert(1)&lt;/script&gt; �[2J �")
	a.saysNot(t, "<script>alert", "\x1b", "\u202e")
	s.get(pullOne).saysNot(t, "<script>alert", "\x1b")
}

func BenchmarkPullPage(b *testing.B) {
	s := open(b, nil)
	s.get(pullOne)
	for b.Loop() {
		s.get(pullOne)
	}
}
