//go:build slow

package lab

import "testing"

// TestRigsCoverage counts how often the bias of two simulated rigs holds the truth.
func TestRigsCoverage(t *testing.T) {
	const pairs = 60
	held := 0
	for seed := range uint64(pairs) {
		folders, truth := simulatedRigs(t, seed+1)
		view, err := CompareRigs(t.Context(), nil, RigsQuery{Campaigns: folders})
		if err != nil {
			t.Fatal(err)
		}
		if b := view.Biases[0]; b.Lo <= truth && truth <= b.Hi {
			held++
		}
	}
	t.Logf("%d of %d hold the truth", held, pairs)
	// 95 % less three standard errors of 60 pairs, 2.8 %
	if held < 52 {
		t.Errorf("%d of %d intervals hold the truth", held, pairs)
	}
}
