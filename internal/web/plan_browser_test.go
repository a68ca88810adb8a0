package web

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// Planning, rigs and teaching: each page fits, is accessible and quiet, narrow, at a
// desk, on a tablet, by day and by night.
func TestPlanningPagesInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	judge(t, s)
	plan(t, s, false)
	s.post(dynoPath+"/calibrations", url.Values{"day": {"2025-09-01"}, "inertia": {"15.3"}, "inertia_u": {"0.1"}, "note": {"rim weights"}})
	sample := s.send(s.client(), dynoPath+"/recipes/file", nil, file{name: "odd.csv", data: oddLog(t, 1)}).header.Get("Location")
	taught := sample + "&form=1&name=odd&ch0=time&u0=s&ch1=drum_speed&u1=km/h&ch2=engine_speed&u2=rpm"
	wrong := planForm(t, s, url.Values{"smallest": {"two"}, "k1_role": {"baseline"}, "id": {"kit-9"}})
	for _, seen := range []struct{ name, path string }{
		{"plan-like", "/plan"}, {"plan-form", "/plan?like=" + demoID}, {"plan-designs", "/plan?" + planForm(t, s, url.Values{"id": {"kit-9"}}).Encode()},
		{"plan-wrong", "/plan?" + wrong.Encode()}, {"sheet", "/campaigns/" + kitID + "/plan"}, {"vehicles", "/vehicles"},
		{"dynos", "/dynos"}, {"dyno", dynoPath}, {"teach", sample}, {"taught", taught},
	} {
		t.Run(seen.name, func(t *testing.T) {
			p := everyWay(t, ctx, s.http.URL+seen.path, seen.name, "", looks)
			if seen.name != "plan-wrong" { // the browser itself reports its status
				p.silent()
			}
		})
	}
}

// A campaign is planned by hand: choose one to be like, name it, change a part, look
// at the designs, keep one.
func TestPlanningInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	p := page(t, ctx, s.http.URL+"/plan", desk)
	p.do(chromedp.Click(chromedp.CSS("main form button")))
	p.until("the form", `document.querySelector("#id")`)
	p.do(chromedp.SendKeys(chromedp.CSS("#id"), kitID))
	value[bool](p, `(() => { const f = document.querySelector('[name="k1_c0_serial"]'); f.value = "0500"; return f.value === "0500"; })()`)
	p.do(chromedp.Click(chromedp.CSS(".plan-form > p button.main")))
	p.until("the designs", `document.querySelectorAll('[name="design"]').length > 2 && document.querySelector("#chance, figure svg")`)
	if typed := value[string](p, `document.querySelector('[name="k1_c0_serial"]').value`); typed != "0500" {
		t.Errorf("what was typed is now %q", typed)
	}
	p.do(chromedp.Click(chromedp.CSS(`.plan-choice button.main`)))
	p.until("the sheet", `document.body.innerText.includes("The plan is kept.") && document.body.innerText.includes("serial 0500")`)
	p.silent()
}

// A kind of log is taught by hand: choose a file, say what its columns are, look at the
// curve, keep it.
func TestTeachingInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	log := filepath.Join(t.TempDir(), "odd.csv")
	if err := os.WriteFile(log, oddLog(t, 1), 0o644); err != nil {
		t.Fatal(err)
	}
	p := page(t, ctx, s.http.URL+dynoPath+"/recipes/new", desk)
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{log}), chromedp.Click(chromedp.CSS("main form button")))
	p.until("the columns", `document.querySelectorAll("table.teach tbody tr").length === 6`)
	value[bool](p, `(() => { const set = (n, v) => { document.querySelector('[name="' + n + '"]').value = v; };
		set("ch0", "time"); set("ch1", "drum_speed"); set("ch2", "engine_speed"); return true; })()`)
	p.do(chromedp.Click(chromedp.CSS("main form > p button.main")))
	p.until("the curve", `document.body.innerText.includes("Is that what the rig did?") && document.querySelector("#pull-curve-figure .plot canvas")`)
	p.picture("taught-by-hand")
	p.do(chromedp.Click(chromedp.CSS(".proof button.main")))
	p.until("the recipe", `document.body.innerText.includes("The recipe is kept") && document.body.innerText.includes("drum_speed = Walze in km/h")`)
	p.silent()
}

// A calibration is entered with the keyboard alone.
func TestCalibrationByKeyboard(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	p := page(t, ctx, s.http.URL+dynoPath, desk)
	p.do(chromedp.Focus(chromedp.CSS("#calibrations ~ details summary")), chromedp.KeyEvent(" "))
	p.until("the form", `document.querySelector("#calibrations ~ details").open`)
	value[bool](p, `(() => { document.getElementById("day").value = "2025-09-01"; document.getElementById("c-inertia").focus(); return true; })()`)
	p.do(chromedp.KeyEvent("15.3\t0.1\r"))
	p.until("the calibration", `document.body.innerText.includes("15.3 ± 0.1 kg·m²")`)
	if list, err := s.w.Calibrations(t.Context(), "cell-1"); err != nil || len(list.Rows) != 1 {
		t.Errorf("kept: %+v, %v", list, err)
	}
	p.silent()
}

// The pages at the rig and of planning hold nothing that the content policy blocks.
func TestNoInlineInLabPages(t *testing.T) {
	s := open(t, nil)
	plan(t, s, false)
	sample := s.send(s.client(), dynoPath+"/recipes/file", nil, file{name: "odd.csv", data: oddLog(t, 1)}).header.Get("Location")
	for _, path := range []string{kitPath, "/plan", "/plan?like=" + demoID, "/plan?" + planForm(t, s, url.Values{"id": {"kit-9"}}).Encode(), "/campaigns/" + kitID + "/plan",
		"/vehicles", "/dynos", dynoPath, sample} {
		a := s.do(s.client(), http.MethodGet, path, nil)
		if found := inline.FindString(a.body); found != "" || a.status != http.StatusOK {
			t.Errorf("%.60s: %d, holds %q", path, a.status, strings.TrimSpace(found))
		}
	}
}
