package web

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
)

// A calibration is guided by hand: choose the kind, read the steps, hand the readings in,
// look at the budget, keep it. Each page on the way is accessible and fits, narrow and by
// night at a desk.
func TestGuidedCalibrationInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	var files []string
	dir := t.TempDir()
	for _, f := range readingsOf(t, "brake") {
		files = append(files, filepath.Join(dir, f.name))
		if err := os.WriteFile(files[len(files)-1], f.data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	p := page(t, ctx, s.http.URL+guidePath, desk)
	p.do(chromedp.Click(chromedp.CSS(`a[href$="/calibrate/brake"]`)))
	p.until("the guide", `document.querySelector("#text") && document.body.innerText.includes("Dead weights fall")`)
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#file"), files), chromedp.Click(chromedp.CSS("form.readings button.main")))
	p.until("the budget", `document.body.innerText.includes("Uncertainty budget") && document.querySelector("#why")`)
	result := value[string](p, `location.pathname + location.search`)
	if typed := value[string](p, `document.querySelector("#text").value`); typed != string(readingsOf(t, "brake")[0].data) {
		t.Errorf("the readings on the page are %q", typed)
	}
	p.do(chromedp.Click(chromedp.CSS("#keep ~ form button.main")))
	p.until("the calibration", `document.body.innerText.includes("The calibration is kept") && document.body.innerText.includes("From 2025-09-01")`)
	p.silent()
	for _, seen := range []struct{ name, path string }{
		{"calibrate", guidePath}, {"calibrate-inertia", guidePath + "/inertia"}, {"calibrated-brake", result},
	} {
		t.Run(seen.name, func(t *testing.T) { everyWay(t, ctx, s.http.URL+seen.path, seen.name, "", looks).silent() })
	}
}
