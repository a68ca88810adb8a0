//go:build slow

package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"fairpull/scatter"
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

// TestCoverageOfQuotedDF prints, for one number that setups alone make, how often the
// 95 % interval from a pool holds with the degrees of freedom that the pool quotes, and
// with the plain minimum of all degrees of freedom and those of the prior (thirty
// below six campaigns). From three campaigns on the quoted ones must hold 94 % within
// two binomial standard errors.
func TestCoverageOfQuotedDF(t *testing.T) {
	const labs = 20_000
	fmt.Printf("\n### Degrees of freedom quoted for a pool: one number, setups alone\n\n| spread of SDs %% | campaigns | df each | quoted: holds %%, half-width | plain minimum: holds %%, half-width |\n|---|---|---|---|---|\n")
	rng := rand.New(rand.NewPCG(7, 0x51))
	for _, spread := range []float64{0, spreadOfSDs} {
		for _, n := range []int{1, 3, 6, 12, 24} {
			for _, df := range [][]int{{1}, {1, 3, 3, 1}, {5}} {
				var held [2]int
				var widths [2][]float64
				for range labs {
					level := poolOfOneNumber(rng, n, df, spread)
					limit := level.PriorDF
					if n < 6 {
						limit = 30
					}
					y := math.Abs(rng.NormFloat64()) * math.Exp(spread*rng.NormFloat64())
					sd := level.RowSD[0]
					if !math.IsNaN(level.PriorDF) {
						sd = level.PriorSD[0]
					}
					for i, d := range []float64{level.QuotedDF, min(level.DF, limit)} {
						half := sd * tQuantile(0.975, d)
						widths[i] = append(widths[i], half)
						if y <= half {
							held[i]++
						}
					}
				}
				share := [2]float64{100 * float64(held[0]) / labs, 100 * float64(held[1]) / labs}
				fmt.Printf("| %.0f | %d | %v | %.1f, %.2f | %.1f, %.2f |\n", 100*math.Sqrt(math.Expm1(spread*spread)), n, df,
					share[0], median(widths[0]), share[1], median(widths[1]))
				if low := 94 - binomial(94, labs)/2; n >= 3 && !(share[0] >= low) {
					t.Errorf("spread %v, %d campaigns of %v df: %.1f %%", spread, n, df, share[0])
				}
			}
		}
	}
}

// poolOfOneNumber returns the setup level of n campaigns whose SDs are about one.
func poolOfOneNumber(rng *rand.Rand, n int, df []int, spread float64) scatter.PooledLevel {
	studies := make([]scatter.Study, n)
	for i := range studies {
		nu := df[i%len(df)]
		sd := math.Exp(spread * rng.NormFloat64())
		l := scatter.Level{DF: float64(nu), Pulls: 1}
		for range nu {
			z := sd * rng.NormFloat64()
			l.Residuals = append(l.Residuals, []float64{z, z, z, z, z})
		}
		studies[i] = scatter.Study{SpeedRPM: []float64{2000, 3000}, Setup: l}
	}
	p, err := scatter.Pool(studies, nil)
	if err != nil {
		panic(err)
	}
	return p.Setup
}
