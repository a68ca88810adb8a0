package web

import (
	"fmt"
	"net/url"
	"testing"

	"github.com/chromedp/chromedp"
)

// The pages of claims, covers and steps are quiet, fit their window and are accessible,
// narrow by day and at a desk by night; the widest screen is seen once.
func TestClaimPagesInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	claimable(t, s)
	s.leads("/claims", url.Values{"campaign": {demoID}, "by": {"Dora Drafter"}}, "/claims/C-0001?done=drafted")
	s.leads("/claims/C-0001/review", url.Values{"by": {"Rita Reviewer"}}, "/claims/C-0001?done=reviewed")
	makeKeys(t, s).published(t, s, "C-0001")
	s.leads("/claims", url.Values{"amends": {"C-0001"}, "by": {"Dora Drafter"}, "why": {"a slip in the parts"}}, "/claims/C-0002?done=drafted")
	asked := url.Values{"ask": {"yes"}, "parts": {"camshaft = K-218\nintake = K-218 F\nexhaust = Y-1"}}
	for _, seen := range []struct {
		name, path, ready string
		ways              []look
	}{
		{"claims", "/claims", "", looks[:1]},
		{"claim", "/claims/C-0001", `document.querySelectorAll("#curves ~ * .plot canvas, section .plot canvas").length >= 2`, append(looks[:2:2], look{width: 3840, height: 2160})},
		{"claim-draft", "/claims/C-0002", "", looks[:1]},
		{"draft", "/claims/new?campaign=" + demoID, "", looks[1:]},
		{"details", "/claims/C-0002/details", "", looks[:1]},
		{"covers", "/covers?" + asked.Encode(), "", looks},
		{"steps", campaignPath + "/steps", `document.querySelectorAll(".plot canvas").length >= 1`, looks},
		{"overview-signed", "/", "", looks[1:]},
	} {
		t.Run(seen.name, func(t *testing.T) {
			everyWay(t, ctx, s.http.URL+seen.path, seen.name, seen.ready, seen.ways).silent()
		})
	}
}

// A claim is drafted and reviewed as a person does it, and the page that is open shows
// what was signed elsewhere without being loaded again.
func TestClaimFormsInBrowser(t *testing.T) {
	ctx := browser(t)
	s := open(t, nil)
	claimable(t, s)
	p := page(t, ctx, s.http.URL+campaignPath, desk)
	set := func(id, text string) {
		t.Helper()
		if !value[bool](p, fmt.Sprintf(`(() => { const f = document.getElementById(%q); f.value = %q; return f.value === %q; })()`, id, text, text)) {
			t.Fatalf("%s does not take %q", id, text)
		}
	}
	p.do(chromedp.Click(chromedp.CSS(`a[href^="/claims/new?campaign="]`)))
	p.until("the form", `document.getElementById("not-covered")`)
	set("not-covered", "Sidecars.")
	set("by", "Dora Drafter")
	p.do(chromedp.Click(chromedp.CSS(`form[action="/claims"] button`)))
	p.until("the draft", `document.body.innerText.includes("The claim is drafted") && document.body.innerText.includes("Sidecars.")`)
	set("by", "Rita Reviewer")
	p.do(chromedp.Click(chromedp.CSS(`form[action="/claims/C-0001/review"] button`)))
	p.until("the review", `document.body.innerText.includes("Reviewed by Rita Reviewer") && document.body.innerText.includes("--sign --key approver.key")`)
	value[bool](p, `(() => { window.same = true; return true; })()`)
	makeKeys(t, s).published(t, s, "C-0001")
	p.until("that it is published, on the same page", `window.same && document.body.innerText.includes("It stands in the record")`)
	p.silent()
}
