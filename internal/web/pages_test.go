package web

import (
	"compress/gzip"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"fairpull/internal/lab"
)

func judge(t testing.TB, s *site) {
	t.Helper()
	if _, err := s.w.Judge(t.Context(), demoID, lab.JudgeOptions{By: bert, Program: "test", Keep: true}); err != nil {
		t.Fatal(err)
	}
}

func TestOverview(t *testing.T) {
	s := open(t, nil)
	s.get("/").says(t, "Measuring, or waiting for a verdict", "Intake and cam kit on the 650 twin", `href="`+campaignPath+`"`, "No verdict is kept yet", "cell-1")
	judge(t, s)
	page := s.get("/")
	page.says(t, "Judged", "gain shown", "6.3", "procedure", "<svg")
	page.saysNot(t, "waiting for a verdict", "earlier data")
	if err := s.w.Exclude(t.Context(), demoID, "1", "strap slipped", 0, bert.Who); err != nil {
		t.Fatal(err)
	}
	s.get("/").says(t, "waiting for a verdict", "earlier data")
}

func TestSearch(t *testing.T) {
	s := open(t, nil)
	judge(t, s)
	for query, found := range map[string]bool{
		"words=intake": true, "words=cam+kit": true, "words=turbine": false, "vehicle=twin650-03": true, "vehicle=other": false,
		"dyno=cell-1": true, "verdict=gain+shown": true, "verdict=loss+shown": false, "from=2025-09-16&to=2025-09-16": true,
		"from=2025-09-17": false, "to=2025-09-15": false,
	} {
		if got := strings.Contains(s.get("/?"+query).body, `href="`+campaignPath+`"`); got != found {
			t.Errorf("%s finds it: %v", query, got)
		}
	}
	if a := s.do(s.client(), http.MethodGet, "/?from=yesterday", nil); a.status != http.StatusBadRequest {
		t.Errorf("a day that is none: %d", a.status)
	}
}

func TestEmptyWorkspace(t *testing.T) {
	w, err := lab.InitWorkspace(t.Context(), t.TempDir()+"/lab")
	if err != nil {
		t.Fatal(err)
	}
	s := serve(t, w, nil)
	s.get("/").says(t, "No campaign is in this workspace yet", "fairpull import")
	if a := s.do(s.client(), http.MethodGet, "/campaigns/none", nil); a.status != http.StatusNotFound {
		t.Errorf("a campaign that is not there: %d", a.status)
	}
}

// The page says what the report says: the verdict first, then the gain, torque
// and power, the figures, the checks.
func TestCampaignPage(t *testing.T) {
	s := open(t, nil)
	page := s.get(campaignPath)
	look, err := s.desk.Look(t.Context(), demoID, lab.LookSettings{})
	if err != nil {
		t.Fatal(err)
	}
	view := look.View("test", 0)
	sentence := view.Sentence(&view.Comparisons[0])
	plain := strings.ReplaceAll(strings.ReplaceAll(page.body, "\u00a0", " "), "&#43;", "+")
	if !strings.Contains(plain, sentence) {
		t.Errorf("the page does not say %q", sentence)
	}
	rest := plain
	for _, part := range []string{`class="verdict shown"`, `id="gain-1-figure"`, `id="levels-1-figure"`, "The verdict stands on the primary figure", `id="timeline-1-figure"`,
		`id="checks"`, `id="pulls"`, `id="pulls-small-figure"`, `id="conditions"`, "outside", `id="procedure"`, `id="take"`} {
		_, after, found := strings.Cut(rest, part)
		if !found {
			t.Errorf("%q does not stand where it should", part)
		}
		rest = after
	}
	page.saysNot(t, "Exploratory")
}

func TestUnits(t *testing.T) {
	s := open(t, nil)
	c := s.client()
	s.do(c, http.MethodGet, campaignPath, nil).says(t, "N·m")
	a := s.do(c, http.MethodPost, "/units", url.Values{"units": {"us"}, "back": {campaignPath + "?confidence=0.9&units=si"}})
	if a.status != http.StatusSeeOther || a.header.Get("Location") != campaignPath+"?confidence=0.9" {
		t.Errorf("%d, to %q", a.status, a.header.Get("Location"))
	}
	page := s.do(c, http.MethodGet, campaignPath, nil)
	page.says(t, "lbf·ft", "°F")
	page.saysNot(t, "at the wheel, N·m")
	s.do(c, http.MethodGet, campaignPath+"?units=si", nil).says(t, "N·m")
	if a := s.do(c, http.MethodPost, "/units", url.Values{"units": {"furlongs"}}); a.status != http.StatusBadRequest {
		t.Errorf("units that are none: %d", a.status)
	}
}

// A changed setting changes the figures, says that the view claims nothing, and
// gives no at-least figure.
func TestExploratoryView(t *testing.T) {
	s := open(t, nil)
	own := s.get(campaignPath)
	own.says(t, "a gain of at least")
	for _, query := range []string{"confidence=0.8", "band_low=3500&band_high=5000", "correction=DIN+70020", "correction=none"} {
		page := s.get(campaignPath + "?" + query)
		page.says(t, "Exploratory.", "exploratory", "Not enough evidence", "Back to the campaign", "/files/curves.csv?")
		page.saysNot(t, "a gain of at least", "Judge, and keep")
		if gain := s.get(campaignPath + "/files/report.html?" + query); !strings.Contains(gain.body, "exploratory") || !strings.Contains(gain.header.Get("Content-Disposition"), "exploratory") {
			t.Errorf("%s: the report to take along is not marked", query)
		}
	}
	same := s.get(campaignPath + "?band_low=3000&band_high=6500&confidence=0.95&correction=SAE+J1349")
	same.saysNot(t, "Exploratory.")
	for _, query := range []string{"confidence=2", "confidence=NaN", "band_low=5000&band_high=3000", "band_low=x&band_high=y", "band_low=NaN&band_high=NaN", "band_low=2000", "correction=own"} {
		if a := s.do(s.client(), http.MethodGet, campaignPath+"?"+query, nil); a.status != http.StatusBadRequest {
			t.Errorf("%s: %d", query, a.status)
		}
	}
	if seq := s.lastChange(); seq != 1 {
		t.Errorf("looking wrote change %d", seq)
	}
}

// A cause comes before the effect, both results stay, and a form made for an
// earlier version changes nothing.
func TestExcludeAndRestore(t *testing.T) {
	s := open(t, nil)
	c := s.client()
	form := url.Values{"pull": {"2"}, "cause": {"strap slipped,\nheard by the rider"}, "version": {"1"}}
	for _, wrong := range []url.Values{
		{"pull": {"2"}, "cause": {" "}, "version": {"1"}}, {"pull": {"99"}, "cause": {"spun"}, "version": {"1"}}, {"pull": {"2"}, "cause": {"spun"}}, {},
	} {
		if a := s.do(c, http.MethodPost, campaignPath+"/exclude", wrong); a.status < 400 || a.status >= 500 {
			t.Errorf("%v: %d", wrong, a.status)
		}
	}
	a := s.do(c, http.MethodPost, campaignPath+"/exclude", form)
	if a.status != http.StatusSeeOther || a.header.Get("Location") != campaignPath+"?done=excluded#pulls" {
		t.Fatalf("%d, to %q: %s", a.status, a.header.Get("Location"), a.body)
	}
	page := s.get(campaignPath + "?done=excluded")
	page.says(t, "strap slipped, heard by the rider", "With every excluded pull put back", "The pull is excluded", "version 2")
	if a := s.do(c, http.MethodPost, campaignPath+"/exclude", url.Values{"pull": {"3"}, "cause": {"spun"}, "version": {"1"}}); a.status != http.StatusConflict {
		t.Errorf("a form for version 1: %d", a.status)
	}
	if a := s.do(c, http.MethodPost, campaignPath+"/restore", url.Values{"pull": {"2"}, "why": {"it was the next pull"}, "version": {"2"}}); a.status != http.StatusSeeOther {
		t.Errorf("put back: %d %s", a.status, a.body)
	}
	s.get(campaignPath).saysNot(t, "put back (", "strap slipped")
	notes, err := s.desk.ChangesAfter(t.Context(), 1, 10)
	if err != nil || len(notes) != 2 {
		t.Errorf("changes %+v, %v", notes, err)
	}
}

func TestKeep(t *testing.T) {
	s := open(t, nil)
	c := s.client()
	for _, done := range []string{"kept", "same"} {
		a := s.do(c, http.MethodPost, campaignPath+"/results", url.Values{})
		if a.status != http.StatusSeeOther || a.header.Get("Location") != campaignPath+"?done="+done+"#take" {
			t.Errorf("%d, to %q: %s", a.status, a.header.Get("Location"), a.body)
		}
	}
	s.get(campaignPath).says(t, "A result was kept on")
}

func TestDownloads(t *testing.T) {
	s := open(t, nil)
	for file, begins := range map[string]string{"report.html": "<!DOCTYPE html>", "report.pdf": "%PDF-", "picture.svg": "<?xml", "picture.png": "\x89PNG", "curves.csv": "baseline,candidate,", "gain.json": "{"} {
		a := s.get(campaignPath + "/files/" + file)
		if !strings.HasPrefix(strings.TrimSpace(a.body), begins) || !strings.Contains(a.header.Get("Content-Disposition"), demoID+"-"+file) || !strings.Contains(a.header.Get("Content-Security-Policy"), "sandbox") {
			t.Errorf("%s: %q, %q", file, a.body[:min(40, len(a.body))], a.header)
		}
	}
	if a := s.do(s.client(), http.MethodGet, campaignPath+"/files/gain.exe", nil); a.status != http.StatusNotFound {
		t.Errorf("a file that there is none of: %d", a.status)
	}
}

// The charts' data are those of the gain result.
func TestChartData(t *testing.T) {
	s := open(t, nil)
	var gain struct {
		Comparisons []struct {
			Curve []struct {
				RPM  float64 `json:"rpm"`
				Gain float64 `json:"gain_pct"`
			}
		}
	}
	if err := json.Unmarshal([]byte(s.get(campaignPath+"/files/gain.json").body), &gain); err != nil {
		t.Fatal(err)
	}
	var chart struct {
		Format string
		X      struct{ Values []float64 }
		Panels []struct {
			Series []struct {
				Values []float64
				Read   []string
			}
		}
	}
	if err := json.Unmarshal([]byte(s.get(campaignPath+"/charts/gain-1.json").body), &chart); err != nil {
		t.Fatal(err)
	}
	curve := gain.Comparisons[0].Curve
	if chart.Format != "fairpull.chart/1" || len(chart.X.Values) != len(curve) || len(chart.Panels) != 1 {
		t.Fatalf("chart %s of %d nodes, %d panels; the result has %d nodes", chart.Format, len(chart.X.Values), len(chart.Panels), len(curve))
	}
	for i, n := range curve {
		one := chart.Panels[0].Series[0]
		if chart.X.Values[i] != n.RPM || one.Values[i] != n.Gain || !strings.Contains(one.Read[i], "%") {
			t.Errorf("node %d: %g rpm %g %%, %q; the result has %g rpm %g %%", i, chart.X.Values[i], one.Values[i], one.Read[i], n.RPM, n.Gain)
		}
	}
}

// A browser that has a page already is told so, and pages travel compressed.
func TestCaching(t *testing.T) {
	s := open(t, nil)
	c := s.client()
	page := s.do(c, http.MethodGet, campaignPath, nil, "Accept-Encoding", "gzip")
	if page.header.Get("Content-Encoding") != "gzip" || len(page.body) > 300<<10 {
		t.Errorf("encoding %q, %d bytes", page.header.Get("Content-Encoding"), len(page.body))
	}
	if a := s.do(c, http.MethodGet, campaignPath, nil, "If-None-Match", page.header.Get("ETag")); a.status != http.StatusNotModified || a.body != "" {
		t.Errorf("the same again: %d, %d bytes", a.status, len(a.body))
	}
	html := s.get("/").body
	for _, asset := range regexp.MustCompile(`(?:href|src)="(/assets/[^"]+)"`).FindAllStringSubmatch(html, -1) {
		a := s.get(asset[1])
		if !strings.Contains(a.header.Get("Cache-Control"), "immutable") || a.header.Get("Content-Type") == "" {
			t.Errorf("%s: %v", asset[1], a.header)
		}
	}
}

// All that a first visit fetches, as it travels: the page, its style and script,
// the data of its charts.
func TestFirstVisitIsSmall(t *testing.T) {
	s := open(t, nil)
	judge(t, s)
	c := s.client()
	fetch := func(path string) (string, int) {
		a := s.do(c, http.MethodGet, path, nil, "Accept-Encoding", "gzip")
		if a.status != http.StatusOK {
			t.Fatalf("%s: %d", path, a.status)
		}
		if a.header.Get("Content-Encoding") != "gzip" {
			return a.body, len(a.body)
		}
		plain, err := gzip.NewReader(strings.NewReader(a.body))
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(plain)
		if err != nil {
			t.Fatal(err)
		}
		return string(text), len(a.body)
	}
	for _, path := range []string{"/", campaignPath} {
		html, total := fetch(path)
		parts := regexp.MustCompile(`(?:href|src|data-src)="(/assets/[^"]+|/campaigns/[^"]+\.json)"`).FindAllStringSubmatch(html, -1)
		if len(parts) < 3 {
			t.Fatalf("%s names %d files", path, len(parts))
		}
		seen := map[string]bool{}
		for _, part := range parts {
			if !seen[part[1]] {
				seen[part[1]] = true
				_, size := fetch(part[1])
				total += size
			}
		}
		t.Logf("%s: %d KiB in %d answers", path, total>>10, len(seen)+1)
		if total > 300<<10 {
			t.Errorf("%s: %d bytes", path, total)
		}
	}
}

func TestHealthAndMetrics(t *testing.T) {
	s := open(t, nil)
	s.get("/healthz").says(t, "ok")
	s.get("/readyz").says(t, "ready")
	s.get(campaignPath)
	s.get("/metrics").says(t, `fairpull_http_requests_total{route="GET /campaigns/{id}",status="200"} 1`, "fairpull_analyses_kept 1", "go_goroutines")
	if err := s.w.Close(); err != nil {
		t.Fatal(err)
	}
	if a := s.do(s.client(), http.MethodGet, "/readyz", nil); a.status != http.StatusServiceUnavailable {
		t.Errorf("without its workspace: %d", a.status)
	}
	s.get("/healthz")
}
