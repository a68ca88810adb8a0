//go:build slow

package compare

import "testing"

// TestCoverageRigsAll is TestCoverageRigs over every design, by 2,000 pairs of campaigns.
func TestCoverageRigsAll(t *testing.T) {
	for name, pair := range rigPairs() {
		band, whole := coverageRigs(t, 2000, pair)
		t.Logf("%s: band %.1f %%, whole band %.1f %%", name, band, whole)
		// three standard errors of 2,000 pairs are 1.5 %
		if band < 93.5 || whole < 93 {
			t.Errorf("%s: coverage of the band %.1f %%, of the whole band at once %.1f %%", name, band, whole)
		}
	}
}
