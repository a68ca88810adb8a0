//go:build slow

package compare

import "testing"

// TestCoverageAcrossAll is TestCoverageAcross over the whole table of docs/method.md:
// coverage of the mean's and of the next vehicle's interval, by numpy.
func TestCoverageAcrossAll(t *testing.T) {
	coverageAcross(t, 1500, []acrossScenario{
		{3, 0, 99.9, 96.9}, {3, 0.005, 99.9, 95.9}, {3, 0.015, 97.7, 95.5},
		{4, 0, 99.5, 97.1}, {4, 0.005, 98.6, 95.8}, {4, 0.015, 96.3, 92.6},
		{5, 0, 98.1, 98.0}, {5, 0.005, 97.3, 94.8}, {5, 0.015, 95.5, 94.6},
		{8, 0, 96.8, 96.1}, {8, 0.005, 96.4, 92.5}, {8, 0.015, 95.8, 93.0},
		{12, 0, 96.0, 97.5}, {12, 0.005, 95.5, 93.5}, {12, 0.015, 95.2, 94.0},
	})
}
