package web

import (
	"net/http"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// A page that says why a form was refused goes on following the workspace: what it says
// stays until a person has read it, and then it is the page that it was before.
func TestNewsAfterARefusalInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	plan(t, s, false)
	notes := filepath.Join(t.TempDir(), "notes.csv")
	if err := os.WriteFile(notes, []byte("nothing,to see\n1,2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	p := page(t, ctx, s.http.URL+kitPath, tablets[0])
	p.until("the page", `document.querySelector(".rig-page")`)
	p.do(chromedp.SetUploadFiles(chromedp.CSS(`form[action$="/log"] input[type=file]`), []string{notes}))
	p.do(chromedp.Click(chromedp.CSS(`form[action$="/log"] button`)))
	p.until("the refusal", `document.querySelector("main [role=alert]") && window.location.pathname.endsWith("/log")`)
	value[bool](p, `window.sameWindow = true`)
	s.watch.tell(kitID)
	p.until("the offer", `[...document.querySelectorAll("#live button")].some((b) => b.textContent === "Show it")`)
	value[bool](p, `(() => { document.querySelector("#live button").click(); return true; })()`)
	p.until("the page as it is now", `!document.querySelector("main [role=alert]") && window.location.pathname.endsWith("/measuring") && window.sameWindow`)
}

// A page that cannot follow says so, and follows as soon as it can.
func TestNewsComeBackInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	for range maxStreams {
		if !s.watch.join(t.Context(), "") {
			t.Fatal("refused")
		}
	}
	p := page(t, ctx, s.http.URL+campaignPath, desk)
	p.until("the warning", `document.getElementById("live").textContent.includes("No news reach this page now")`)
	s.excludePull("2")
	for range maxStreams {
		s.watch.leave("")
	}
	p.until("the excluded pull", `document.body.innerText.includes("strap slipped") && !document.getElementById("live").textContent.includes("No news")`)
}

// A form that is pressed twice is sent once.
func TestFormIsSentOnceInBrowser(t *testing.T) {
	ctx := browser(t)
	var posts atomic.Int32
	s := open(t, nil)
	handler := s.http.Config.Handler
	s.http.Config.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost {
			posts.Add(1)
			time.Sleep(500 * time.Millisecond) // time to press again
		}
		handler.ServeHTTP(w, r)
	})
	p := page(t, ctx, s.http.URL+campaignPath, desk)
	p.until("the page", chartsDrawn)
	value[bool](p, `(() => { const press = document.querySelector('form[action$="/results"] button'); press.click();
		return new Promise((done) => setTimeout(() => { press.click(); done(true); }, 100)); })()`)
	p.until("what was done", `document.querySelector(".notice")`)
	if n := posts.Load(); n != 1 {
		t.Errorf("sent %d times", n)
	}
}
