package report

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// plannedSample is the sample's campaign with a plan: A-B-A-B, three pulls a block,
// strapped down anew but for the last block.
func plannedSample() campaign.Campaign {
	c := sample().Campaign
	c.Pulls = nil
	c.Plan = &campaign.Plan{SettlingPulls: 2, MinutesOnRig: 200, Power: 0.83, Seed: 7}
	for i, id := range []string{"A", "B", "A", "B"} {
		c.Plan.Blocks = append(c.Plan.Blocks, campaign.PlannedBlock{Configuration: id, Setup: fmt.Sprintf("s%d", min(i, 2)+1), Pulls: 3})
	}
	return c
}

func unknownTyre() PlanTyre {
	return PlanTyre{Symbol: "H", Limit: math.NaN(), Speed: math.NaN(), MostRPM: math.NaN(), Unchecked: "nothing is stated"}
}

// sheetWords returns all words of a sheet on paper and on a page.
func sheetWords(t *testing.T, s PullSheet, units quantity.System) (paper, page string) {
	t.Helper()
	p := newPaper(a4)
	p.write(s.blocks(units))
	var words strings.Builder
	for _, one := range p.pages {
		for _, box := range inkBoxes(one) {
			words.WriteString(box.words + " ")
		}
	}
	var b bytes.Buffer
	if err := s.HTML(&b, units); err != nil {
		t.Fatal(err)
	}
	return oneLine(words.String()), oneLine(b.String())
}

// The sheet has what the issue asks of it, on paper and on the page.
func TestPullSheetSaysAllThereIsToDo(t *testing.T) {
	paper, page := sheetWords(t, PullSheet{Campaign: plannedSample(), Tyre: unknownTyre()}, quantity.SI)
	for _, want := range append([]string{
		"Operator", "Fuel, batch", "Tyre, date code (age)", "Fan, position and distance", "Serial", "warm", "settle",
		"Reset what the engine control has learned; then 2 settling pulls, not counted.",
		"Block 1: A as delivered", "Block 4: B kit", "Change camshaft: from OEM 650-14 to K-218, serial 0417, batch 31-06.",
		"Do not touch: exhaust OEM 650-90", "Take the vehicle off its straps and strap it down anew (setup s2)",
		"Leave the vehicle strapped", "250 ± 7", "oil temp, °C", "90 ± 8", "10 to 12", "Humidity, %", "reason where not used",
		"The speed of the tyre was not checked",
	}, Cautions...) {
		for form, words := range map[string]string{"paper": paper, "page": page} {
			if !strings.Contains(words, want) {
				t.Errorf("the %s lacks %q", form, want)
			}
		}
	}
	for pull := 1; pull <= 12; pull++ {
		if want := fmt.Sprintf(`<th scope="row">%d</th>`, pull); !strings.Contains(page, want) {
			t.Errorf("there is no row for pull %d", pull)
		}
	}
}

// A rider cannot tell from a blind sheet which blocks are alike; the key says it.
func TestBlindSheet(t *testing.T) {
	c := plannedSample()
	c.Plan.Blind = true
	codes := c.Plan.Codes()
	_, rider := sheetWords(t, PullSheet{Campaign: c, Tyre: unknownTyre()}, quantity.SI)
	for _, tell := range []string{"as delivered", "B kit", "OEM 650", "K-218", "camshaft", "Change "} {
		if strings.Contains(rider, tell) {
			t.Errorf("the rider's sheet says %q", tell)
		}
	}
	for i := range c.Plan.Blocks {
		if !strings.Contains(rider, fmt.Sprintf("Block %d: %s<", i+1, codes[i])) {
			t.Errorf("the rider's sheet has no block %d with the code %s", i+1, codes[i])
		}
	}
	if n := strings.Count(rider, `<th scope="row">settle</th>`); n != 2*(len(codes)-1) {
		t.Errorf("%d rows for settling pulls; every block but the first has two, changed or not", n)
	}
	_, key := sheetWords(t, PullSheet{Campaign: c, Key: true, Tyre: unknownTyre()}, quantity.SI)
	for i, b := range c.Plan.Blocks {
		if !strings.Contains(key, fmt.Sprintf("Block %d: %s: %s", i+1, codes[i], b.Configuration)) {
			t.Errorf("the key does not say what %s is", codes[i])
		}
	}
}

// longCampaign has twelve blocks of five pulls, seven set points and long names.
func longCampaign() campaign.Campaign {
	c := plannedSample()
	long := strings.Repeat("a name that goes on ", 8)
	c.Title, c.Purpose, c.Vehicle.Description = long+"title", long+"purpose", long+"vehicle"
	for i := range c.Configurations {
		c.Configurations[i].Name = long + c.Configurations[i].ID
		for j := range 6 {
			c.Configurations[i].Components = append(c.Configurations[i].Components, campaign.Component{Function: fmt.Sprintf("function %d", j), Part: strings.Repeat("X", 60) + c.Configurations[i].ID, Serial: strings.Repeat("7", 40)})
		}
	}
	c.Procedure = nil
	for i := range 7 {
		c.Procedure = append(c.Procedure, campaign.SetPoint{Key: fmt.Sprintf("a_rather_long_set_point_%d_degc", i), Target: 90, Tolerance: 5})
	}
	c.Plan.Blocks = nil
	for i := range 12 {
		c.Plan.Blocks = append(c.Plan.Blocks, campaign.PlannedBlock{Configuration: c.Configurations[i%2].ID, Setup: fmt.Sprint("setup ", i), Pulls: 5})
	}
	return c
}

// Nothing leaves its page on either paper, whatever the campaign is called; no block
// of pulls is torn apart where a page would hold it.
func TestSheetStaysWithinItsMargins(t *testing.T) {
	for _, size := range []sheet{a4, letter} {
		for name, c := range map[string]campaign.Campaign{"plain": plannedSample(), "long": longCampaign()} {
			for _, key := range []bool{false, true} {
				c.Plan.Blind = key
				s := PullSheet{Campaign: c, Key: key, Tyre: unknownTyre()}
				p := newPaper(size)
				p.write(s.blocks(quantity.USCustomary))
				for i, page := range p.pages {
					for _, box := range inkBoxes(page) {
						if box.left < p.left-1.5 || box.right > p.left+p.width+1.5 || box.top < p.top-16 || box.bottom > p.bottom+6 {
							t.Errorf("%s, page %d: %q reaches %.0f–%.0f, %.0f–%.0f", name, i+1, box.words, box.left, box.right, box.top, box.bottom)
							break
						}
					}
				}
				if name == "plain" && len(p.pages) > 5 {
					t.Errorf("four blocks of three pulls take %d pages", len(p.pages))
				}
			}
		}
	}
}

func TestSheetTwiceIsTheSameAndEscapes(t *testing.T) {
	c := plannedSample()
	c.Title = hostileTitle
	c.Configurations[0].Components[0].Part = hostileTitle
	s := PullSheet{Campaign: c, Tyre: unknownTyre()}
	var a, b, page bytes.Buffer
	for _, w := range []*bytes.Buffer{&a, &b} {
		if err := s.PDF(w, quantity.USCustomary); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two writings of one sheet differ")
	}
	if err := s.HTML(&page, quantity.SI); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{"<script", "\x1b", "NaN", "%!"} {
		if strings.Contains(page.String(), bad) {
			t.Errorf("the page contains %q", bad)
		}
	}
}

const hostileTitle = "<script>alert(1)</script> \x1b[31m \"q\" & more"

// planned designs of the sample, for words and tables.
func planSample(t testing.TB) *Plan {
	t.Helper()
	c := plannedSample()
	c.Plan = nil
	q := compare.DesignQuery{
		Candidates: 1, Confidence: 0.95, Rig: compare.Rig{PullMinutes: 5, ChangeMinutes: 30, StrapMinutes: 10, WarmUpMinutes: 20, SettlingPulls: 2},
		Assumed: compare.Assumed{Setup: compare.Spread{SD: 0.007, DF: 12}, Block: compare.Spread{SD: 0.002, DF: 8}, Pull: compare.Spread{SD: 0.004, DF: 60}},
	}
	designs, err := compare.Designs(q)
	if err != nil {
		t.Fatal(err)
	}
	return &Plan{
		Campaign: c, Designs: designs, Recommended: compare.Recommended(designs, c.Objective.SmallestGain, 0.8), Wanted: 0.8, Rig: q.Rig,
		Scatter: PlanScatter{Setup: Spread{0.007, 12}, Block: Spread{0.002, 8}, Pull: Spread{0.004, 60}, Own: c.History}, Tyre: unknownTyre(),
	}
}

// The parts of a standard error are those of the whole: its square is the sum of theirs.
func TestPlanPartsAddUp(t *testing.T) {
	p := planSample(t)
	for _, d := range p.Designs {
		e := hardest(&d)
		var sum float64
		for _, part := range partNames {
			sum += e.Parts[part.key]
		}
		if rel := sum/(e.SE*e.SE) - 1; !(math.Abs(rel) < 1e-9) {
			t.Errorf("%s: the parts shown sum to %g, the square of the standard error is %g", d.Order, sum, e.SE*e.SE)
		}
	}
}

// Numbers of a plan are never rounded to the side that promises more.
func TestPlanRounding(t *testing.T) {
	for _, row := range []struct{ got, want string }{
		{chanceWords(0.8199999), "81 %"}, {chanceWords(0.8), "80 %"}, {chanceWords(math.NaN()), "–"},
		{gainWanted(0.01901), "2.0 %"}, {gainWanted(0.019), "1.9 %"}, {gainWanted(math.NaN()), "–"},
		{minutesWords(59.4), "59\u00a0min"}, {minutesWords(125), "2\u00a0h\u00a005"},
	} {
		if row.got != row.want {
			t.Errorf("%q; want %q", row.got, row.want)
		}
	}
}
