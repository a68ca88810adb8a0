package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	htmltext "html"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report/draw"
)

func sheetOf(t testing.TB, c *Claim, o SheetOptions) *Sheet {
	t.Helper()
	s, err := NewSheet(c, o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func written(t testing.TB, write func(io.Writer, quantity.System) error, units quantity.System) string {
	t.Helper()
	var out bytes.Buffer
	if err := write(&out, units); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// plainText drops the markup and no-break spaces.
func plainText(page string) string {
	page = page[strings.Index(page, "<body>"):]
	return strings.Join(strings.Fields(strings.ReplaceAll(htmltext.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, " ")), "\u00a0", " ")), " ")
}

// wordsOf are the words of a picture, in order, no-break spaces as spaces.
func wordsOf(p draw.Picture) string {
	var out []string
	for _, m := range p.Marks {
		if text, ok := m.(draw.Text); ok {
			out = append(out, text.Words)
		}
	}
	return strings.ReplaceAll(strings.Join(out, " "), "\u00a0", " ")
}

// The figures on the sheet are those of the sentence, the tables and the JSON of the
// analysis, digit by digit, in every language; and page and paper say the same.
func TestSheetFiguresAreTheReports(t *testing.T) {
	claim := sampleClaim(t)
	g, c := claim.Gain, &claim.Gain.Comparisons[0]
	text := gainTextOf(&c.Band)
	if !strings.Contains(g.Sentence(c), text.AtLeast+" %") || !strings.Contains(claim.Sentence, text.AtLeast+" %") {
		t.Fatalf("the sample's own sentences lack %s", text.AtLeast)
	}
	for _, code := range LanguageCodes() {
		s := sheetOf(t, claim, SheetOptions{Language: code})
		mark := map[bool]string{true: ".", false: ","}[code == "en"]
		page := plainText(written(t, s.HTML, quantity.SI))
		paper, fits := s.page(s.view(quantity.SI), a4, quantity.SI)
		if !fits {
			t.Errorf("%s does not fit on A4", code)
		}
		for _, figure := range []string{text.AtLeast, text.Value, text.Lo, text.Hi} {
			figure = strings.ReplaceAll(figure, ".", mark) + " %"
			if !strings.Contains(page, figure) || !strings.Contains(wordsOf(paper), figure) {
				t.Errorf("%s: %s is not on page and paper", code, figure)
			}
		}
		for _, row := range g.figuresTable(c, quantity.SI).Rows { // levels, as the report's table has them
			level, _, _ := strings.Cut(row[1], " N")
			level = strings.ReplaceAll(strings.Split(level, " kW")[0], ".", mark)
			if !strings.Contains(page, level) {
				t.Errorf("%s: the level %s of the report's table is not on the sheet", code, level)
			}
		}
		for _, what := range []string{"C-0007", "2031-05-14", "SHA256:3f5a9d0c11", "K-218", "0417"} {
			if !strings.Contains(page, what) || !strings.Contains(strings.ReplaceAll(wordsOf(paper), " ", ""), strings.ReplaceAll(what, " ", "")) {
				t.Errorf("%s: %q is missing", code, what)
			}
		}
		view := s.view(quantity.SI)
		for _, section := range append(view.Left, view.Right...) {
			for _, said := range section.Said {
				if !strings.Contains(page, strings.ReplaceAll(said, "\u00a0", " ")) {
					t.Errorf("%s: the page lacks %q", code, said)
				}
			}
		}
	}
}

// Where it helps: the stretches are cut where whole-band limits leave zero, and cover
// the nodes of the band that have them, each once.
func TestSheetStretches(t *testing.T) {
	claim := sampleClaim(t)
	c := &claim.Gain.Comparisons[0]
	s := sheetOf(t, claim, SheetOptions{})
	parts := s.stretches()
	for i := range c.Curve {
		n := &c.Curve[i]
		found := 0
		for _, p := range parts {
			if n.RPM >= p.lo && n.RPM <= p.hi {
				found++
				if (p.answer == 1) != (n.BandLo > 0) || (p.answer == -1) != (n.BandHi < 0) {
					t.Errorf("%g rpm: answer %d with limits %g to %g", n.RPM, p.answer, n.BandLo, n.BandHi)
				}
			}
		}
		if want := map[bool]int{true: 0, false: 1}[math.IsNaN(n.BandLo)]; found != want {
			t.Errorf("%g rpm is in %d stretches", n.RPM, found)
		}
	}
	for i := range c.Curve {
		c.Curve[i].BandLo, c.Curve[i].BandHi = math.NaN(), math.NaN()
	}
	if said := s.where().Said; len(said) != 1 || !strings.Contains(said[0], "no limits") {
		t.Errorf("without limits: %q", said)
	}
}

// A loss, and no difference of interest, are led by their own words and bounds.
func TestSheetOfOtherVerdicts(t *testing.T) {
	g := sample()
	c := &g.Comparisons[0]
	c.Verdict, c.Band = compare.LossShown, sampleFigure(-0.03, 0.004, 58)
	if got := sheetOf(t, claimOn(t, g), SheetOptions{}).lead(); strings.ReplaceAll(got, "\u00a0", " ") != "At least "+roundedDown(-percent(c.Band.AtMost))+" % less torque" {
		t.Errorf("a loss: %q", got)
	}
	c.Verdict, c.Band = compare.NoDifference, sampleFigure(0.002, 0.003, 58)
	if got := sheetOf(t, claimOn(t, g), SheetOptions{Language: "de"}).lead(); strings.ReplaceAll(got, "\u00a0", " ") != "Das Drehmoment unterscheidet sich um weniger als 2 %" {
		t.Errorf("no difference: %q", got)
	}
}

// What the analysis says with its figure stands on the sheet as well: the rig's share,
// a changed wheel, air that is not corrected for, figures at the crank.
func TestSheetNotes(t *testing.T) {
	g := sample()
	g.CoastShares["B"] = CoastShare{Value: 0.012, Lo: 0.008, Hi: 0.016}
	g.Checks = append(g.Checks, campaign.Check{ID: "wheel-changed", Status: campaign.Warn, Comparison: "B"})
	for i := range g.Checks {
		if g.Checks[i].ID == "coast-down-agreement" {
			g.Checks[i].Status = campaign.Warn
		}
	}
	g.AtCrank, g.Standard = true, Standard{Name: "none"}
	s := sheetOf(t, claimOn(t, g), SheetOptions{})
	notes := strings.ReplaceAll(strings.Join(s.notes(), " "), "\u00a0", " ")
	for _, want := range []string{"tyre and driveline account for +1.20 % of wheel torque (95 % interval: +0.80 % to +1.60 %)", "rolling part", "not corrected", "at the crank"} {
		if !strings.Contains(notes, want) {
			t.Errorf("the notes have no %q: %s", want, notes)
		}
	}
	if page := plainText(written(t, s.HTML, quantity.SI)); !strings.Contains(page, "tyre and driveline account for") {
		t.Error("the page has no notes")
	}
}

// A set point that was not held in every pull says so, in every language; one at the end
// of its tolerance was held.
func TestSheetSaysWhatWasNotHeld(t *testing.T) {
	least, most := 82.0, 98.0
	for _, c := range []struct {
		least, most float64
		held        bool
	}{{least, most, true}, {81.9, 90, false}, {90, 98.1, false}, {74, 93.4, false}} {
		for code, says := range map[string]string{"en": "not held", "de": "nicht bei jedem", "es": "no se mantuvo", "fr": "non tenu"} {
			s := sheetOf(t, claimOn(t, sample()), SheetOptions{Language: code})
			got := s.point(campaign.ClaimSetPoint{Key: "oil_temp_degc", Target: 90, Tolerance: 8, Least: &c.least, Most: &c.most}, quantity.SI)
			if strings.Contains(got, says) == c.held {
				t.Errorf("%s, %g to %g: %q", code, c.least, c.most, got)
			}
		}
	}
}

// Until a claim is published, and when it stands no longer, sheet and picture say so.
func TestSheetSaysHowFarTheClaimIs(t *testing.T) {
	for state, want := range map[campaign.ClaimState]string{
		campaign.ClaimDraft: "DRAFT", campaign.ClaimReviewed: "DRAFT", campaign.ClaimSigned: "not yet published",
		campaign.ClaimPublished: "Published on 2031-06-09", campaign.ClaimAmended: "claim C-0008 has taken its place", campaign.ClaimWithdrawn: "WITHDRAWN",
	} {
		claim := sampleClaim(t)
		claim.States = append(claim.States, campaign.ClaimEvent{State: state, Who: "x", At: claim.States[0].At.AddDate(0, 0, 8)})
		claim.By = "C-0008"
		s := sheetOf(t, claim, SheetOptions{})
		page := written(t, s.HTML, quantity.SI)
		if !strings.Contains(plainText(page), want) || !strings.Contains(wordsOf(s.picture(quantity.SI)), want) {
			t.Errorf("%s: sheet or picture has no %q", state, want)
		}
		if strings.Contains(page, `class="alarm"`) == (state == campaign.ClaimPublished) {
			t.Errorf("%s: the state is marked wrongly", state)
		}
	}
}

// Several vehicles give the prediction interval that their own page gives; two give
// none; vehicles of another question are refused.
func TestSheetAcrossVehicles(t *testing.T) {
	claim := sampleClaim(t)
	a := sampleVehicles(t, claim)
	s := sheetOf(t, claim, SheetOptions{Across: a})
	next := gainWords(a.Result.Mean, a.Result.PredictionLo, a.Result.PredictionHi, math.NaN(), true)
	said := strings.ReplaceAll(s.differs().Said[0], "\u00a0", " ")
	if !strings.Contains(said, "4 vehicles") || !strings.Contains(said, "between "+next.Lo+" % and "+next.Hi+" %") || !strings.Contains(a.Sentences()[1], next.Lo+" % and "+next.Hi+" %") {
		t.Errorf("%q beside %q", said, a.Sentences()[1])
	}
	a.Rows = a.Rows[:2]
	var err error
	if a.Result, err = compare.Across([]compare.VehicleGain{{Gain: 0.06, SE: 0.005}, {Gain: 0.05, SE: 0.005}}, 0.95); err != nil {
		t.Fatal(err)
	}
	if said := sheetOf(t, claim, SheetOptions{Across: a}).differs().Said[0]; !strings.Contains(said, "too few to predict") {
		t.Errorf("two vehicles: %q", said)
	}
	for what, spoil := range map[string]func(*Across){
		"is of mean torque": func(a *Across) { a.Metric = compare.PeakPower }, "not among": func(a *Across) { a.Rows = a.Rows[1:] },
		"at 90 %": func(a *Across) { a.Confidence = 0.9 }, "can be used": func(a *Across) { a.Result = compare.AcrossVehicles{} },
	} {
		other := sampleVehicles(t, claim)
		spoil(other)
		if _, err := NewSheet(claim, SheetOptions{Across: other}); err == nil || !strings.Contains(err.Error(), what) {
			t.Errorf("%v does not say %q", err, what)
		}
	}
}

// longest is a claim whose every text is as long as it can be, with many parts.
func longest(t testing.TB) *Claim {
	claim := sampleClaim(t)
	long := strings.Repeat("Überlange Bezeichnung ", 30)
	claim.Title, claim.Tested.Name, claim.Baseline.Name = long, long, long
	claim.Gain.Campaign.Vehicle.Description = long
	for i := range 40 {
		p := campaign.ClaimComponent{Function: fmt.Sprint(i, " ", long), Part: long, Serial: long, Changed: i%2 == 0}
		claim.Tested.Components = append(claim.Tested.Components, p)
		claim.Procedure = append(claim.Procedure, campaign.ClaimSetPoint{Key: fmt.Sprint("value_", i, "_degc"), Target: 90, Tolerance: 8})
	}
	claim.Campaign, claim.Founder = strings.Repeat("a", 100), "SHA256:"+strings.Repeat("0123456789abcdef", 4)
	claim.Gain.Standard.Form = strings.TrimSpace(long)[:180]
	claim.Gain.Checks = append(claim.Gain.Checks, campaign.Check{ID: "wheel-changed", Status: campaign.Warn, Comparison: "B"}, campaign.Check{ID: "coast-down-agreement", Status: campaign.Warn})
	return claim
}

// One page holds it all in every language on both papers, with the longest texts and
// many parts, with and without a logo, and nothing stands outside of the page.
func TestSheetFitsOnePage(t *testing.T) {
	logo := pngOf(t, 900, 60)
	look, err := NewLook(strings.Repeat("Long Maker Name ", 10), strings.Repeat("contact ", 30), "#204060", "#b03060", logo)
	if err != nil {
		t.Fatal(err)
	}
	for name, claim := range map[string]*Claim{"sample": sampleClaim(t), "longest": longest(t)} {
		for _, code := range LanguageCodes() {
			for _, size := range []sheet{a4, letter} {
				for _, l := range []*Look{nil, &look} {
					s := sheetOf(t, claim, SheetOptions{Language: code, Look: l, Across: sampleVehicles(t, claim)})
					page, fits := s.page(s.view(quantity.SI), size, quantity.SI)
					if !fits {
						t.Errorf("%s, %s, %v, logo %v: it does not fit", name, code, size, l != nil)
					}
					for _, m := range page.Marks {
						if text, ok := m.(draw.Text); ok {
							width := draw.Width(text.Words, text.Size, text.Face)
							left := text.At.X - map[draw.Anchor]float64{draw.Start: 0, draw.Middle: width / 2, draw.End: width}[text.Anchor]
							if left < 10 || left+width > size.width-10 || text.At.Y > size.height-10 {
								t.Errorf("%s, %s, %v: %q stands outside, %.0f to %.0f at %.0f", name, code, size, text.Words, left, left+width, text.At.Y)
							}
							if text.Size < 6 {
								t.Errorf("%s, %s: %q is set in %.1f points", name, code, text.Words, text.Size)
							}
						}
					}
				}
			}
		}
	}
}

// The file has one page, its title and language, the fonts and the words; the same
// sheet gives the same bytes.
func TestSheetPDF(t *testing.T) {
	claim := sampleClaim(t)
	s := sheetOf(t, claim, SheetOptions{Language: "fr"})
	one, two := written(t, s.PDF, quantity.SI), written(t, s.PDF, quantity.SI)
	if one != two {
		t.Error("two writings differ")
	}
	for want, n := range map[string]int{"/Type /Page\n": 1, "/Lang (fr)": 1, "/FontFile2": 2, "/Title": 1, "/MediaBox [0 0 595.28 841.89]": 1} {
		if got := strings.Count(one, want); got < n || n == 1 && want != "/Title" && got != 1 {
			t.Errorf("%q stands %d times", want, got)
		}
	}
	if us := written(t, s.PDF, quantity.USCustomary); !strings.Contains(us, "612.00 792.00") {
		t.Error("US customary units do not go on Letter")
	}
	if own := written(t, sheetOf(t, claim, SheetOptions{Paper: "a4"}).PDF, quantity.USCustomary); !strings.Contains(own, "595.28") {
		t.Error("the paper asked for is not taken")
	}
}

// Hostile texts and a logo stay words and picture: the page has no script, and page and
// picture are well-formed.
func TestSheetIsSafe(t *testing.T) {
	claim := sampleClaim(t)
	bad := `</style><script>alert(1)</script>` + "\x1b[31m\u202e" + `"&`
	claim.Title, claim.Tested.Name, claim.Tested.Components[0].Part, claim.Founder = bad, bad, bad, bad
	look, err := NewLook(bad, bad, "#ffee00", "", pngOf(t, 30, 20))
	if err != nil {
		t.Fatal(err)
	}
	s := sheetOf(t, claim, SheetOptions{Look: &look})
	page := written(t, s.HTML, quantity.SI)
	if strings.Contains(page, "<script") || strings.Contains(page, "\x1b") || strings.Contains(page, "\u202e") || strings.Count(page, "</style>") != 1 {
		t.Error("a hostile text got through")
	}
	if !strings.Contains(page, "--heading: #1a1f26") {
		t.Error("headings stand in a yellow that cannot be read")
	}
	decoder := xml.NewDecoder(strings.NewReader(written(t, s.SVG, quantity.SI)))
	for {
		if _, err := decoder.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	if _, err := png.Decode(strings.NewReader(written(t, s.PNG, quantity.SI))); err != nil {
		t.Error(err)
	}
}

func TestNewSheetRefuses(t *testing.T) {
	for want, spoil := range map[string]func(*Claim, *SheetOptions){
		"needs the analysis":   func(c *Claim, _ *SheetOptions) { c.Gain = nil },
		"no figure":            func(c *Claim, _ *SheetOptions) { c.Candidate = "X" },
		"something else":       func(c *Claim, _ *SheetOptions) { c.Claimed.AtLeastPct += 0.001 },
		"no language":          func(_ *Claim, o *SheetOptions) { o.Language = "tlh" },
		"no paper":             func(_ *Claim, o *SheetOptions) { o.Paper = "a3" },
		"interval and a verdi": func(c *Claim, _ *SheetOptions) { c.Gain.Comparisons[0].Verdict = compare.NotEnoughEvidence },
	} {
		claim, o := sampleClaim(t), SheetOptions{}
		spoil(claim, &o)
		if _, err := NewSheet(claim, o); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v does not say %q", err, want)
		}
	}
}

// pngOf returns a picture of so many pixels.
func pngOf(t testing.TB, width, height int) []byte {
	t.Helper()
	m := image.NewNRGBA(image.Rect(0, 0, width, height))
	m.Set(width/2, height/2, color.NRGBA{R: 200, A: 255})
	var out bytes.Buffer
	if err := png.Encode(&out, m); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}
