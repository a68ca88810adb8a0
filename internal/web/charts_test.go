package web

import (
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"html"
	"image/png"
	"io"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"fairpull/internal/lab"
)

// chartPages are the pages that have charts, with the names of their charts and how
// their files are called; a star stands for the name.
func chartPages(t testing.TB, s *site) []struct {
	path, file string
	charts     []string
} {
	return []struct {
		path, file string
		charts     []string
	}{
		{campaignPath, demoID + "-*", []string{"gain-1", "levels-1", "timeline-1", "pulls-small"}},
		{pullOne, demoID + "-pull-1-*", []string{"raw", "pull-curve", "pull-coast"}},
		{explainPath + "band", demoID + "-band-*", []string{"parts"}},
		{explainPath + "torque-and-power", demoID + "-torque-and-power-*", []string{"cross"}},
		{explainPath + "pull?pull=2&rpm=4000", demoID + "-pull-pull-2-*", []string{"pull-parts"}},
		{"/history?dyno=cell-7&vehicle=keeper-1", "history-cell-7-keeper-1-*", []string{"scatter-setup", "scatter-pull"}},
		{"/check-standards?dyno=cell-7", "cell-7-*", []string{"check-standard"}},
		{"/plan?" + planForm(t, s, url.Values{"id": {"kit-9"}}).Encode(), "kit-9-plan-*", []string{"chance"}},
	}
}

var (
	figureOf = regexp.MustCompile(`<figure id="([^"]+)-figure"(?: class="chart" data-src="([^"]+)")?>`)
	linkOf   = regexp.MustCompile(`<a href="([^"]+/charts/[^"]+)" download`)
)

// Each chart of each page leads, without script, to its drawing as SVG and PNG and to
// its numbers as CSV; what a page draws anew has the same numbers; a table has them.
func TestEveryChartCanBeTakenAlong(t *testing.T) {
	s := open(t, nil)
	season(t, s, 5, 0.05)
	nameStandard(t, s)
	for _, page := range chartPages(t, s) {
		body := s.get(page.path).body
		found := figureOf.FindAllStringSubmatchIndex(body, -1)
		var names []string
		for i, at := range found {
			name, data := body[at[2]:at[3]], ""
			if at[4] >= 0 {
				data = html.UnescapeString(body[at[4]:at[5]])
			}
			end := len(body)
			if i+1 < len(found) {
				end = found[i+1][0]
			}
			names = append(names, name)
			s.chartFiles(name, strings.Replace(page.file, "*", name, 1), data, body[at[0]:end])
		}
		if !slices.Equal(names, page.charts) {
			t.Errorf("%.60s has the charts %v, wanted %v", page.path, names, page.charts)
		}
	}
}

// chartFiles fetches the three files that a figure leads to, and its data.
func (s *site) chartFiles(name, file, data, figure string) {
	t := s.t
	t.Helper()
	var links []string
	for _, link := range linkOf.FindAllStringSubmatch(figure, -1) {
		links = append(links, html.UnescapeString(link[1]))
	}
	if len(links) != 3 {
		t.Errorf("%s leads to %q, wanted SVG, PNG and CSV", name, links)
		return
	}
	if !strings.Contains(figure, "<table") && !strings.Contains(figure, `href="#numbers"`) {
		t.Errorf("%s has no table, and leads to none", name)
	}
	for i, ending := range []string{"svg", "png", "csv"} {
		a := s.get(links[i])
		if got, want := a.header.Get("Content-Disposition"), `attachment; filename="`+file+"."+ending+`"`; got != want {
			t.Errorf("%s comes as %s, wanted %s", links[i], got, want)
		}
		if !strings.Contains(a.header.Get("Content-Security-Policy"), "sandbox") {
			t.Errorf("%s: policy %q", links[i], a.header.Get("Content-Security-Policy"))
		}
		switch ending {
		case "svg":
			drawn(t, name, a.body)
		case "png":
			if size, err := png.DecodeConfig(strings.NewReader(a.body)); err != nil || size.Width < 1000 {
				t.Errorf("%s.png: %d wide, %v", name, size.Width, err)
			}
		case "csv":
			rows := readCSV(t, a.body)
			if len(rows) < 2 {
				t.Errorf("%s.csv has %d rows", name, len(rows))
			}
			if data != "" {
				s.sameNumbers(name, data, rows)
			}
		}
	}
}

// drawn fails where a drawing is no SVG that says what it is and where it is from.
func drawn(t testing.TB, name, text string) {
	t.Helper()
	decoder := xml.NewDecoder(strings.NewReader(text))
	for {
		if _, err := decoder.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Errorf("%s.svg: %v", name, err)
			return
		}
	}
	for _, want := range []string{"<svg", "<title", "Made by Fairpull test"} {
		if !strings.Contains(text, want) {
			t.Errorf("%s.svg does not say %q", name, want)
		}
	}
	for _, elsewhere := range []string{"in the table", "in a table"} {
		if strings.Contains(text, elsewhere) {
			t.Errorf("%s.svg speaks of a table, and has none", name)
		}
	}
}

func readCSV(t testing.TB, text string) [][]string {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll() // every row as long as the first
	if err != nil {
		t.Error(err)
	}
	return rows
}

// chartData is what a page draws anew.
type chartData struct {
	Format string
	X      struct {
		Values       []*float64
		Words, Ticks []string
	}
	Panels []struct {
		Title     string
		Low, High float64
		Series    []struct {
			Name              string
			Values, Low, High []*float64
			Read              []string
		}
	}
}

func (s *site) chartData(address string) chartData {
	s.t.Helper()
	var out chartData
	if err := json.Unmarshal([]byte(s.get(address).body), &out); err != nil {
		s.t.Fatal(err)
	}
	return out
}

// sameNumbers holds what a page draws against its file: axis and every series with its
// limits, and a word for each node that has a value.
func (s *site) sameNumbers(name, address string, rows [][]string) {
	t := s.t
	t.Helper()
	data := s.chartData(address)
	if data.Format != "fairpull.chart/1" || len(data.X.Values) != len(rows)-1 {
		t.Errorf("%s: %s of %d nodes, and the file has %d rows", name, data.Format, len(data.X.Values), len(rows)-1)
		return
	}
	columns := [][]*float64{data.X.Values}
	for _, panel := range data.Panels {
		for _, one := range panel.Series {
			columns = append(columns, one.Values)
			if one.Low != nil {
				columns = append(columns, one.Low, one.High)
			}
			for i, v := range one.Values {
				if v != nil && one.Read[i] == "" {
					t.Errorf("%s: nothing is said of %s at node %d", name, one.Name, i)
				}
			}
		}
	}
	for k, column := range columns {
		if !slices.ContainsFunc(seq(len(rows[0])), func(j int) bool { return holds(rows, j, column) }) {
			t.Errorf("%s: no column of %q has the numbers of series %d", name, rows[0], k)
		}
	}
}

func seq(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// holds says whether a column of a file has these numbers.
func holds(rows [][]string, j int, want []*float64) bool {
	for i, v := range want {
		cell := rows[i+1][j]
		if v == nil {
			if cell != "" {
				return false
			}
			continue
		}
		if got, err := strconv.ParseFloat(cell, 64); err != nil || got != *v {
			return false
		}
	}
	return true
}

// numbersOf returns the columns of a chart's file by their names.
func (s *site) numbersOf(path string) map[string][]float64 {
	s.t.Helper()
	rows := readCSV(s.t, s.get(path).body)
	out := map[string][]float64{}
	for j, head := range rows[0] {
		for _, row := range rows[1:] {
			v, err := strconv.ParseFloat(row[j], 64)
			if err != nil {
				v = math.NaN()
			}
			out[head] = append(out[head], v)
		}
	}
	return out
}

// Torque in lbf·ft times engine speed in rpm over 5252.113 is power in hp (1 hp is
// 33 000 ft·lbf/min), and in N·m over 9549.297 power in kW; 1 lbf·ft is 1.3558179483 N·m
// (NIST Special Publication 811, appendix B.8, from memory). Files have the units that
// are looked at.
func TestChartFilesHaveTheUnitsLookedAt(t *testing.T) {
	s := open(t, nil)
	si, us := s.numbersOf(campaignPath+"/charts/levels-1.csv"), s.numbersOf(campaignPath+"/charts/levels-1.csv?units=us")
	rpm := si["engine_speed [rpm]"]
	if len(rpm) < 20 {
		t.Fatalf("%d nodes", len(rpm))
	}
	near := func(what string, got, want, within float64) {
		t.Helper()
		if !(math.Abs(got/want-1) <= within) {
			t.Errorf("%s: %.9g, want %.9g", what, got, want)
		}
	}
	cross := s.numbersOf(explainPath + "torque-and-power/charts/cross.csv")
	pull := s.numbersOf(pullOne + "/charts/pull-curve.csv")
	for i, speed := range rpm {
		for _, side := range []string{"baseline", "candidate"} {
			near("kW", si[side+"_power [kW]"][i], si[side+"_torque [N·m]"][i]*speed/9549.29658551372, 1e-9)
			near("lbf·ft", us[side+"_torque [lbf·ft]"][i], si[side+"_torque [N·m]"][i]/1.3558179483314004, 1e-9)
			near("hp", us[side+"_power_high [hp]"][i], us[side+"_torque_high [lbf·ft]"][i]*speed/5252.11312203, 1e-9)
		}
		near("torque on one scale", cross["torque [lbf·ft]"][i], us["candidate_torque [lbf·ft]"][i], 1e-12)
		near("power on one scale", cross["power [hp]"][i], cross["torque [lbf·ft]"][i]*speed/5252.11312203, 1e-9)
	}
	for i, speed := range pull["engine_speed [rpm]"] {
		near("kW of a pull", pull["power [kW]"][i], pull["torque [N·m]"][i]*speed/9549.29658551372, 1e-9)
		torque := pull["torque [N·m]"][i]
		near("middle of the ribbon", (pull["torque_low [N·m]"][i]+pull["torque_high [N·m]"][i])/2, torque, 1e-9)
	}
}

// The check standard's EWMA and sums follow from its Q by their definitions (NIST
// handbook of statistical methods, 6.3.2.4 and 6.3.2.3, from memory: z = weight·Q + (1 − weight)·z
// before, S+ = max(0, S+ before + Q − k)), from the first check that is judged on to
// the first that signals.
func TestControlChartFollowsItsDefinition(t *testing.T) {
	s := open(t, nil)
	season(t, s, 5, 0)
	nameStandard(t, s)
	chart, err := s.w.Standard(t.Context(), lab.StandardQuery{Dyno: "cell-7"})
	if err != nil {
		t.Fatal(err)
	}
	rows := readCSV(t, s.get("/check-standards/charts/check-standard.csv?dyno=cell-7").body)
	numbers := s.numbersOf("/check-standards/charts/check-standard.csv?dyno=cell-7")
	signal := slices.Index(rows[0], "signal")
	z, up, down, judged := 0.0, 0.0, 0.0, 0
	for i, q := range numbers["q"] {
		if math.IsNaN(q) {
			if rows[i+1][signal] != "not judged" {
				t.Errorf("check %d without Q is said to be %q", i+1, rows[i+1][signal])
			}
			continue
		}
		judged++
		z = chart.Rules.Weight*q + (1-chart.Rules.Weight)*z
		up, down = math.Max(0, up+q-chart.Rules.Reference), math.Max(0, down-q-chart.Rules.Reference)
		for name, want := range map[string]float64{"ewma": z, "sum_up": up, "sum_down": down} {
			if got := numbers[name][i]; !(math.Abs(got-want) <= 1e-9) {
				t.Errorf("check %d: %s is %g, want %g", i+1, name, got, want)
			}
		}
		if rows[i+1][signal] != "good" {
			break
		}
	}
	if judged < 5 {
		t.Errorf("%d checks were judged", judged)
	}
}

// A gain is shown where its one-sided bound at 95 % lies above zero, so one that is not
// there is shown in at most 5 of 100 campaigns; a larger one is never shown less surely.
func TestChanceCurveRises(t *testing.T) {
	s := open(t, nil)
	form := planForm(t, s, url.Values{"id": {"kit-9"}, "confidence": {"95"}})
	numbers := s.numbersOf("/plan/charts/chance.csv?" + form.Encode())
	curves := 0
	for name, chances := range numbers {
		if !strings.HasPrefix(name, "chance_") {
			continue
		}
		curves++
		if !(chances[0] > 0 && chances[0] <= 5) {
			t.Errorf("%s: %g %% at no gain, want at most 5 %%", name, chances[0])
		}
		if !slices.IsSorted(chances) || !(chances[len(chances)-1] <= 100) {
			t.Errorf("%s does not rise to at most 100 %%: %v", name, chances)
		}
	}
	if curves < 2 {
		t.Errorf("%d curves in %v", curves, numbers)
	}
}

// A chart of an exploratory view says so in its name and on its drawing.
func TestExploratoryChartsSaySo(t *testing.T) {
	s := open(t, nil)
	for _, path := range []string{campaignPath + "/charts/gain-1", pullOne + "/charts/pull-curve", explainPath + "band/charts/parts"} {
		a := s.get(path + ".svg?confidence=0.9")
		if as := a.header.Get("Content-Disposition"); !strings.Contains(as, "-exploratory-") {
			t.Errorf("%s comes as %s", path, as)
		}
		if !strings.Contains(a.body, "Exploratory.") {
			t.Errorf("%s does not say that it is exploratory", path)
		}
		own := s.get(path + ".svg")
		if strings.Contains(own.header.Get("Content-Disposition")+own.body, "xploratory") {
			t.Errorf("%s says that it is exploratory, and is not", path)
		}
	}
	s.get(campaignPath+"?confidence=0.9").says(t, campaignPath+"/charts/gain-1.svg?confidence=0.9", campaignPath+"/charts/gain-1.json?confidence=0.9")
}

// What is no chart of a page is not found, whatever is asked for.
func TestNoSuchChart(t *testing.T) {
	s := open(t, nil)
	for _, path := range []string{campaignPath + "/charts/gain-9.svg", campaignPath + "/charts/gain-1", campaignPath + "/charts/gain-1.exe", campaignPath + "/charts/.svg",
		campaignPath + "/charts/timeline-1.json", campaignPath + "/charts/pull-curve.svg", campaignPath + "/charts/..%2f..%2fgain-1.svg", "/campaigns/none/charts/gain-1.svg",
		pullOne + "/charts/raw.json", pullOne + "/charts/gain-1.csv", campaignPath + "/pulls/none/charts/raw.svg", explainPath + "none/charts/parts.svg",
		explainPath + "band/charts/cross.svg", "/history/charts/scatter-setup.svg?dyno=none", "/history/charts/scatter-setup.svg", "/check-standards/charts/check-standard.svg?dyno=cell-1",
		"/plan/charts/chance.svg", "/plan/charts/chance.svg?form=1&like=none"} {
		if a := s.do(s.client(), http.MethodGet, path, nil); a.status != http.StatusNotFound {
			t.Errorf("%s: %d\n%.300s", path, a.status, a.body)
		}
	}
	if a := s.do(s.client(), http.MethodGet, campaignPath+"/charts/gain-1.svg?confidence=2", nil); a.status != http.StatusBadRequest {
		t.Errorf("a confidence of 2: %d", a.status)
	}
}

// The file of a raw log's drawing has every channel with its unit, and no spike is lost.
func TestRawChartFile(t *testing.T) {
	s := longLog(t, 2000, 700)
	rows := readCSV(t, s.get(pullOne+"/charts/raw.csv").body)
	if want := []string{"channel", "unit", "time [s]", "value"}; !slices.Equal(rows[0], want) {
		t.Fatalf("columns %q, want %q", rows[0], want)
	}
	seen := map[string]float64{}
	for _, row := range rows[1:] {
		v, err := strconv.ParseFloat(row[3], 64)
		if err != nil {
			t.Fatal(row, err)
		}
		seen[row[0]+" "+row[1]] = max(seen[row[0]+" "+row[1]], v)
	}
	if seen["fan "] != 99 { // the one row of the log that has it
		t.Errorf("greatest by channel: %v", seen)
	}
}

func BenchmarkCharts(b *testing.B) {
	for _, name := range []string{"gain-1.json", "gain-1.svg", "gain-1.png", "levels-1.csv"} {
		b.Run(name, func(b *testing.B) { answers(b, fmt.Sprintf("%s/charts/%s", campaignPath, name), nil) })
	}
}
