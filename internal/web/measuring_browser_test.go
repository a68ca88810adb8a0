package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/chromedp/chromedp"
)

// tablet is a tablet of 10 inches.
var tablets = []look{{width: 1280, height: 800}, {width: 1024, height: 768}, {width: 800, height: 1280}}

// measured takes the first two blocks of the kit's plan.
func measureTwoBlocks(t *testing.T, s *site) {
	t.Helper()
	for i, number := range []int{1, 2, 4, 5} {
		if i == 2 {
			s.post(kitPath+"/fitted", url.Values{"do": {"fitted"}, "block": {"2"}})
			s.post(kitPath+"/fitted", url.Values{"do": {"settled"}, "block": {"2"}})
		}
		s.post(kitPath+"/values", rigAir)
		if a := s.send(s.client(), kitPath+"/log", nil, file{name: fmt.Sprintf("p%d.csv", number), data: demoLog(t, number)}); a.status != http.StatusSeeOther {
			t.Fatalf("log %d: %d\n%s", number, a.status, a.body)
		}
	}
}

// The page at the rig fits, is accessible and quiet on a desk, a tablet and a
// telephone, by day and by night, before and amid measuring.
func TestMeasuringInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, func(o *Options) { o.Watch = []string{"/srv/rig-1/incoming"} })
	plan(t, s, false)
	for _, stage := range []string{"first", "amid"} {
		if stage == "amid" {
			measureTwoBlocks(t, s)
		}
		t.Run(stage, func(t *testing.T) {
			everyWay(t, ctx, s.http.URL+kitPath, "measuring-"+stage, `document.querySelector(".rig-page")`, slices.Concat(looks, tablets)).silent()
		})
	}
}

// Figures are at least 12 mm high on a tablet of 10 inches, whatever its shape and
// however it is held: the height of a digit as it is drawn, against the points that
// such a screen has to a millimetre.
func TestFiguresReadAcrossTheRig(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	plan(t, s, false)
	measureTwoBlocks(t, s)
	s.post(kitPath+"/fitted", url.Values{"do": {"fitted"}, "block": {"3"}})
	s.post(kitPath+"/fitted", url.Values{"do": {"settled"}, "block": {"3"}})
	for _, l := range tablets {
		p := page(t, ctx, s.http.URL+kitPath, l)
		p.until("the figures", `document.querySelectorAll(".rig-figure, .rig-interval").length >= 4`)
		heights := value[[]float64](p, `[...document.querySelectorAll(".rig-figure, .rig-interval")].map((e) => {
			const c = document.createElement("canvas").getContext("2d"), s = getComputedStyle(e);
			c.font = s.fontWeight + " " + s.fontSize + " " + s.fontFamily;
			return c.measureText("0").actualBoundingBoxAscent; })`)
		perMillimetre := math.Hypot(float64(l.width), float64(l.height)) / 10 / 25.4
		for i, h := range heights {
			if mm := h / perMillimetre; !(mm >= 12) {
				t.Errorf("%d × %d: figure %d is %.1f mm high", l.width, l.height, i+1, mm)
			}
		}
		p.fits()
	}
}

// A pull that arrives in a watched folder while the page is open appears without the
// page being loaded again; what a person has begun to type stays.
func TestPullArrivesInBrowser(t *testing.T) {
	ctx := browser(t)
	folder := t.TempDir()
	s := open(t, func(o *Options) { o.Watch = []string{folder} })
	plan(t, s, false)
	p := page(t, ctx, s.http.URL+kitPath, tablets[0])
	p.until("the page", `document.querySelector(".rig-page")`)
	for key, text := range map[string]string{"pressure_kpa": "98.9", "temperature_degc": "21.4", "relative_humidity_pct": "51.6", "tyre_pressure_kpa": "250", "oil_temp_degc": "90"} {
		p.do(chromedp.SendKeys(chromedp.CSS("#v_"+key), text))
	}
	p.do(chromedp.Click(chromedp.CSS(".rig-values button.main")))
	p.until("the values", `document.body.innerText.includes("now 98.9 kPa")`)
	p.do(chromedp.Click(chromedp.CSS(`.rig-logs form[action$="/folder"] button`)))
	p.until("the folder", `document.body.innerText.includes("Watched since")`)
	value[bool](p, `window.sameWindow = true`)
	if err := os.WriteFile(filepath.Join(folder, "p1.csv"), demoLog(t, 1), 0o644); err != nil {
		t.Fatal(err)
	}
	p.until("the pull", `document.body.innerText.includes("Accepted") && window.sameWindow`)
	p.picture("pull-arrived")
	value[bool](p, `(() => { document.getElementById("v_oil_temp_degc").value = "9"; return true; })()`)
	if err := os.WriteFile(filepath.Join(folder, "p2.csv"), demoLog(t, 2), 0o644); err != nil {
		t.Fatal(err)
	}
	p.until("the offer", `[...document.querySelectorAll("#live button")].some((b) => b.textContent === "Show it")`)
	if typed := value[string](p, `document.getElementById("v_oil_temp_degc").value`); typed != "9" {
		t.Errorf("what was typed is now %q", typed)
	}
	value[bool](p, `(() => { document.querySelector("#live button").click(); return true; })()`)
	p.until("the second pull", `document.body.innerText.includes("Last pull: 2") && window.sameWindow`)
	// A file that is no log changes nothing of the workspace, and is told all the same.
	if err := os.WriteFile(filepath.Join(folder, "notes.txt"), []byte("nothing to see\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	p.until("the file that is no log", `document.body.innerText.includes("notes.txt is not taken") && window.sameWindow`)
	p.silent()
	s.post(kitPath+"/folder", url.Values{"do": {"end"}})
	if err := s.rig.Close(t.Context()); err != nil {
		t.Error(err)
	}
}

// Every form of the page is reached and sent with the keyboard alone.
func TestMeasuringByKeyboard(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	plan(t, s, false)
	p := page(t, ctx, s.http.URL+kitPath, desk)
	p.until("the page", `document.querySelector(".rig-page")`)
	p.do(chromedp.Focus(chromedp.CSS("#v_tyre_pressure_kpa")), chromedp.KeyEvent("250\t90\t98.9\t21.4\t51.6\r"))
	p.until("the values", `document.body.innerText.includes("now 250 kPa") && document.body.innerText.includes("now 51.6 %")`)
	p.do(chromedp.Focus(chromedp.CSS(".rig-next summary")), chromedp.KeyEvent(" "))
	p.until("the form", `document.querySelector(".rig-next details").open`)
	p.do(chromedp.KeyEvent("\tB\ts7\t\r"))
	p.until("what is fitted", `document.body.innerText.includes("B intake and cam kit, setup s7")`)
	p.silent()
}
