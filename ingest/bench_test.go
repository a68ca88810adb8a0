package ingest

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
)

// sampledText is a log of six channels as a logger writes it: 200 Hz, fixed
// decimals.
func sampledText(rows int) []byte {
	random := rand.New(rand.NewPCG(1, 2))
	out := []byte("time [s],drum_speed [rad/s],engine_speed [1/min],throttle [%],lambda,oil_temp [degC]\n")
	for i := range rows {
		t := float64(i) / 200
		drum := 60 + 6*t + 0.05*random.NormFloat64()
		for j, cell := range []struct {
			value    float64
			decimals int
		}{{t, 3}, {drum, 4}, {drum * 35.4, 1}, {99.8, 1}, {0.88 + 0.01*math.Sin(t), 3}, {90 + t/10, 1}} {
			if j > 0 {
				out = append(out, ',')
			}
			out = strconv.AppendFloat(out, cell.value, 'f', cell.decimals, 64)
		}
		out = append(out, '\n')
	}
	return out
}

// pulseText is a log of n drum pulses, 60 a turn, and n/8 ignition pulses.
func pulseText(n int) []byte {
	out := []byte("drum_pulse [s];engine_pulse [s]\n")
	for i := range n {
		out = strconv.AppendFloat(out, 20*math.Sqrt(float64(i)/float64(n)), 'f', 7, 64)
		out = append(out, ';')
		if i < n/8 {
			out = strconv.AppendFloat(out, 20*math.Sqrt(float64(i)/float64(n/8)), 'f', 7, 64)
		}
		out = append(out, '\n')
	}
	return out
}

func benchmarkLog(b *testing.B, data []byte) {
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ParseLog("log.csv", data, LogOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkParseSampled(b *testing.B) { benchmarkLog(b, sampledText(4000)) }

func BenchmarkParsePulses(b *testing.B) { benchmarkLog(b, pulseText(60_000)) }
