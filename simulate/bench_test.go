package simulate

import "testing"

// benchmark reports pulls a second of a scenario written in memory.
func benchmark(b *testing.B, s Scenario) {
	pulls := len(s.Plan.Order) * s.Plan.PullsPerBlock
	bytes := 0
	for b.Loop() {
		set, err := s.Files()
		if err != nil {
			b.Fatal(err)
		}
		bytes = 0
		for _, data := range set {
			bytes += len(data)
		}
	}
	b.SetBytes(int64(bytes))
	b.ReportMetric(float64(pulls)*float64(b.N)/b.Elapsed().Seconds(), "pulls/s")
}

// Pulls of about 4,000 rows and six channels, truth included.
func BenchmarkSimulate(b *testing.B) {
	s := Default()
	s.Plan.Order = "ABABAB"
	s.Drive.Coast = 12.3
	benchmark(b, s)
}

// Pulls of about 16,000 drum pulses and 700 ignition pulses.
func BenchmarkPulses(b *testing.B) { benchmark(b, pulseLogs()) }
