package report

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/compare"
)

// claimSample is an invented comparison, ln of 1.065 with an interval, as a claim
// would be made of it.
func claimSample() (*Gain, *compare.Comparison) {
	g := &Gain{Campaign: campaign.Campaign{
		Configurations: []campaign.Configuration{{ID: "A", Name: "as delivered"}, {ID: "B", Name: "kit"}},
		Objective:      campaign.Objective{BandRPM: [2]float64{3000, 6500}, Confidence: 0.95},
	}}
	c := &compare.Comparison{
		Baseline: "A", Candidate: "B", BandRPM: [2]float64{3000, 6500}, Confidence: 0.95, SmallestGain: 0.02, Verdict: compare.GainShown,
		Band: compare.Figure{
			Interval: true, BaselineLevel: 50, CandidateLevel: 53.25, Gain: math.Log(1.065),
			Lo: math.Log(1.053), Hi: math.Log(1.077), AtLeast: math.Log(1.0559), AtMost: math.Log(1.0759),
		},
	}
	return g, c
}

// What is promised is rounded down, never up: 5.59 % is "at least 5.5 %". A loss is
// promised by its smaller end. Without the policy's word no measured gain is said.
func TestClaimSentence(t *testing.T) {
	g, c := claimSample()
	p := campaign.DefaultClaimPolicy()
	s := g.ClaimSentence(c, p)
	if !strings.Contains(s, "“kit” (B) gives at least 5.5 % more torque than “as delivered” (A), averaged over the riding band of 3000 to 6500 rpm (95 % one-sided confidence)") {
		t.Errorf("%q", s)
	}
	if strings.Contains(s, "6.5 %") || strings.Contains(s, "interval") {
		t.Errorf("the measured gain stands in %q", s)
	}
	p.Figure = campaign.ClaimInterval
	if s := g.ClaimSentence(c, p); !strings.Contains(s, "+6.5 % (95 % interval: 5.3 % to 7.7 %)") {
		t.Errorf("%q", s)
	}
	c.Verdict = compare.LossShown
	c.Band.Gain, c.Band.Lo, c.Band.Hi, c.Band.AtLeast, c.Band.AtMost = math.Log(0.94), math.Log(0.93), math.Log(0.95), math.Log(0.932), math.Log(0.948)
	if s := g.ClaimSentence(c, campaign.DefaultClaimPolicy()); !strings.Contains(s, "at least 5.2 % less torque") {
		t.Errorf("%q", s)
	}
	c.Verdict = compare.NoDifference
	if s := g.ClaimSentence(c, p); !strings.Contains(s, "differ by less than 2 % in torque") {
		t.Errorf("%q", s)
	}
	c.Verdict = compare.NotEnoughEvidence
	if s := g.ClaimSentence(c, p); s != "" || Promises(c) {
		t.Errorf("a verdict that is withheld says %q", s)
	}
}

func TestPromises(t *testing.T) {
	for atLeast, want := range map[float64]bool{0.0012: true, 0.0009: false} {
		_, c := claimSample()
		c.Band.AtLeast = math.Log1p(atLeast)
		if got := Promises(c); got != want {
			t.Errorf("at least %g promises something: %v, want %v", atLeast, got, want)
		}
	}
}

// How many specimens were tested is always said, and what follows from one.
func TestSpecimenSentence(t *testing.T) {
	part := campaign.ClaimComponent{Function: "camshaft", Part: "K-218", Serial: "0417", Batch: "31-06"}
	bare := campaign.ClaimComponent{Function: "intake", Part: "K-218 F"}
	for _, c := range []struct {
		changed            []campaign.ClaimComponent
		specimens, batches int
		says               []string
	}{
		{[]campaign.ClaimComponent{part}, 1, 1, []string{"One specimen", "camshaft K-218, serial 0417, batch 31-06", "was not measured"}},
		{[]campaign.ClaimComponent{part}, 3, 2, []string{"3 specimens", "of 2 batches"}},
		{[]campaign.ClaimComponent{part, bare}, 1, 1, []string{"no serial number stands none was recorded"}},
		{nil, 0, 0, []string{"No part was changed"}},
	} {
		got := SpecimenSentence(c.changed, c.specimens, c.batches)
		for _, want := range c.says {
			if !strings.Contains(got, want) {
				t.Errorf("%+v: %q has no %q", c, got, want)
			}
		}
	}
}

// A text begins with a capital letter in whatever script.
func TestCapitalised(t *testing.T) {
	for text, want := range map[string]string{"camshaft": "Camshaft", "échappement": "Échappement", "": "", "Öl": "Öl", "4": "4"} {
		if got := capitalised(text); got != want {
			t.Errorf("%q begins as %q, want %q", text, got, want)
		}
	}
}

// Every claim says that local law decides, and names the part that bears on it.
func TestClaimCautions(t *testing.T) {
	for changed, says := range map[string]string{"exhaust": "Exhaust can bear", "ECU map": "ECU map can bear", "mirror": "Local law decides",
		"Auspuff": "Auspuff can bear", "árbol de levas": "Árbol de levas can bear", "échappement": "Échappement can bear"} {
		got := strings.Join(ClaimCautions([]string{changed}), " ")
		if !strings.Contains(got, says) || !strings.Contains(got, "Local law decides") || strings.Contains(strings.ToLower(got), "certif") {
			t.Errorf("%s: %q", changed, got)
		}
	}
	if strings.Contains(ClaimCautions([]string{"mirror"})[0], "can bear") {
		t.Error("a mirror is said to bear on emissions")
	}
}

// A claim's standing says what its reader may do with it.
func TestClaimStanding(t *testing.T) {
	at := time.Date(2026, 3, 2, 14, 5, 0, 0, time.UTC)
	for state, says := range map[campaign.ClaimState]string{
		campaign.ClaimDraft: "nothing of it may be published", campaign.ClaimReviewed: "nothing of it may be published", campaign.ClaimSigned: "Not published yet",
		campaign.ClaimPublished: "Published on 2026-03-02", campaign.ClaimAmended: "Amended on 2026-03-02 by claim C-0002: a slip", campaign.ClaimWithdrawn: "no longer to be used",
	} {
		c := Claim{States: []campaign.ClaimEvent{{State: state, Who: "Ada", Why: "a slip", At: at}}, By: "C-0002"}
		if got := c.Standing(); !strings.Contains(got, says) {
			t.Errorf("%s: %q has no %q", state, got, says)
		}
	}
}

// Texts from a file reach the terminal without escapes, and the JSON as they are.
func TestClaimTextIsClean(t *testing.T) {
	c := Claim{Claim: campaign.Claim{ClaimHead: campaign.ClaimHead{Number: "C-0001", Title: "kit \x1b[31m"}, Deviations: []string{"a\u202eb"}}}
	var text bytes.Buffer
	if err := c.Text(&text, 80); err != nil {
		t.Fatal(err)
	}
	if strings.ContainsAny(text.String(), "\x1b\u202e") {
		t.Errorf("%q", text.String())
	}
	for _, line := range strings.Split(text.String(), "\n") {
		if len([]rune(line)) > 80 {
			t.Errorf("a line is %d columns wide: %q", len([]rune(line)), line)
		}
	}
	data, err := c.JSON()
	if err != nil || !json.Valid(data) {
		t.Errorf("%s, %v", data, err)
	}
	v := Verification{Dossier: "a\x1b", Findings: []Finding{{Failed, "bag", "x\x1b", "y"}, {Confirmed, "seal", "", "z"}}}
	text.Reset()
	if err := v.Text(&text, 80); err != nil || strings.Contains(text.String(), "\x1b") || !strings.HasPrefix(text.String(), "NOT VERIFIED") {
		t.Errorf("%q, %v", text.String(), err)
	}
}
