package web

import (
	"fmt"
	"net/url"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// labPages are the pages of pull, history, check standard and explanations; those
// that are seen in every way, and the others.
var labPages = []struct {
	name, path string
	every      bool
}{
	{"pull", pullOne, true}, {"history", "/history?dyno=cell-7", true}, {"standard", "/check-standards?dyno=cell-7", true},
	{"explain-band", explainPath + "band", true}, {"explain-both", explainPath + "torque-and-power", true},
	{"log", pullOne + "/log", false}, {"no-standard", "/check-standards?dyno=cell-1", false},
	{"explain-pull", explainPath + "pull?pull=2", false}, {"explain-correction", explainPath + "correction?pull=2", false},
	{"explain-scatter", explainPath + "scatter", false}, {"explain-drift", explainPath + "drift", false},
	{"explain-coast", explainPath + "coast-down", false}, {"explain-curve", explainPath + "curve", false},
}

// Each of these pages is quiet, fits its window and is accessible, narrow by day and
// at a desk by night.
func TestLabPagesInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	season(t, s, 5, 0.05)
	nameStandard(t, s)
	for _, seen := range labPages {
		t.Run(seen.name, func(t *testing.T) {
			ways, ready := looks, ""
			if !seen.every {
				ways = looks[:1]
			}
			if seen.name == "pull" {
				ready = `document.querySelectorAll("#raw-figure .plot canvas").length === 5 && ` + chartsDrawn
			}
			everyWay(t, ctx, s.http.URL+seen.path, seen.name, ready, ways).silent()
		})
	}
}

// The charts of pull, history, check standard, plan and explanation are read by
// keyboard and zoomed, each figure beside its interval, in words of the server.
func TestEveryChartIsReadInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	season(t, s, 5, 0.05)
	nameStandard(t, s)
	for _, seen := range []struct {
		path, chart string
		first, last []string // what the crosshair says at both ends
		middle      []string // and near the middle
	}{
		{pullOne, "pull-curve", []string{"rpm", "torque", "N·m (one SE)", "power", "kW"}, []string{"±"}, nil},
		{pullOne, "pull-coast", []string{"km/h · ", "pull", "N·m"}, []string{"km/h · ", "pull", "N·m"}, []string{"point", "pull 1", "pull 2"}},
		{"/history?dyno=cell-7", "scatter-setup", []string{"2026-05-04, campaign season-2026-05", "95 % limits", "degrees of freedom"}, []string{"season-2026-09"}, nil},
		{"/check-standards?dyno=cell-7", "check-standard", []string{"check 1 of 2026-05-04, campaign season-2026-05", "mean torque", "not judged"}, []string{"check 10", "EWMA", "sum up", "sum down"}, nil},
		{"/plan?" + planForm(t, s, url.Values{"id": {"kit-9"}}).Encode(), "chance", []string{"true gain 0.00 %", "A-B-A, one setup", "A-B-A-B, one setup"}, []string{"true gain 4.40 %"}, nil},
		{explainPath + "torque-and-power", "cross", []string{"rpm", "lbf·ft", "hp", "±"}, []string{"lbf·ft"}, nil},
	} {
		t.Run(seen.chart, func(t *testing.T) {
			p := page(t, ctx, s.http.URL+seen.path, desk)
			p.until("the chart", fmt.Sprintf(`document.querySelector("#%s-figure .plot canvas")`, seen.chart))
			read := func(key string, says ...string) string {
				t.Helper()
				words := value[string](p, fmt.Sprintf(`(() => { const plot = document.querySelector("#%s-figure .plot");
					plot.dispatchEvent(new KeyboardEvent("keydown", {key: %q, bubbles: true})); return plot.querySelector(".plot-read").innerText; })()`, seen.chart, key))
				for _, want := range says {
					if !strings.Contains(words, want) {
						t.Errorf("after %s the crosshair says %q, not %q", key, words, want)
					}
				}
				return words
			}
			read("ArrowLeft", seen.middle...)
			first := read("Home", seen.first...)
			if second := read("ArrowRight"); second == first {
				t.Errorf("one step on it says %q, as before", second)
			}
			read("+")
			read("+")
			read("End", seen.last...)
			read("0")
			p.silent()
		})
	}
}

// Without script a pull has its drawings, its numbers and its log.
func TestPullWithoutScriptInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	p := page(t, ctx, s.http.URL+pullOne, look{width: 1280, height: 900, still: true})
	for _, figure := range []string{"#raw-figure svg", "#pull-curve-figure svg", "#pull-coast-figure svg"} {
		p.do(chromedp.WaitVisible(chromedp.CSS(figure)))
	}
	p.picture("pull-without-script")
	p.do(chromedp.Click(chromedp.CSS(`a[href$="/pulls/1/log"]`)), chromedp.WaitVisible(chromedp.CSS(".log-text li")))
}

// A raw log of 200,000 rows is looked into by keyboard, by button and by dragging;
// each time the server gives what is seen, and no spike is lost.
func TestRawLogInBrowser(t *testing.T) {
	ctx := browser(t)
	const n, spike = 200_000, 123_457
	s := longLog(t, n, spike)
	p := page(t, ctx, s.http.URL+pullOne, desk)
	p.until("the channels", `document.querySelectorAll("#raw-figure .plot canvas").length === 3`)
	shown := func() string { return value[string](p, `document.getElementById("raw-figure").dataset.shown || ""`) }
	key := func(k string) {
		value[bool](p, fmt.Sprintf(`document.querySelector("#raw-figure .plot").dispatchEvent(new KeyboardEvent("keydown", {key: %q, bubbles: true}))`, k))
	}
	key("+")
	p.until("half of the log", `document.getElementById("raw-figure").dataset.shown === "10 30"`)
	key("PageDown")
	p.until("the later half", `document.getElementById("raw-figure").dataset.shown === "20 40"`)
	key("ArrowRight")
	p.until("what is read", `document.querySelector("#raw-figure .plot-read").innerText.includes("rpm")`)
	value[bool](p, `(() => { [...document.querySelectorAll("#raw-figure button")].find((b) => b.textContent === "Whole log").click(); return true; })()`)
	p.until("the whole log", `document.getElementById("raw-figure").dataset.shown === "0 40"`)
	value[bool](p, `(async () => { const over = document.querySelector("#raw-figure .u-over"); const r = over.getBoundingClientRect();
		const at = async (kind, share, where) => {
			where.dispatchEvent(new MouseEvent(kind, {clientX: r.left + share * r.width, clientY: r.top + r.height / 2, movementX: 30, bubbles: true, button: 0}));
			await new Promise((done) => setTimeout(done, 60)); };
		await at("mousemove", 0.6, over); await at("mousedown", 0.6, over); await at("mousemove", 0.65, over); await at("mouseup", 0.65, document); return true; })()`)
	p.until("what was dragged over", `(document.getElementById("raw-figure").dataset.shown || "0 40") !== "0 40"`)
	var from, to float64
	if _, err := fmt.Sscan(shown(), &from, &to); err != nil || from < 23 || from > 25 || to < 25 || to > 27 {
		t.Errorf("dragged over 60 to 65 %% of 40 s: shown is %q", shown())
	}
	p.picture("raw-zoomed")
	p.silent()
}

// The forms of history and check standard, as a person uses them.
func TestHistoryFormsInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	season(t, s, 3, 0)
	p := page(t, ctx, s.http.URL+"/history?dyno=cell-7", desk)
	set := func(id, text string) {
		t.Helper()
		if !value[bool](p, fmt.Sprintf(`(() => { const f = document.getElementById(%q); f.value = %q; return f.value === %q; })()`, id, text, text)) {
			t.Fatalf("%s does not take %q", id, text)
		}
	}
	set("out", "season-2026-06")
	set("out-why", "the cover rubbed")
	p.do(chromedp.Click(chromedp.CSS(`form[action="/history/leave-out"] button`)))
	p.until("that it is left out", `document.body.innerText.includes("is left out of the history") && document.body.innerText.includes("the cover rubbed")`)
	set("back", "season-2026-06")
	set("back-why", "it was another one")
	p.do(chromedp.Click(chromedp.CSS(`form[action="/history/take-back"] button`)))
	p.until("that it is back", `document.body.innerText.includes("is in the history again")`)
	p.do(chromedp.Navigate(s.http.URL + "/check-standards?dyno=cell-7"))
	set("standard-vehicle", "keeper-1")
	p.do(chromedp.Click(chromedp.CSS(`form[action="/check-standards"][method="post"] button`)))
	p.until("the check standard", `document.body.innerText.includes("The check standard is named.") && document.querySelector("#check-standard-figure svg")`)
	value[bool](p, `(() => { document.querySelector("details.pull-form").open = true; return true; })()`)
	set("end-why", "sold")
	p.do(chromedp.Click(chromedp.CSS(`form[action="/check-standards/end"] button`)))
	p.until("that it is ended", `document.body.innerText.includes("has no check standard any more")`)
	p.silent()
}
