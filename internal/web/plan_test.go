package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"fairpull/internal/lab"
)

// planForm is the form of a plan like the demo's, filled in as the page offers it.
func planForm(t testing.TB, s *site, change url.Values) url.Values {
	t.Helper()
	draft, err := s.w.DraftLike(t.Context(), demoID)
	if err != nil {
		t.Fatal(err)
	}
	draft.ID = kitID
	form := planValues(draft)
	form.Set("form", "1")
	for name := range change {
		form.Set(name, change.Get(name))
	}
	return form
}

// From an earlier campaign to a planned one with its pull sheet.
func TestPlanningACampaign(t *testing.T) {
	s := open(t, nil)
	s.get("/plan").says(t, "Like campaign", demoID+": Intake and cam kit on the 650 twin")
	s.get("/plan?like="+demoID).says(t, `name="title" maxlength="400" value="Intake and cam kit on the 650 twin"`, `value="K-218"`, `value="0417"`, `value="31-06"`,
		`name="k1_s1_value"`, `value="E10 98, batch 7"`, `<option value="baseline" selected>`, `value="3000"`, "Another configuration", "<option selected>cell-1</option>")
	form := planForm(t, s, nil)
	a := s.get("/plan?" + form.Encode())
	a.says(t, "Recommended:", "chance of showing a gain"[1:], "Chance of showing a gain, %", `<svg`, "Choose one", "(recommended)", "Where the standard error comes from")
	form.Set("design", "A-B-A-B-A 2 anew")
	form.Set("settling", "1")
	done := s.do(s.client(), http.MethodPost, "/plan", form)
	if done.status != http.StatusSeeOther || done.header.Get("Location") != "/campaigns/"+kitID+"/plan?done=planned" {
		t.Fatalf("keeping: %d to %q\n%s", done.status, done.header.Get("Location"), done.body)
	}
	s.get(done.header.Get("Location")).says(t, "The plan is kept.", "Pull sheet, PDF", "Order of blocks", "Block 5: A as delivered", "from K-218, serial 0417", "Plan it anew")
	s.get(kitPath).says(t, "Next: Block 1 of 5")
	if a := s.get("/campaigns/" + kitID + "/plan/pull-sheet.pdf"); !strings.HasPrefix(a.body, "%PDF-") || a.header.Get("Content-Disposition") != `attachment; filename="`+kitID+`-pull-sheet.pdf"` {
		t.Errorf("the sheet is %.20q as %s", a.body, a.header.Get("Content-Disposition"))
	}
	s.get("/campaigns/"+kitID+"/plan/pull-sheet.html").says(t, "<!DOCTYPE html>", "Block 5")
	for _, none := range []string{"/campaigns/" + kitID + "/plan/key.pdf", "/campaigns/" + kitID + "/plan/sheet.doc", "/campaigns/" + demoID + "/plan", "/campaigns/none/plan", "/plan?like=none"} {
		if a := s.do(s.client(), http.MethodGet, none, nil); a.status != http.StatusNotFound {
			t.Errorf("%s: %d", none, a.status)
		}
	}
	// As long as no candidate was pulled it can be planned anew.
	s.get("/plan?like="+kitID+"&again=1").says(t, `name="id" maxlength="64" required value="`+kitID+`"`)
	form.Set("like", kitID)
	form.Set("design", "A-B-A 3 anew")
	if done := s.do(s.client(), http.MethodPost, "/plan", form); done.status != http.StatusSeeOther {
		t.Fatalf("anew: %d\n%.2000s", done.status, done.body)
	}
	s.get(kitPath).says(t, "Next: Block 1 of 3")
}

// A changed part makes the campaign that is kept.
func TestPlanTakesChangedParts(t *testing.T) {
	s := open(t, nil)
	form := planForm(t, s, url.Values{"design": {"A-B-A 2 anew"}, "k1_c0_serial": {"0500"}, "k1_name": {"cam alone"}, "k1_c1_part": {"F-650-1"}, "smallest": {"2,5"}, "blind": {"yes"}})
	if done := s.do(s.client(), http.MethodPost, "/plan", form); done.status != http.StatusSeeOther {
		t.Fatalf("keeping: %d\n%.3000s", done.status, done.body)
	}
	c, err := s.w.PlannedCampaign(t.Context(), kitID)
	if err != nil {
		t.Fatal(err)
	}
	b := c.Configurations[1]
	if b.Name != "cam alone" || b.Components[0].Serial != "0500" || b.Components[1].Part != "F-650-1" || c.Objective.SmallestGain != 0.025 || !c.Plan.Blind || len(c.Procedure) != 2 {
		t.Errorf("kept: %+v, %+v", b, c.Objective)
	}
	s.get("/campaigns/"+kitID+"/plan").says(t, "Pull sheet for the rider", "Key, PDF")
	s.get("/campaigns/"+kitID+"/plan/key.html").says(t, "Key, not for the rider", "cam alone")
}

// What is wrong stands beside its field, what was typed stays, and nothing is kept.
func TestPlanRefuses(t *testing.T) {
	s := open(t, nil)
	seq := s.lastChange()
	for name, c := range map[string]struct {
		change url.Values
		says   string
	}{
		"no id":            {url.Values{"id": {""}}, "The campaign has no id"},
		"an id in use":     {url.Values{"id": {demoID}, "design": {"A-B-A 2 anew"}}, "has pulls already"},
		"an id of a path":  {url.Values{"id": {"../x"}}, "is not a slug"},
		"a word":           {url.Values{"smallest": {"two"}}, "“two” is no number"},
		"no gain":          {url.Values{"smallest": {""}}, "smallest gain of interest is not stated"},
		"a gain above all": {url.Values{"smallest": {"400"}}, "from 0 to 100"},
		"band":             {url.Values{"band_low": {"7000"}}, "band"},
		"two baselines":    {url.Values{"k1_role": {"baseline"}}, "baseline"},
		"parts, no id":     {url.Values{"k1_id": {""}}, "has parts and no id"},
		"no design":        {url.Values{"design": {""}}, "Choose one of the designs"},
		"an odd design":    {url.Values{"design": {"A-Z-A 2 anew"}}, "esign"},
		"many pulls":       {url.Values{"design": {"A-B-A 9999 anew"}}, "Choose one of the designs"},
		"tyre":             {url.Values{"top_rpm": {"30000"}, "k0_revs": {"5"}, "k1_revs": {"5"}}, "a tyre of speed symbol H"},
		"df alone":         {url.Values{"setup_df": {"4"}}, "Degrees of freedom belong to"},
		"nothing known":    {url.Values{"no_history": {"yes"}}, "Nothing is known of the lab"},
		"half a pull":      {url.Values{"settling": {"1.5"}}, "whole number"},
	} {
		form := planForm(t, s, c.change)
		if _, chosen := c.change["design"]; !chosen {
			form.Set("design", "A-B-A 2 anew")
		}
		a := s.do(s.client(), http.MethodPost, "/plan", form)
		if a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, c.says) {
			t.Errorf("%s: %d, and the page does not say %q:\n%.600s", name, a.status, c.says, a.body)
		}
		a.says(t, `value="0417"`)
	}
	if a := s.do(s.client(), http.MethodPost, "/plan", planForm(t, s, url.Values{"vehicle": {"none"}})); a.status != http.StatusNotFound {
		t.Errorf("a vehicle that is not there: %d", a.status)
	}
	if now := s.lastChange(); now != seq {
		t.Errorf("something was written: change %d after %d", now, seq)
	}
}

// The page reads no file of the server, whatever is given as a campaign.
func TestPlanReadsNoFile(t *testing.T) {
	s := open(t, nil)
	t.Chdir(t.TempDir())
	if err := lab.WriteDemo("twin"); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"twin", "./twin", "twin/campaign.toml", "/etc/passwd"} {
		if a := s.do(s.client(), http.MethodGet, "/plan?like="+url.QueryEscape(name), nil); a.status != http.StatusNotFound {
			t.Errorf("%s: %d", name, a.status)
		}
	}
}

// Planning needs the role engineer; the key of a blind plan is not for the rider.
func TestPlanRoles(t *testing.T) {
	s := guarded(t, nil)
	plan(t, s, true)
	technician := s.as("technician")
	s.do(technician, http.MethodGet, "/plan?"+planForm(t, s, url.Values{"id": {"kit-3"}}).Encode(), nil).saysNot(t, "Keep this plan")
	if a := s.do(technician, http.MethodPost, "/plan", planForm(t, s, url.Values{"id": {"kit-3"}, "design": {"A-B-A 2 anew"}})); a.status != http.StatusForbidden {
		t.Errorf("a technician's plan: %d", a.status)
	}
	key := "/campaigns/" + kitID + "/plan/key.html"
	if a := s.do(technician, http.MethodGet, key, nil); a.status != http.StatusForbidden {
		t.Errorf("the key for a technician: %d", a.status)
	}
	s.do(technician, http.MethodGet, "/campaigns/"+kitID+"/plan", nil).saysNot(t, "Key, PDF", "K-218", "as delivered")
	if a := s.do(s.as("engineer"), http.MethodGet, key, nil); a.status != http.StatusOK {
		t.Errorf("the key for an engineer: %d", a.status)
	}
}
