package lab

import (
	"math"
	"strings"
	"testing"

	"fairpull/internal/store"
	"fairpull/simulate"
)

// A drum whose speed reads 1 % low is calibrated: without bearing loss torque at the
// drum goes by the scale, its referral to the engine by the scale again, so that every
// level rises by 1.01² and no gain moves. A calibrated barometer moves the levels by
// what the correction makes of it, and no gain by more than the weather between the
// sides.
func TestCalibratedSpeedAndBarometer(t *testing.T) {
	s := simulate.Default()
	s.Dyno.Parasitic = [3]float64{}
	s.Plan.Order = "ABA"
	s.Logger.Sampled.Rate, s.Logger.EncoderError = 60, 0 // this log's turns are those of its own speeds
	w := newWorkspace(t)
	putScenario(t, w, s)
	before := mustJudge(t, w, s.ID, true)
	speed := Calibration{Dyno: s.Dyno.ID, ValidFrom: s.Plan.Start.AddDate(0, -2, 0), DrumSpeed: store.Scale{Value: 1.01, U: 0.0002}}
	if _, err := w.Calibrate(t.Context(), speed, anna); err != nil {
		t.Fatal(err)
	}
	after := mustJudge(t, w, s.ID, true)
	if len(after.calibrated) != 1 {
		t.Fatalf("applied: %+v", after.calibrated)
	}
	within(t, "levels", after.calibrated[0].Effect, 1.01*1.01-1, 1e-9)
	for i := range before.Comparisons {
		a, b := before.Comparisons[i].Band, after.Comparisons[i].Band
		within(t, "level", b.BaselineLevel/a.BaselineLevel, 1.01*1.01, 1e-9)
		within(t, "gain", b.Gain, a.Gain, 1e-9)
	}
	view := after.View("", after.units)
	if basis := strings.Join(view.Basis(), " "); !strings.Contains(basis, "drum speed × 1.01") {
		t.Errorf("the report says: %s", basis)
	}
	// the barometer reads 200 Pa low; the speed is inherited
	air := Calibration{Dyno: s.Dyno.ID, ValidFrom: s.Plan.Start.AddDate(0, -1, 0), Pressure: store.Sensor{Offset: 200, Slope: 1, U: 20}}
	if _, err := w.Calibrate(t.Context(), air, anna); err != nil {
		t.Fatal(err)
	}
	third := mustJudge(t, w, s.ID, true)
	p, q := after.Pulls[0], third.Pulls[0]
	within(t, "station pressure, Pa", float64(q.Air.Pressure-p.Air.Pressure), 200, 1e-6)
	if !(q.Factor < p.Factor) {
		t.Errorf("factor %g after %g: a higher pressure needs less correction", q.Factor, p.Factor)
	}
	within(t, "level with both", third.Comparisons[0].Band.BaselineLevel/after.Comparisons[0].Band.BaselineLevel, q.Factor/p.Factor, 1e-4)
	within(t, "gain with both", third.Comparisons[0].Band.Gain, after.Comparisons[0].Band.Gain, 1e-4)
	// what was kept is derived again from its settings
	text, err := encodeSettings(settingsOf(third.Analysis, Options{Calibrations: inherited([]Calibration{speed, air})}))
	if err != nil {
		t.Fatal(err)
	}
	back, err := decodeSettings(text)
	if err != nil {
		t.Fatal(err)
	}
	if len(back.Calibrations) > 0 && back.Calibrations[0].of(s.Dyno.ID).DrumSpeed.Value != 1.01 {
		t.Errorf("settings give back %+v", back.Calibrations[0])
	}
}

// A scale that only a slip gives is refused; so is a correlation beyond 1.
func TestCalibratedSensorsRefused(t *testing.T) {
	w := newWorkspace(t)
	s := simulate.Default()
	base := Calibration{Dyno: s.Dyno.ID, ValidFrom: s.Plan.Start}
	for name, spoil := range map[string]func(*Calibration){
		"a count of pulses": func(c *Calibration) { c.DrumSpeed.Value = 60.0 / 48 },
		"°F as °C":          func(c *Calibration) { c.Temperature = store.Sensor{Offset: -140, Slope: 5.0 / 9} },
		"NaN":               func(c *Calibration) { c.Pressure = store.Sensor{Offset: math.NaN(), Slope: 1} },
		"correlation":       func(c *Calibration) { c.DrumSpeed.Value, c.ParasiticR[0] = 1, 1.5 },
		"nothing":           func(*Calibration) {},
	} {
		c := base
		spoil(&c)
		if done, err := w.Calibrate(t.Context(), c, anna); err == nil {
			t.Errorf("%s: %+v", name, done)
		}
	}
}
