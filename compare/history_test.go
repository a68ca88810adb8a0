package compare

import (
	"strings"
	"testing"

	"fairpull/scatter"
)

// tellPool adds the pool of earlier campaigns, made anew: what their own pulls say of
// scatter and drift, and nothing else.
func (l *lab) tellPool(in *Input) {
	var studies []scatter.Study
	for _, order := range l.s.past {
		s, err := Study(l.pulls(order))
		if err != nil {
			panic(err)
		}
		studies = append(studies, s)
	}
	pooled, err := scatter.Pool(studies, in.SpeedRPM)
	if err != nil {
		panic(err)
	}
	in.History.Archive = pooled.Archive
	if l.s.rates > 0 {
		in.History.DriftRate = Spread{SD: pooled.DriftRateSD, DF: pooled.DriftRateDF}
	}
}

// earlier returns the orders of n earlier campaigns, in turn from the list.
func earlier(n int, orders string) []string {
	list := strings.Fields(orders)
	out := make([]string, n)
	for i := range out {
		out[i] = list[i%len(list)]
	}
	return out
}

// TestCoverageOfPooledHistoryFast simulates labs that judge with what they found in
// their earlier campaigns: limits must hold as in TestCoverageFast. The full table is
// that of docs/coverage.md.
func TestCoverageOfPooledHistoryFast(t *testing.T) {
	const n = 250
	for i, s := range []simulated{
		{name: "A-B-A, 3 earlier campaigns", order: "ABA", past: earlier(3, "ABBA ABABAB ABBAAB ABAB")},
		{name: "A-B-A, 12 earlier campaigns", order: "ABA", past: earlier(12, "ABBA ABABAB ABBAAB ABAB"), spread: spreadOfSDs},
	} {
		s.pulls, s.drift, s.linear, s.gain = []int{3}, linearDrift, true, simGain
		got := s.run(t, n, uint64(300+i))
		mean, _ := got.pointwise()
		for m, share := range []float64{mean, got.hundred(got.wholeBand), got.hundred(got.intervals[0]), got.hundred(got.intervals[1]), got.hundred(got.intervals[2])} {
			if low := 94 - binomial(94, n); !(share >= low) {
				t.Errorf("%s: limit %d holds %.1f %%, below %.1f", s.name, m, share, low)
			}
		}
		t.Logf("%s: pointwise %.1f, intervals %v, at least %v of %d", s.name, mean, got.intervals, got.atLeast, n)
	}
}

// spreadOfSDs is a campaign-to-campaign spread of SDs of 30 %, as the SD of their
// logarithm: √ln(1 + 0.3²).
const spreadOfSDs = 0.2936
