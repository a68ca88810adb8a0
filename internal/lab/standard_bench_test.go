package lab

import "testing"

// BenchmarkStandardCheck is what the check standard costs each judged campaign: a
// year of weekly checks, read before.
func BenchmarkStandardCheck(b *testing.B) {
	w := newWorkspace(b)
	for n := range 52 {
		checkOn(n, 0.002*float64(n%5)-0.004).put(b, w)
	}
	if _, err := w.SetStandard(b.Context(), StandardChoice{Dyno: "cell-1", Vehicle: "single-01"}, anna); err != nil {
		b.Fatal(err)
	}
	at := inventedDay(40)
	for b.Loop() {
		if _, said, err := w.standardCheck(b.Context(), "cell-1", at); err != nil || !said {
			b.Fatal(said, err)
		}
	}
}
