//go:build slow

package compare

import (
	"fmt"
	"testing"
)

// pooledScenarios are campaigns judged with the pool of 3, 6 and 12 earlier ones:
// first where all have the same scatter, then where SDs spread by 30 % from campaign
// to campaign, that of the campaign judged too.
func pooledScenarios() map[bool][]simulated {
	const rich, poor = "ABBA ABABAB ABBAAB ABAB", "ABBA"
	out := map[bool][]simulated{}
	for _, spread := range []float64{0, spreadOfSDs} {
		add := func(order, past string, n int, rates float64) {
			s := simulated{
				order: order, pulls: []int{3}, past: earlier(n, past), spread: spread,
				rates: rates, drift: linearDrift, linear: rates == 0,
			}
			if rates > 0 {
				s.drift = nil
			}
			kind := "1 to 3 df each"
			if past == poor {
				kind = "1 df each"
			}
			if rates > 0 {
				kind += fmt.Sprintf(", drift of SD %.1f %%/h known from them", 100*rates)
			}
			s.name = fmt.Sprintf("%s, %d campaigns, %s", order, n, kind)
			out[spread > 0] = append(out[spread > 0], s)
		}
		for _, n := range []int{3, 6, 12} {
			add("ABA", rich, n, 0)
			add("ABBA", rich, n, 0)
		}
		add("ABA", poor, 6, 0)
		add("ABA", poor, 12, 0)
		if spread == 0 {
			add("AB", rich, 6, 0.01)
			add("AB", rich, 12, 0.01)
			add("AB", rich, 12, 0.003)
		}
	}
	return out
}

// TestCoverageOfPooledHistorySlow prints the tables of docs/coverage.md on judging
// with a pooled history, and holds every scenario against its promise within two
// binomial standard errors.
func TestCoverageOfPooledHistorySlow(t *testing.T) {
	scenarios := pooledScenarios()
	seed := uint64(2000)
	for _, spread := range []bool{false, true} {
		title := "History from earlier campaigns, all with the same scatter"
		if spread {
			title = "History from earlier campaigns whose SDs spread by 30 %"
		}
		fmt.Printf("\n### %s\n\n%s", title, tableHead)
		for _, s := range scenarios[spread] {
			s.gain = simGain
			got := s.run(t, slowCampaigns, seed)
			s.gain = noGain
			none := s.run(t, slowCampaigns, seed+1)
			seed += 2
			fmt.Print(s.row(got, none))
			s.hold(t, safe, got)
		}
	}
}
