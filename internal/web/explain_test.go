package web

import (
	"net/http"
	"regexp"
	"strings"
	"testing"

	"fairpull/report"
)

const explainPath = campaignPath + "/explain/"

// Each figure opens to formula, inputs and source, and leads to the others.
func TestEveryFigureIsExplained(t *testing.T) {
	s := open(t, nil)
	campaign := s.get(campaignPath)
	says := map[string][]string{
		report.ExplainBand:       {"<math", "Weight w", "θ = ", "Student&#39;s t at 95", "Setup to setup", "Together", "docs/method.md, section 2"},
		report.ExplainPeakTorque: {"<math", "smoothed", "secondary", "N·m"},
		report.ExplainPeakPower:  {"<math", "kW", "Standard error SE"},
		report.ExplainCurve:      {"<math", "one engine speed", "picked afterwards"},
		report.ExplainDrift:      {"<math", "Change over the session, D", "max|W| of this order"},
		report.ExplainScatter:    {"<math", "a of setups", "Setup to setup", "ISO 5725-1"},
		report.ExplainCoast:      {"<math", "The formula", "Mean loss"},
		report.ExplainBoth:       {"<math", "5252", "What is felt on the road", "What the mean over the riding band is", "hp"},
		report.ExplainPull:       {"<math", "Acceleration α", "u(α)", "u(ωe)", "Drum inertia I", "kg·m²"},
		report.ExplainCorrection: {"CF = 1.180", "Dry pressure", "1 hPa of station pressure", "Where it comes from"},
	}
	for _, figure := range report.Figures {
		page := s.get(explainPath + figure.Key)
		page.body = strings.ReplaceAll(page.body, "\u00a0", " ")
		page.says(t, says[figure.Key]...)
		page.says(t, "Where it comes from", "Other figures")
		if len(says[figure.Key]) == 0 {
			t.Errorf("%s: nothing is wanted of it", figure.Key)
		}
		if !figure.OfPull {
			campaign.says(t, `href="`+explainPath+figure.Key+`"`)
		}
		for _, other := range report.Figures {
			if link := explainPath + other.Key + `"`; other.Key != figure.Key && !strings.Contains(page.body, link) {
				t.Errorf("%s does not lead to %s", figure.Key, other.Key)
			}
		}
	}
	campaign.says(t, `href="`+campaignPath+`/pulls/1"`)
	s.get(pullOne).says(t, explainPath+"pull?pull=1", explainPath+"correction?pull=1")
}

// The explanation's gain is that of the campaign's page.
func TestExplanationAgreesWithTheCampaign(t *testing.T) {
	s := open(t, nil)
	name := regexp.MustCompile(`<div class="verdict[^"]*"><strong>([^<]*)</strong>`)
	found := name.FindStringSubmatch(s.get(explainPath + report.ExplainBand).body)
	if found == nil {
		t.Fatal("no gain is named")
	}
	figure := strings.Trim(strings.ReplaceAll(found[1], "\u00a0", " "), "+ %")
	s.get(campaignPath).says(t, figure)
}

func TestExplanationsFollowTheAddress(t *testing.T) {
	s := open(t, nil)
	s.get(explainPath+"curve?rpm=4512").says(t, "4500", `value="4500"`)
	s.get(explainPath+"band?confidence=0.9").says(t, "Exploratory.", `name="`, "Student&#39;s t at 90")
	s.get(explainPath+"pull?pull=2&rpm=4000&units=us").says(t, "lbf·ft", "hp", "pull 2")
	for path, status := range map[string]int{
		"none": http.StatusNotFound, "band?comparison=9": http.StatusNotFound, "band?comparison=0": http.StatusBadRequest, "curve?rpm=x": http.StatusBadRequest,
		"curve?rpm=-1": http.StatusBadRequest, "curve?rpm=NaN": http.StatusBadRequest, "pull?pull=none": http.StatusNotFound, "correction?pull=none": http.StatusNotFound,
		"band?confidence=2": http.StatusBadRequest,
	} {
		if a := s.do(s.client(), http.MethodGet, explainPath+path, nil); a.status != status {
			t.Errorf("%s: %d, wanted %d", path, a.status, status)
		}
	}
}

// A curve that was reduced elsewhere has a correction and no chain from the drum.
func TestExplainingAReducedCurve(t *testing.T) {
	s := open(t, nil)
	season(t, s, 1, 0)
	path := "/campaigns/season-2026-05/explain/"
	s.get(path+"correction").says(t, "the curve came corrected", "CF = 1.180")
	s.get(path+"coast-down").says(t, "no such figure")
	if a := s.do(s.client(), http.MethodGet, path+"pull?pull=1", nil); a.status != http.StatusNotFound {
		t.Errorf("how a curve from elsewhere was reduced: %d", a.status)
	}
	s.get("/campaigns/season-2026-05/pulls/1").says(t, "engine speed, rpm", "says nothing of the rig", "no usable coast-down")
}
