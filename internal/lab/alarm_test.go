package lab

import (
	"context"
	"io/fs"
	"math"
	"testing"
	"testing/fstest"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/ingest"
	"fairpull/simulate"
)

// analyseScenario simulates a campaign and analyses it, all in memory.
func analyseScenario(t testing.TB, s simulate.Scenario) *Analysis {
	t.Helper()
	files, err := s.Files()
	if err != nil {
		t.Fatal(err)
	}
	folder := fstest.MapFS{}
	for name, data := range files {
		folder[name] = &fstest.MapFile{Data: data, Mode: fs.FileMode(0o644)}
	}
	opened, err := ingest.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer opened.Close()
	a, err := Analyse(context.Background(), opened, Options{})
	if err != nil {
		t.Fatalf("%s, seed %d: %v", s.ID, s.Seed, err)
	}
	return a
}

func scenario(t testing.TB, name string, seed uint64) simulate.Scenario {
	t.Helper()
	s, err := simulate.Named(name)
	if err != nil {
		t.Fatal(err)
	}
	s.Seed = seed
	return s
}

// status returns the worst status of the checks with the given id, and whether
// there is one.
func status(a *Analysis, id string) (campaign.Status, bool) {
	worst, found := campaign.Pass, false
	for _, k := range a.Checks {
		if k.ID != id {
			continue
		}
		found = true
		if k.Status == campaign.Fail || worst == campaign.Pass {
			worst = k.Status
		}
	}
	return worst, found
}

// A fault that is in the campaign is noticed by the check that is there for it,
// and where nothing about the engine changed no gain is shown without a word.
func TestEachFaultIsNoticed(t *testing.T) {
	const seeds = 6
	for _, row := range []struct {
		scenario, check string
		least           campaign.Status
		mayShowGain     bool
	}{
		{"tyre-pressure", "coast-down-agreement", campaign.Fail, false},
		{"lighter-wheel", "wheel-changed", campaign.Warn, true},
		{"wrong-gear", "gear", campaign.Fail, false},
		{"slip", "slip", campaign.Fail, false},
		{"sea-level", "pressure-plausible", campaign.Fail, false},
		{"mixture", "mixture-difference", campaign.Fail, false},
		{"no-history", "setups", campaign.Fail, false},
		{"demo", "procedure", campaign.Fail, true},
	} {
		t.Run(row.scenario, func(t *testing.T) {
			t.Parallel()
			for seed := uint64(1); seed <= seeds; seed++ {
				a := analyseScenario(t, scenario(t, row.scenario, seed))
				got, found := status(a, row.check)
				if !found || got != row.least && got != campaign.Fail {
					t.Errorf("seed %d: %s is %q (asked: %v), want %q", seed, row.check, got, found, row.least)
				}
				for _, c := range a.Comparisons {
					if c.Verdict == compare.GainShown && !row.mayShowGain {
						t.Errorf("seed %d: gain shown, %v", seed, c.Reasons)
					}
				}
			}
		})
	}
}

// Honest campaigns raise few alarms: each check of docs/formats.md alarms in at
// most 5 of 200 campaigns by its default limit, which is what its trials found.
func TestCleanCampaignsRaiseFewAlarms(t *testing.T) {
	seeds := uint64(60)
	if testing.Short() {
		seeds = 10
	}
	alarms := map[string]int{}
	for seed := uint64(1); seed <= seeds; seed++ {
		s := scenario(t, "null", seed)
		a := analyseScenario(t, s)
		said := map[string]bool{}
		for _, k := range a.Checks {
			if k.Status != campaign.Pass && !said[k.ID] {
				said[k.ID] = true
				alarms[k.ID]++
			}
		}
	}
	for id, n := range alarms {
		t.Logf("%s: %d of %d", id, n, seeds)
		// 5 of 200 is 2.5 %; drift alarms in 10 % by its definition (p < 0.10). The
		// bound is four standard errors above.
		if most := mostAlarms(id, float64(seeds)); float64(n) > most {
			t.Errorf("%s: %d alarms in %d clean campaigns, at most %.1f expected", id, n, seeds, most)
		}
	}
}

func mostAlarms(id string, campaigns float64) float64 {
	rate := 0.025
	switch id {
	case "drift":
		rate = 0.10
	case "history-consistent":
		rate = 0.05
	}
	return campaigns*rate + 4*math.Sqrt(campaigns*rate*(1-rate))
}

// Faults that hide where a witness is weak: none may pass for a gain.
func TestWeakWitnesses(t *testing.T) {
	for _, row := range []struct {
		name, scenario string
		change         func(*simulate.Scenario)
	}{
		{"tyre pressure, one pull a block", "tyre-pressure", func(s *simulate.Scenario) { s.Plan.PullsPerBlock = 1 }},
		{"tyre pressure, one block without coast-downs", "tyre-pressure", func(s *simulate.Scenario) {
			s.Faults = append(s.Faults, simulate.Fault{Name: "missing-coast-down", Pulls: []string{"4", "5", "6"}})
		}},
		{"another gear on one side, no engine speed", "null", func(s *simulate.Scenario) {
			s.Vehicle.StateRatio, s.Logger.Sampled.EngineSpeed = true, false
			s.Faults = append(s.Faults, simulate.Fault{Name: "wrong-gear", Configuration: "B", Size: 0.08})
		}},
		{"weather jump without a correction", "null", func(s *simulate.Scenario) {
			s.Correction = "none"
			s.Faults = append(s.Faults, simulate.Fault{Name: "weather-jump", Configuration: "A", Size: 20})
		}},
	} {
		t.Run(row.name, func(t *testing.T) {
			for seed := uint64(1); seed <= 3; seed++ {
				s := scenario(t, row.scenario, seed)
				row.change(&s)
				a := analyseScenario(t, s)
				for _, c := range a.Comparisons {
					if c.Verdict == compare.GainShown || c.Verdict == compare.LossShown {
						t.Errorf("seed %d: %s by %.2f %%", seed, c.Verdict, 100*math.Expm1(c.Band.Gain))
					}
				}
			}
		})
	}
}

// A log with a gap leaves no figure that stands on both sides of it.
func TestGapLeavesNoFigureAcrossIt(t *testing.T) {
	s := scenario(t, "demo", 3)
	s.Faults = []simulate.Fault{{Name: "gap", Pulls: []string{"5"}, Size: 0.8}}
	a := analyseScenario(t, s)
	if got, _ := status(a, "band-not-covered"); got != campaign.Fail {
		t.Errorf("band-not-covered is %q", got)
	}
	for i := 1; i < len(a.SpeedRPM); i++ {
		if step := a.SpeedRPM[i] - a.SpeedRPM[i-1]; step > gridStep {
			t.Errorf("the shared grid has a hole of %v rpm at %v", step, a.SpeedRPM[i])
		}
	}
}
