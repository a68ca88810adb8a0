package drum

import (
	"errors"
	"math"
	"testing"
)

// near fails unless got is within tolerance of want; NaN fails.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g ± %g", what, got, want, tolerance)
	}
}

// TestDrumPhysics: 25 kg·m², 0.2286 m, 2 m/s², 20 m/s; values worked out from the
// definitions in double precision.
func TestDrumPhysics(t *testing.T) {
	const inertia, radius, a, v = 25.0, 0.2286, 2.0, 20.0
	near(t, "equivalent mass, kg", EquivalentMass(inertia, radius), 478.396, 0.0005)
	torque := Torque(inertia, a/radius, 0, [3]float64{}, v/radius)
	force := SurfaceForce(torque, radius)
	near(t, "force, N", force, 956.792, 0.001)
	near(t, "power, W", torque*v/radius, 19135.841, 0.02)
	near(t, "force times speed, W", force*v, 19135.841, 0.02)
	near(t, "energy at 100 km/h, J", KineticEnergy(inertia, 100/3.6/radius), 184566.37, 0.2)
	near(t, "balance with brake and bare drum, N·m", Torque(2, 3, 4, [3]float64{1, 0.5, 0.25}, 2), 2*3+4+1+1+1, 1e-12)
}

// TestDecelerationMethod: UN Regulation No. 117, annex 6 (formula read in a garbled
// copy and derived again): F = (I_D/R)·dω/dt + (R·I_T/R_r²)·dω/dt − F_pl, with
// I_D 25 kg·m², R 0.2286 m, I_T 0.6 kg·m², R_r 0.3 m, 5 rad/s², F_pl 20 N.
func TestDecelerationMethod(t *testing.T) {
	const radius = 0.2286
	total := 25 + ReferWheelInertia(0.6, 0.3, radius)
	near(t, "force, N", SurfaceForce(total*5, radius)-20, 534.4266, 0.001)
	if ReferWheelInertia(0, 0.3, radius) != 0 || ReferWheelInertia(0.6, 0, radius) != 0 {
		t.Error("a wheel that is not stated has an inertia")
	}
}

// TestRollSpeed: 40 CFR 1066.235(c)(1), example: 2.9231 Hz, one pulse a turn, a roll
// of 0.9044 m give 8.3053 m/s.
func TestRollSpeed(t *testing.T) {
	near(t, "surface speed, m/s", SurfaceSpeed(2.9231, 0.9044, 1), 8.3053, 5e-5)
	near(t, "the same with 60 pulses a turn", SurfaceSpeed(60*2.9231, 0.9044, 60), 8.3053, 5e-5)
}

// Pound-force and slug in SI, from NIST SP 811 (2008), appendix B.
const (
	poundForce = 4.4482216152605
	slug       = 14.593902937206364
	foot       = 0.3048
)

// TestInertiaForce: 40 CFR 1066.265(d), example: 92.217 slug at 1.4667 ft/s² take
// 135.25 lbf.
func TestInertiaForce(t *testing.T) {
	mass, a := 92.217*slug, 1.4667*foot
	near(t, "force, lbf", MeanForce(mass, 0, a, 1)/poundForce, 135.25, 0.01)
}

// TestMeanCoastForce: 40 CFR 1066.270(c)(4), example: 62.16 slug slow from 36.66 to
// 22.00 ft/s in 5.00 s under 182.2 lbf.
func TestMeanCoastForce(t *testing.T) {
	near(t, "force, lbf", -MeanForce(62.16*slug, 36.66*foot, 22*foot, 5)/poundForce, 182.2, 0.2)
}

// TestWheelShare: a lighter wheel shows more power on an inertia drum by
// (I_w,A − I_w,B)/(I + I_w,B): with the drum torque of the baseline held, the exact
// balance says the same.
func TestWheelShare(t *testing.T) {
	const drum, wheelA, wheelB, tyre = 20.0, 0.40, 0.30, 230.0 // torque that reaches the wheel, N·m
	shown := func(wheel float64) float64 { return drum * tyre / (drum + wheel) }
	near(t, "share", WheelShare(wheelA, wheelB, drum), shown(wheelB)/shown(wheelA)-1, 1e-12)
	near(t, "no change", WheelShare(wheelA, wheelA, drum), 0, 0)
	if !(WheelShare(wheelB, wheelA, drum) < 0) || !math.IsNaN(WheelShare(1, 0, 0)) {
		t.Error("a heavier wheel must show a loss, and a drum without inertia nothing")
	}
}

// TestTyreSpeedLimit: speed symbols of ISO 4223-1 and UN Regulation No. 75. J, K, M,
// S, T, H and V were read in product sheets under Regulation (EU) 2020/740; N, P
// and W from memory.
func TestTyreSpeedLimit(t *testing.T) {
	for symbol, want := range map[string]float64{"J": 100, "K": 110, "M": 130, "S": 180, "T": 190, "H": 210, "V": 240, "N": 140, "P": 150, "W": 270, " h ": 210, "(W)": 270, "a8": 40} {
		got, err := TyreSpeedLimit(symbol)
		if err != nil {
			t.Errorf("%q: %v", symbol, err)
		}
		near(t, symbol, got*3.6, want, 1e-9)
	}
	for _, symbol := range []string{"", "Z", "ZR", "I", "A9", "210", "()", "HH"} {
		if got, err := TyreSpeedLimit(symbol); !errors.Is(err, ErrSpeedSymbol) {
			t.Errorf("%q: %g, %v; want ErrSpeedSymbol", symbol, got, err)
		}
	}
}

// TestSlip: a course that is quadratic in time is no slip; a bump of 1 % shows, and
// where it is.
func TestSlip(t *testing.T) {
	const n = 200
	ts, smooth, bump := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		ts[i] = float64(i) / 20
		smooth[i] = 3.7 + 0.01*ts[i] - 0.001*ts[i]*ts[i]
		bump[i] = smooth[i]
		if i >= 120 && i < 130 {
			bump[i] *= 1.01
		}
	}
	if got, _ := Slip(ts, smooth); !(got < 1e-12) {
		t.Errorf("a quadratic course shows a slip of %g", got)
	}
	got, at := Slip(ts, bump)
	if got < 0.008 || got > 0.0101 || at < ts[120] || at > ts[129] {
		t.Errorf("a bump of 1 %% from %g to %g s: %.4f at %g s", ts[120], ts[129], got, at)
	}
	if got, at := Slip(ts[:5], smooth[:5]); !math.IsNaN(got) || !math.IsNaN(at) {
		t.Errorf("five values: %g at %g, want NaN", got, at)
	}
}
