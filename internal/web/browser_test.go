package web

import (
	"cmp"
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// axe is the checker of accessibility, axe-core 4.14.1 (MPL-2.0; its licence
// stands beside it). It is a tool of these tests and not in the program.
//
//go:embed testdata/axe/axe.min.js
var axe string

// browserNames are the programs that these tests drive, the first that is there.
var browserNames = []string{"chromium", "chromium-browser", "google-chrome"}

// browser starts a real browser for one test. Its pages are closed with it.
func browser(t *testing.T) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser is started")
	}
	path := ""
	for _, name := range browserNames {
		if found, err := exec.LookPath(name); err == nil {
			path = found
			break
		}
	}
	if path == "" {
		if os.Getenv("CI") != "" {
			t.Fatal("no browser is installed, and continuous integration has to have one (apt-get install chromium)")
		}
		t.Skip("no browser is installed (apt-get install chromium): these tests did not happen")
	}
	// Waiting ends before go test ends everything, so that a failure says where.
	ctx, cancel := context.WithCancel(context.Background())
	if deadline, limited := t.Deadline(); limited {
		cancel()
		ctx, cancel = context.WithDeadline(context.Background(), deadline.Add(-10*time.Second))
	}
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, chromedp.ExecPath(path), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.NoDefaultBrowserCheck, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.Flag("disable-dev-shm-usage", true),
		chromedp.Flag("hide-scrollbars", true), chromedp.Flag("lang", "en"))
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	return ctx
}

// tab is one page of a browser. What it writes on its console is kept.
type tab struct {
	t     *testing.T
	ctx   context.Context
	close func()
	large bool

	mu   sync.Mutex
	said []string
}

// look is how a page is looked at.
type look struct {
	width, height int64
	dark, still   bool // still: script does not run
}

var desk = look{width: 1280, height: 900}

// page opens an address in a new tab.
func page(t *testing.T, browser context.Context, address string, l look) *tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser)
	t.Cleanup(cancel)
	p := &tab{t: t, ctx: ctx, close: cancel}
	messages := chromedp.Console(ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			if m.Type == chromedp.ConsoleException || m.Type == "error" || m.Type == "warning" {
				p.mu.Lock()
				p.said = append(p.said, string(m.Type)+": "+m.Text)
				p.mu.Unlock()
			}
		}
	}()
	p.seenAs(l)
	if l.still {
		if _, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
			t.Fatal(err)
		}
	}
	p.do(chromedp.Navigate(address))
	return p
}

// looks is how each page is looked at: as it opens on a telephone, then at a desk by
// night.
var looks = []look{{width: 360, height: 740}, {width: 1280, height: 900, dark: true}}

// chartsDrawn becomes true once every chart to read is there.
const chartsDrawn = `document.querySelector("main h1") && [...document.querySelectorAll("figure.chart")].every((f) => f.querySelector(".plot canvas"))`

// everyWay opens a page once and looks at it in each way: it fits its window and is
// accessible. ready, where one is given, becomes true once the page is as it should be.
func everyWay(t *testing.T, browser context.Context, address, name, ready string, ways []look) *tab {
	t.Helper()
	p := page(t, browser, address, ways[0])
	for i, l := range ways {
		if i > 0 {
			p.seenAs(l)
			value[bool](p, `new Promise((drawn) => requestAnimationFrame(() => requestAnimationFrame(() => drawn(true))))`)
		}
		p.until("the page", cmp.Or(ready, chartsDrawn))
		p.fits()
		p.accessible()
		shot := fmt.Sprintf("%s-%d", name, l.width)
		if l.dark {
			shot += "-dark"
		}
		p.picture(shot)
	}
	return p
}

// seenAs sets window and colour scheme.
func (p *tab) seenAs(l look) {
	p.t.Helper()
	p.large = l.width > 2000
	scheme := "light"
	if l.dark {
		scheme = "dark"
	}
	if _, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}); err != nil {
		p.t.Fatal(err)
	}
	p.do(chromedp.EmulateViewport(l.width, l.height))
}

func (p *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	if err := chromedp.Do(p.ctx, steps...); err != nil {
		p.t.Fatal(err)
	}
}

// value evaluates an expression in the page.
func value[T any](p *tab, expression string) T {
	p.t.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// until waits for the page to be there and an expression to become true.
func (p *tab) until(what, expression string) {
	p.t.Helper()
	wanted := chromedp.Evaluate[bool](`!!(document.readyState === "complete" && (` + expression + `))`)
	for range 600 {
		// Between two pages there is nothing to ask.
		if holds, err := chromedp.Run(p.ctx, wanted); err == nil && holds {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	p.picture("waited-for-" + what)
	p.t.Fatalf("waited for %s; the page says\n%.2000s", what, value[string](p, "document.body.innerText"))
}

// text is what a person reads on the page.
func (p *tab) text() string {
	p.t.Helper()
	return strings.ReplaceAll(value[string](p, "document.body.innerText"), "\u00a0", " ")
}

// silent fails where the page wrote an error on the console.
func (p *tab) silent() {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, s := range p.said {
		p.t.Errorf("on the console: %s", s)
	}
}

// picture keeps a picture of the whole page, of a large window what is seen; go test -artifacts says where.
func (p *tab) picture(name string) {
	p.t.Helper()
	shot := chromedp.FullScreenshot(100)
	if p.large { // a whole page of that width has fifty million points
		shot = chromedp.CaptureScreenshot()
	}
	data, err := chromedp.Run(p.ctx, shot)
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(p.t.ArtifactDir(), name+".png"), data, 0o644); err != nil {
		p.t.Fatal(err)
	}
}

// accessible fails where axe finds something serious or worse.
func (p *tab) accessible() {
	p.t.Helper()
	if !value[bool](p, `!!window.axe`) {
		value[bool](p, axe+"; true")
	}
	found := value[string](p, `axe.run(document, {resultTypes: ["violations"]}).then((r) => JSON.stringify(
		r.violations.map((v) => ({id: v.id, impact: v.impact, help: v.help, nodes: v.nodes.slice(0, 5).map((n) => n.html.slice(0, 200) + " " + n.failureSummary)}))))`)
	var violations []struct {
		ID, Impact, Help string
		Nodes            []string
	}
	if err := json.Unmarshal([]byte(found), &violations); err != nil {
		p.t.Fatal(err)
	}
	for _, v := range violations {
		report := p.t.Logf
		if v.Impact == "serious" || v.Impact == "critical" {
			report = p.t.Errorf
		}
		report("axe: %s, %s: %s\n  %s", v.Impact, v.ID, v.Help, strings.Join(v.Nodes, "\n  "))
	}
}

// fits fails where the page is wider than the window.
func (p *tab) fits() {
	p.t.Helper()
	if wide := value[string](p, `(() => { const w = document.documentElement.clientWidth;
		if (document.documentElement.scrollWidth <= w) return "";
		const e = [...document.querySelectorAll("body *")].filter((e) => e.getBoundingClientRect().right > w + 1 && !e.closest(".scroll")).slice(0, 5);
		return document.documentElement.scrollWidth + " of " + w + ": " + e.map((e) => e.tagName + "." + e.className).join(", "); })()`); wide != "" {
		p.t.Errorf("the page is wider than its window: %s", wide)
	}
}

// pagesToSee are the pages that are opened in every way, by the name of their
// picture.
var pagesToSee = []struct{ name, path string }{
	{"overview", "/"}, {"campaign", campaignPath},
	{"search", "/?words=nothing-has-this"}, {"exploratory", campaignPath + "?band_low=3500&band_high=5000"}, {"not-found", "/campaigns/none"},
}

// Every page is quiet, fits its window and is accessible: narrow, at a desk, on
// a large screen, by day and by night.
func TestPagesInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	judge(t, s)
	for _, seen := range pagesToSee {
		t.Run(seen.name, func(t *testing.T) {
			ways := looks
			if seen.name == "campaign" || seen.name == "overview" { // these two have a layout of their own
				ways = slices.Concat(looks, []look{desk, {width: 3840, height: 2160}})
			}
			p := everyWay(t, ctx, s.http.URL+seen.path, seen.name, "", ways)
			if seen.name != "not-found" { // the browser itself reports its status
				p.silent()
			}
		})
	}
}

// The charts answer pointer and keyboard, with every figure beside its interval.
func TestChartsInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	p := page(t, ctx, s.http.URL+campaignPath, desk)
	p.until("the charts", `document.querySelectorAll(".plot canvas").length === 3`)
	const read = `document.querySelector("#gain-1-figure .plot-read").innerText`
	p.do(chromedp.Focus(chromedp.CSS("#gain-1-figure .plot")), chromedp.KeyEvent("\ue00f")) // unused key: nothing happens
	value[bool](p, `document.querySelector("#gain-1-figure .plot").dispatchEvent(new KeyboardEvent("keydown", {key: "Home", bubbles: true}))`)
	first := value[string](p, read)
	if !strings.Contains(first, "rpm") || !strings.Contains(first, "at this speed") || !strings.Contains(first, " to ") {
		t.Errorf("the crosshair reads %q", first)
	}
	value[bool](p, `document.querySelector("#gain-1-figure .plot").dispatchEvent(new KeyboardEvent("keydown", {key: "ArrowRight", bubbles: true}))`)
	if second := value[string](p, read); second == first || !strings.Contains(second, "rpm") {
		t.Errorf("one step on the crosshair reads %q, as before", second)
	}
	const span = `(() => { const c = document.querySelector("#levels-1-figure .plot"); return c.innerText; })()`
	value[bool](p, `(() => { const over = document.querySelector("#levels-1-figure .u-over"); const r = over.getBoundingClientRect();
		over.dispatchEvent(new MouseEvent("mousemove", {clientX: r.left + r.width / 2, clientY: r.top + r.height / 2, bubbles: true})); return true; })()`)
	p.until("what the pointer reads", `document.querySelector("#levels-1-figure .plot-read").innerText.includes("±")`)
	if words := value[string](p, span); !strings.Contains(words, "N·m") || !strings.Contains(words, "kW") {
		t.Errorf("both panels say %q", words)
	}
	for _, words := range []string{"Zoom in", "Zoom out", "Whole range"} {
		value[bool](p, fmt.Sprintf(`(() => { [...document.querySelectorAll("#gain-1-figure button")].find((b) => b.textContent === %q).click(); return true; })()`, words))
	}
	p.silent()
}

// A change shows on an open page without it being loaded again; what a person
// has begun to type is not thrown away.
func TestNewsInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	p := page(t, ctx, s.http.URL+campaignPath, desk)
	p.until("the charts", `document.querySelectorAll(".plot canvas").length === 3`)
	value[bool](p, `window.sameWindow = true`)
	s.excludePull("2")
	p.until("the excluded pull", `document.body.innerText.includes("strap slipped") && window.sameWindow`)
	p.until("the charts again", `document.querySelectorAll(".plot canvas").length === 3`)
	value[bool](p, `(() => { document.querySelectorAll("details").forEach((d) => { d.open = true; }); document.getElementById("cause").value = "half a sen"; return true; })()`)
	s.excludePull("3")
	p.until("the offer", `[...document.querySelectorAll("#live button")].some((b) => b.textContent === "Show it")`)
	if typed := value[string](p, `document.getElementById("cause").value`); typed != "half a sen" {
		t.Errorf("what was typed is now %q", typed)
	}
	value[bool](p, `(() => { document.querySelector("#live button").click(); return true; })()`)
	p.until("version 3", `document.body.innerText.includes("version 3") && window.sameWindow`)
	p.silent()

	overview := page(t, ctx, s.http.URL+"/", desk)
	judge(t, s)
	overview.until("the verdict on the overview", `document.body.innerText.includes("torque than") && document.querySelector(".small-chart svg")`)
	overview.silent()
}

// A page that nobody sees holds no stream, so that many pages can be open, and
// catches up when it is seen again.
func TestHiddenPageInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	p := page(t, ctx, s.http.URL+"/", desk)
	streams := func(want int) {
		t.Helper()
		for range 200 {
			if s.watch.count() == want {
				return
			}
			time.Sleep(20 * time.Millisecond)
		}
		t.Fatalf("%d streams, want %d", s.watch.count(), want)
	}
	show := func(hidden bool) {
		value[bool](p, fmt.Sprintf(`(() => { Object.defineProperty(document, "hidden", {value: %t, configurable: true});
			document.dispatchEvent(new Event("visibilitychange")); return true; })()`, hidden))
	}
	streams(1)
	show(true)
	streams(0)
	judge(t, s)
	show(false)
	p.until("the verdict on the overview", `document.body.innerText.includes("torque than") && document.querySelector(".small-chart svg")`)
	streams(1)
	p.silent()
}

// The forms of the campaign page, as a person uses them.
func TestFormsInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	p := page(t, ctx, s.http.URL+campaignPath, desk)
	fill := func(form string, fields map[string]string, button string) {
		t.Helper()
		for id, text := range fields {
			value[bool](p, fmt.Sprintf(`(() => { const f = document.getElementById(%q); f.closest("details").open = true; f.value = %q; return f.value === %q; })()`, id, text, text))
		}
		p.do(chromedp.Click(chromedp.CSS(form + " " + button)))
	}
	fill(`form[action$="/exclude"]`, map[string]string{"exclude-pull": "5", "cause": "wheel spun on the drum"}, "button")
	p.until("the excluded pull", `document.body.innerText.includes("wheel spun on the drum")`)
	if text := p.text(); !strings.Contains(text, "With every excluded pull put back") || !strings.Contains(text, "The pull is excluded.") {
		t.Error("the page does not give both results, or does not say what was done")
	}
	p.picture("excluded")
	fill(`form[action$="/restore"]`, map[string]string{"restore-pull": "5", "why": "it was pull 6"}, "button")
	p.until("the pull put back", `document.body.innerText.includes("The pull takes part again.")`)
	fill(`form[method="get"]`, map[string]string{"band_low": "3500", "band_high": "5000"}, "button")
	p.until("the exploratory view", `document.body.innerText.includes("Exploratory.") && location.search.includes("band_low=3500")`)
	p.do(chromedp.Click(chromedp.CSS(`form[action$="/units"] button`)))
	p.until("other units", `document.body.innerText.includes("lbf·ft") && location.search.includes("band_low=3500")`)
	p.silent()
}

// Without script the page has its drawings and its forms.
func TestWithoutScriptInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	p := page(t, ctx, s.http.URL+campaignPath, look{width: 1280, height: 900, still: true})
	p.do(chromedp.WaitVisible(chromedp.CSS("#gain-1-figure svg")), chromedp.WaitVisible(chromedp.CSS("#levels-1-figure svg")))
	p.do(chromedp.Click(chromedp.CSS("details.settings summary")), chromedp.WaitVisible(chromedp.CSS("#band_low")))
	p.picture("campaign-without-script")
}

// Signing in, with a word that is wrong and with the right one.
func TestSignInInBrowser(t *testing.T) {
	ctx := browser(t)
	s := guarded(t, nil)
	p := page(t, ctx, s.http.URL+campaignPath, desk)
	p.until("the sign-in page", `location.pathname === "/sign-in"`)
	p.accessible()
	p.silent()
	p.do(chromedp.SendKeys(chromedp.CSS("#name"), "technician"), chromedp.SendKeys(chromedp.CSS("#password"), "wrong"), chromedp.Click(chromedp.CSS("main button")))
	p.until("the refusal", `document.body.innerText.includes("do not belong together")`)
	p.picture("sign-in")
	p.do(chromedp.SendKeys(chromedp.CSS("#password"), password), chromedp.Click(chromedp.CSS("main button")))
	p.until("the campaign", `location.pathname.startsWith("/campaigns/") && document.body.innerText.includes("Sign out technician")`)
	if text := p.text(); strings.Contains(text, "Judge, and keep the result") || !strings.Contains(text, "Exclude a pull") {
		t.Error("the page offers what the role may not do, or not what it may")
	}
	p.do(chromedp.Click(chromedp.CSS(`form[action="/sign-out"] button`)))
	p.until("the sign-in page again", `location.pathname === "/sign-in"`)
}
