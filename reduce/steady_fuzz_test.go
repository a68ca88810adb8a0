package reduce

import (
	"encoding/binary"
	"errors"
	"math"
	"testing"

	"fairpull/signal"
)

// FuzzSteady feeds logs of any content. Whatever comes, the answer is a LogError or
// points of finite torque, one after the other.
func FuzzSteady(f *testing.F) {
	log := heldLog{rate: 20, end: 20, speedSD: 0.02, wheel: func(float64) float64 { return 300 }, speed: func(float64) (float64, float64) { return 80, 0 }}.log(1)
	var raw []byte
	for i := range log.Time {
		for _, v := range []float64{log.Time[i], log.Channel(signal.DrumSpeed)[i], log.Channel(signal.BrakeTorque)[i], 0.9} {
			raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(v))
		}
	}
	f.Add(uint8(0), raw)
	f.Add(uint8(1), raw[:len(raw)/3])
	f.Add(uint8(2), []byte("no log at all, and not a multiple of eight bytes"))
	f.Fuzz(func(t *testing.T, names uint8, raw []byte) {
		var columns [4][]float64
		for i := 0; i+32 <= len(raw) && i < 32*8000; i += 32 {
			for k := range columns {
				columns[k] = append(columns[k], math.Float64frombits(binary.LittleEndian.Uint64(raw[i+8*k:])))
			}
		}
		last := []string{signal.BrakeCommand, signal.Throttle, signal.EngineSpeed, signal.OilTemperature}[names%4]
		log := &signal.Log{Kind: signal.Sampled, FirstLine: 2, Time: columns[0], Channels: []signal.Channel{
			{Name: signal.DrumSpeed, Values: columns[1]}, {Name: signal.BrakeTorque, Values: columns[2]}, {Name: last, Values: columns[3]},
		}}
		s, err := FindSteady(log, heldRig, DefaultSteadyRule())
		if err != nil {
			var refusal *LogError
			if !errors.As(err, &refusal) || refusal.Cure == "" {
				t.Fatalf("refused with %T: %v", err, err)
			}
			return
		}
		before := math.Inf(-1)
		for _, p := range s.Points {
			lo, hi := p.Limits(0.95)
			for _, v := range []float64{p.Torque, p.StandardError, p.EngineRPM, p.DrumTorque, lo, hi, p.Start, p.End} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("a point with %v: %+v", v, p)
				}
			}
			if !(p.Start >= before) || !(p.End > p.Start) || !(p.Torque > 0) {
				t.Fatalf("point %+v after one that ended at %v", p, before)
			}
			before = p.End
		}
		for _, r := range HeldResults([]*Steady{s}, []float64{1000, 3800, 3850, 9000}, DefaultSteadyRule()) {
			for i, torque := range r.Curve.Torque {
				if !(torque > -largestTorque) || !(r.Curve.StandardError[i] >= 0) {
					t.Fatalf("node %d: %v ± %v", i, torque, r.Curve.StandardError[i])
				}
			}
		}
	})
}

// TestSteadySlowLogger: ten samples a second are enough for a hold of ten seconds.
func TestSteadySlowLogger(t *testing.T) {
	for _, rate := range []float64{5, 10, 1000} {
		s := steadyOf(t, heldLog{rate: rate, end: 25, speedSD: 0.02, wheel: func(float64) float64 { return 300 }, speed: func(float64) (float64, float64) { return 80, 0 }}.log(1))
		if len(s.Points) != 1 {
			t.Fatalf("%v Hz: %d points, left out %v", rate, len(s.Points), s.LeftOut)
		}
		nearTo(t, "torque", s.Points[0].DrumTorque, 300, 0.2)
	}
}
