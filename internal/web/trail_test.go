package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"fairpull/internal/lab"
)

const statePath = campaignPath + "/state"

// A campaign is closed, withdrawn and opened again on its page, each with a reason,
// and the trail says so.
func TestStateForm(t *testing.T) {
	s := open(t, nil)
	page := s.get(campaignPath)
	page.says(t, "It is open; from now on", `value="closed"`, `value="withdrawn"`, "Exclude a pull", `href="/trail?campaign=`+demoID+`"`)
	page.saysNot(t, `value="open"`)
	for _, step := range []struct{ state, done, says string }{
		{"closed", "state-closed", "The campaign is closed from now on."},
		{"closed", "state-same", "in this state already"},
		{"withdrawn", "state-withdrawn", "no history any more"},
	} {
		a := s.do(s.client(), http.MethodPost, statePath, url.Values{"state": {step.state}, "why": {" measured\nto the <end> "}})
		if want := campaignPath + "?done=" + step.done + "#take"; a.status != http.StatusSeeOther || a.header.Get("Location") != want {
			t.Fatalf("to %s: %d to %q, want %q\n%s", step.state, a.status, a.header.Get("Location"), want, a.body)
		}
		page := s.get(campaignPath + "?done=" + step.done)
		page.says(t, step.says, "It is "+step.state+"; from now on", `value="open"`, "pulls are excluded and put back after it was opened again")
		page.saysNot(t, "Exclude a pull")
	}
	if a := s.do(s.client(), http.MethodPost, campaignPath+"/exclude", excludeForm); a.status != http.StatusConflict {
		t.Errorf("a pull of a withdrawn campaign is excluded: %d", a.status)
	}
	s.post(statePath, url.Values{"state": {"open"}, "why": {"one block more"}})
	s.get(campaignPath).says(t, "It is open; from now on", "Exclude a pull")
	trail := s.get("/trail?campaign=" + demoID)
	trail.says(t, "Audit trail of campaign "+demoID, "set state, campaign "+demoID, "Bert Test", "measured to the &lt;end&gt;", "&#34;closed&#34; → &#34;withdrawn&#34;", "one block more")
	trail.saysNot(t, "<end>")
}

// What is refused leaves the campaign as it was.
func TestStateRefuses(t *testing.T) {
	s := open(t, nil)
	for _, row := range []struct {
		path   string
		form   url.Values
		status int
		says   string
	}{
		{statePath, url.Values{"state": {"closed"}, "why": {" \n"}}, http.StatusUnprocessableEntity, "No reason is given"},
		{statePath, url.Values{"why": {"because"}}, http.StatusUnprocessableEntity, "No state is chosen"},
		{statePath, url.Values{"state": {"gone"}, "why": {"because"}}, http.StatusUnprocessableEntity, "open, closed or withdrawn"},
		{"/campaigns/none/state", url.Values{"state": {"closed"}, "why": {"because"}}, http.StatusNotFound, "none"},
	} {
		a := s.do(s.client(), http.MethodPost, row.path, row.form)
		if a.status != row.status || !strings.Contains(a.body, row.says) {
			t.Errorf("POST %s %v: %d, wanted %d with %q\n%.1500s", row.path, row.form, a.status, row.status, row.says, a.body)
		}
	}
	if seq := s.lastChange(); seq != 1 {
		t.Errorf("what was refused made change %d", seq)
	}
}

// Setting the state takes the role engineer; the trail is there for everybody who may
// look.
func TestStateTakesTheRole(t *testing.T) {
	s := guarded(t, nil)
	form := url.Values{"state": {"closed"}, "why": {"because"}}
	for _, role := range []string{"viewer", "technician"} {
		c := s.as(role)
		if a := s.do(c, http.MethodPost, statePath, form); a.status != http.StatusForbidden {
			t.Errorf("as a %s: %d", role, a.status)
		}
		s.do(c, http.MethodGet, campaignPath, nil).saysNot(t, "Close, withdraw")
		if a := s.do(c, http.MethodGet, "/trail", nil); a.status != http.StatusOK || !strings.Contains(a.body, "import, campaign "+demoID) {
			t.Errorf("the trail for a %s: %d", role, a.status)
		}
	}
	if a := s.do(s.client(), http.MethodGet, "/trail", nil); a.status == http.StatusOK {
		t.Error("the trail is shown to nobody in particular")
	}
	if a := s.do(s.as("engineer"), http.MethodPost, statePath, form); a.status != http.StatusSeeOther {
		t.Errorf("as an engineer: %d", a.status)
	}
}

// The trail is shown in pages, of a campaign and from a day on.
func TestTrailPage(t *testing.T) {
	s := open(t, nil)
	for i := range trailRows + 3 {
		why := fmt.Sprintf("turn %d", i)
		if _, err := s.w.SetState(t.Context(), demoID, []lab.CampaignState{lab.StateClosed, lab.StateOpen}[i%2], lab.Author{Who: bert.Who, Why: why}); err != nil {
			t.Fatal(err)
		}
	}
	page := s.get("/trail")
	page.says(t, fmt.Sprintf("turn %d<", trailRows+2), "turn 3<", `href="/trail?after=5"`)
	page.saysNot(t, "turn 2<")
	rest := s.get("/trail?after=5")
	rest.says(t, "turn 2<", "turn 0<", "import, campaign "+demoID, `id="change-1"`)
	rest.saysNot(t, "turn 3<", "Earlier changes")
	s.get("/trail?since=2025-09-16").says(t, "turn 100", `href="/trail?after=5&amp;since=2025-09-16"`)
	s.get("/trail?since=2999-01-01").says(t, "No change is of that time.")
	s.get("/").says(t, `<a href="/trail">`)
	for path, status := range map[string]int{
		"/trail?campaign=none": http.StatusNotFound, "/trail?since=May": http.StatusBadRequest, "/trail?after=x": http.StatusBadRequest, "/trail?after=0": http.StatusBadRequest,
	} {
		if a := s.do(s.client(), http.MethodGet, path, nil); a.status != status {
			t.Errorf("%s: %d, want %d", path, a.status, status)
		}
	}
}
