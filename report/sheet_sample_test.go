package report

import (
	"math"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/compare"
)

// sampleClaim is an invented claim of the invented campaign, published.
func sampleClaim(t testing.TB) *Claim {
	t.Helper()
	g := sample()
	return claimOn(t, g)
}

// claimOn makes a published claim of the first comparison of g.
func claimOn(t testing.TB, g *Gain) *Claim {
	t.Helper()
	c := &g.Comparisons[0]
	at := func(day int) time.Time { return time.Date(2031, 6, day, 9, 0, 0, 0, time.UTC) }
	claim := &Claim{Gain: g, Version: "0.1.0", Founder: "SHA256:3f5a9d0c11", Record: "lab.example/record", Index: 6}
	claim.ClaimHead = campaign.ClaimHead{
		Format: campaign.ClaimFormat, Number: "C-0007", Title: "Camshaft and intake kit on the 650 twin", DraftedBy: "Dora Drafter", Drafted: at(1),
		Campaign: g.Campaign.ID, Version: 2, Candidate: c.Candidate, Program: "0.1.0", Method: 1, Policy: campaign.DefaultClaimPolicy(),
	}
	claim.Verdict, claim.Confidence = string(c.Verdict), c.Confidence
	claim.Claimed, _ = g.ClaimFigureOf(c, c.Primary)
	for _, m := range []compare.Metric{compare.PeakTorque, compare.PeakPower} {
		if f, known := g.ClaimFigureOf(c, m); known {
			claim.Beside = append(claim.Beside, f)
		}
	}
	claim.Sentence = g.ClaimSentence(c, claim.Policy)
	side := func(id, other string) campaign.ClaimSide {
		own, against := g.configuration(id), g.configuration(other)
		out := campaign.ClaimSide{ID: id, Name: own.Name, Pulls: 3, Setups: 1}
		for _, p := range own.Components {
			changed := true
			for _, q := range against.Components {
				changed = changed && p != q
			}
			out.Components = append(out.Components, campaign.ClaimComponent{Function: p.Function, Part: p.Part, Serial: p.Serial, Batch: p.Batch, Changed: changed})
		}
		for _, x := range own.Settings {
			changed := true
			for _, y := range against.Settings {
				changed = changed && x != y
			}
			out.Settings = append(out.Settings, campaign.ClaimSetting{Key: x.Key, Value: x.Value, Changed: changed})
		}
		return out
	}
	claim.Baseline, claim.Tested = side(c.Baseline, c.Candidate), side(c.Candidate, c.Baseline)
	claim.Baseline.Pulls, claim.Baseline.Setups = 6, 2
	claim.SpecimensTested = 1
	claim.Vehicle, claim.Rig = g.ClaimVehicle(), g.ClaimRig()
	least, most := 247.2, 255.2
	claim.Procedure = []campaign.ClaimSetPoint{{Key: "tyre_pressure_kpa", Target: 250, Tolerance: 7, Least: &least, Most: &most}, {Key: "oil_temp_degc", Target: 90, Tolerance: 8}}
	claim.Conditions, claim.Deviations = g.ClaimConditions(c), g.ClaimDeviations(c)
	claim.NotCovered, claim.Cautions = g.ClaimLimits(c), ClaimCautions([]string{"camshaft"})
	claim.Specimens = SpecimenSentence(claim.Tested.Components[:1], 1, 1)
	for i, state := range []campaign.ClaimState{campaign.ClaimDraft, campaign.ClaimReviewed, campaign.ClaimSigned, campaign.ClaimPublished} {
		claim.States = append(claim.States, campaign.ClaimEvent{State: state, Who: []string{"Dora Drafter", "Rita Reviewer", "Ada Approver", "Ada Approver"}[i], At: at(1 + i)})
	}
	claim.Signed = []ClaimSignature{{By: "Ada Approver", As: "approver", At: at(3), Key: "8d0c4e52a1b07f36"}}
	return claim
}

// sampleVehicles is the claim's part on four invented vehicles, with figures made up.
func sampleVehicles(t testing.TB, claim *Claim) *Across {
	t.Helper()
	a := &Across{Part: []string{"camshaft K-218"}, Metric: compare.Band, Confidence: 0.95}
	gains := []compare.VehicleGain{{Gain: math.Log(1.0671), SE: 0.0057}, {Gain: 0.052, SE: 0.006}, {Gain: 0.071, SE: 0.007}, {Gain: 0.060, SE: 0.005}}
	for i, v := range gains {
		row := AcrossRow{Campaign: claim.Campaign, Vehicle: "twin650-03", Candidate: claim.Candidate, Baseline: "A", Used: true, Figure: sampleFigure(v.Gain, v.SE, 58)}
		if i > 0 {
			row.Campaign, row.Vehicle = "another", "twin650-0"+string(rune('3'+i))
		}
		a.Rows = append(a.Rows, row)
	}
	var err error
	if a.Result, err = compare.Across(gains, 0.95); err != nil {
		t.Fatal(err)
	}
	return a
}
