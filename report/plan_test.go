package report

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"fairpull/compare"
	"fairpull/quantity"
)

// planForms are the plans that every form is written of.
func planForms(t *testing.T) map[string]*Plan {
	none := planSample(t)
	none.Recommended, none.Campaign.Title = -1, hostileTitle
	chosen := planSample(t)
	chosen.Campaign = longCampaign()
	chosen.Campaign.Plan.Blind, chosen.Notes = true, []string{hostileTitle}
	chosen.Chosen = &chosen.Designs[3]
	hopeless := planSample(t)
	q := compare.DesignQuery{Candidates: 1, Confidence: 0.95, Rig: hopeless.Rig, Assumed: compare.Assumed{Setup: compare.Spread{SD: 0.02}, Pull: compare.Spread{SD: 0.02}}}
	designs, err := compare.Designs(q)
	if err != nil {
		t.Fatal(err)
	}
	hopeless.Designs, hopeless.Recommended, hopeless.Scatter = designs, -1, PlanScatter{Setup: Spread{SD: 0.02}, Pull: Spread{SD: 0.02}, Judged: []string{"setup to setup", "pull to pull"}}
	return map[string]*Plan{"recommended": planSample(t), "none": none, "chosen": chosen, "hopeless": hopeless}
}

// Every form of every plan is whole, and nothing of a file gets through as markup.
func TestPlanForms(t *testing.T) {
	for name, p := range planForms(t) {
		for _, units := range []quantity.System{quantity.SI, quantity.USCustomary} {
			var text, page, pdf, again bytes.Buffer
			for form, err := range map[string]error{
				"text": p.Text(&text, TextOptions{Units: units, ASCII: true}), "html": p.HTML(&page, units), "pdf": p.PDF(&pdf, units), "pdf again": p.PDF(&again, units),
			} {
				if err != nil {
					t.Fatalf("%s, %s: %v", name, form, err)
				}
			}
			if !bytes.Equal(pdf.Bytes(), again.Bytes()) {
				t.Errorf("%s: two writings of one plan differ", name)
			}
			for form, content := range map[string]string{"text": text.String(), "page": page.String()} {
				for _, bad := range []string{"NaN", "Inf", "%!", "\x1b", "<script"} {
					if form == "text" && bad == "<script" {
						continue // a terminal takes no markup
					}
					if strings.Contains(content, bad) {
						t.Errorf("%s: the %s contains %q", name, form, bad)
					}
				}
			}
			for _, caution := range Cautions {
				if !strings.Contains(oneLine(page.String()), caution) {
					t.Errorf("%s: the page lacks the caution %q", name, caution)
				}
			}
			for line := range strings.Lines(text.String()) {
				if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > 80 {
					t.Errorf("%s: a line of %d columns: %s", name, n, line)
				}
			}
		}
		paper := newPaper(letter)
		paper.write(p.blocks(onPaper, quantity.SI))
		for i, one := range paper.pages {
			for _, box := range inkBoxes(one) {
				if box.left < paper.left-1.5 || box.right > paper.left+paper.width+1.5 || box.bottom > paper.bottom+6 {
					t.Errorf("%s, page %d: %q reaches %.0f–%.0f, down to %.0f", name, i+1, box.words, box.left, box.right, box.bottom)
					break
				}
			}
		}
	}
}

// The object has what the words say, unrounded, and null where there is nothing.
func TestPlanJSON(t *testing.T) {
	for name, p := range planForms(t) {
		data, err := p.JSON()
		if err != nil {
			t.Fatal(err)
		}
		var got struct {
			Format      string
			Recommended *int
			Chosen      *struct{ Order string }
			Blocks      []struct{ Code string }
			Designs     []struct {
				Chance     *float64 `json:"chance_pct"`
				Detectable *float64 `json:"detectable_pct"`
			}
			Tyre struct {
				Speed *float64 `json:"surface_speed_kmh"`
			}
		}
		if err := json.Unmarshal(data, &got); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if got.Format != "fairpull.plan/1" || len(got.Designs) != len(p.Designs) || got.Tyre.Speed != nil {
			t.Errorf("%s: %+v", name, got)
		}
		if (got.Recommended != nil) != (p.Recommended >= 0) || got.Recommended != nil && *got.Recommended != p.Recommended+1 {
			t.Errorf("%s: recommended is %v; want number %d", name, got.Recommended, p.Recommended+1)
		}
		if (got.Chosen != nil) != (p.Chosen != nil) || p.Chosen != nil && len(got.Blocks) != 12 {
			t.Errorf("%s: chosen is %v with %d blocks", name, got.Chosen, len(got.Blocks))
		}
		for i, d := range p.Designs {
			if got.Designs[i].Chance == nil || *got.Designs[i].Chance != 100*d.Chance(p.Campaign.Objective.SmallestGain) {
				t.Errorf("%s: the chance of design %d is not that of its design", name, i+1)
			}
		}
	}
}

// The picture's lines are the chances: at the smallest gain of interest the line of the
// recommended design stands at its chance.
func TestChancePicture(t *testing.T) {
	p := planSample(t)
	if len(p.curves()) < 2 {
		t.Fatalf("%d lines", len(p.curves()))
	}
	rows := p.chanceTable()
	for i, c := range p.curves() {
		if want := chanceWords(c.design.Chance(p.Campaign.Objective.SmallestGain)); rows.Rows[i][4] != want {
			t.Errorf("%s: the table says %s at the gain of interest, the design %s", c.name, rows.Rows[i][4], want)
		}
	}
	picture := p.chanceChart(onScreen)
	if !strings.Contains(picture.Description, "is shown with a chance of") || picture.Title == "" {
		t.Errorf("who cannot see it is told %q", picture.Description)
	}
}
