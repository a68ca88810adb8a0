package store

import (
	"errors"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"fairpull/campaign"
)

func TestVehiclesAndDynosKeepEveryStatement(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		for i, mass := range []float64{285, 290, 285} {
			r := example("c"+string(rune('0'+i)), 1)
			r.Campaign.Vehicle.MassWithRider = 0
			r.Campaign.Vehicle.TestGear = int(mass)
			put(t, s, r)
		}
		for version, gear := range map[int64]int{1: 285, 2: 290, 0: 290} {
			d, err := s.Vehicle(t.Context(), "twin-03", version)
			if err != nil || d.Value.TestGear != gear || version > 0 && d.Version != version {
				t.Errorf("version %d is %+v, %v; want gear %d", version, d, err, gear)
			}
		}
		if _, err := s.Vehicle(t.Context(), "twin-03", 3); !errors.Is(err, ErrNotFound) {
			t.Errorf("a third version gives %v; the third campaign said what the first had", err)
		}
		if d, err := s.Dyno(t.Context(), "cell-1", 0); err != nil || d.Version != 1 || d.Value != example("x", 0).Campaign.Dyno {
			t.Errorf("the dyno is %+v, %v", d, err)
		}
		vehicles, err := s.Vehicles(t.Context())
		dynos, errDynos := s.Dynos(t.Context())
		if err != nil || errDynos != nil || !slices.Equal(vehicles, []string{"twin-03"}) || !slices.Equal(dynos, []string{"cell-1"}) {
			t.Errorf("vehicles %v, %v; dynos %v, %v", vehicles, err, dynos, errDynos)
		}
	})
}

func TestProcedureVersions(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		first := []campaign.SetPoint{{Key: "oil_temp_degc", Target: 90, Tolerance: 8}}
		second := []campaign.SetPoint{{Key: "oil_temp_degc", Target: 90, Tolerance: 5}}
		save := func(points []campaign.SetPoint, by Author) (Change, error) {
			return s.SaveProcedure(t.Context(), "house", points, by)
		}
		if c, err := save(first, Author{Who: "Anna Test"}); err != nil || c.Version != 1 {
			t.Errorf("the first version: %+v, %v", c, err)
		}
		if c, err := save(first, anna); err != nil || c.Changed() {
			t.Errorf("the same again: %+v, %v; want no change", c, err)
		}
		if _, err := save(second, Author{Who: "Anna Test"}); !errors.Is(err, ErrRefused) {
			t.Errorf("a new version without a reason: %v, want ErrRefused", err)
		}
		if c, err := save(second, anna); err != nil || c.Version != 2 || len(c.Differences) == 0 {
			t.Errorf("the second version: %+v, %v", c, err)
		}
		if _, err := save(first, anna); !errors.Is(err, ErrRefused) {
			t.Errorf("going back: %v, want ErrRefused", err)
		}
		for version, want := range map[int64][]campaign.SetPoint{1: first, 2: second, 0: second} {
			if d, err := s.Procedure(t.Context(), "house", version); err != nil || !slices.Equal(d.Value, want) {
				t.Errorf("version %d is %+v, %v; want %v", version, d, err, want)
			}
		}
		if _, err := save([]campaign.SetPoint{{Key: "a"}, {Key: "a"}}, anna); !errors.Is(err, ErrRefused) {
			t.Errorf("a set point twice: %v, want ErrRefused", err)
		}
		clean(t, s)
	})
}

func TestCalibrations(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		r := example("twin", 6) // pulls every 4 minutes from 13:00 UTC
		put(t, s, r)
		at := func(minute int) time.Time { return time.Date(2026, 3, 2, 13, minute, 0, 0, time.UTC) }
		one := Calibration{Dyno: "cell-1", ValidFrom: at(0).AddDate(0, 0, -9), DrumInertia: 41.80, DrumInertiaU: 0.42, Parasitic: [3]float64{1.1, 0.01, 0}}
		two := Calibration{Dyno: "cell-1", ValidFrom: at(8), DrumInertia: 41.95, DrumInertiaU: 0.2, BrakeArm: 0.4, BrakeArmU: 0.001, Note: "rim weights"}
		for _, c := range []Calibration{two, one} {
			if _, err := s.Calibrate(t.Context(), c, anna); err != nil {
				t.Fatal(err)
			}
		}
		if c, err := s.Calibrate(t.Context(), one, anna); err != nil || c.Changed() {
			t.Errorf("the same again: %+v, %v; want no change", c, err)
		}
		for minute, want := range map[int]Calibration{0: one, 7: one, 8: two, 59: two} {
			if got, err := s.CalibrationAt(t.Context(), "cell-1", at(minute)); err != nil || got != want {
				t.Errorf("at 13:%02d %+v holds, %v; want %+v", minute, got, err, want)
			}
		}
		if _, err := s.CalibrationAt(t.Context(), "cell-1", one.ValidFrom.Add(-time.Second)); !errors.Is(err, ErrNotFound) {
			t.Errorf("before the first: %v, want ErrNotFound", err)
		}
		for _, row := range []struct {
			of   Calibration
			want []PullID
		}{{one, []PullID{{"twin", "1"}, {"twin", "2"}}}, {two, []PullID{{"twin", "3"}, {"twin", "4"}, {"twin", "5"}, {"twin", "6"}}}} {
			if got, err := s.CalibrationPulls(t.Context(), "cell-1", row.of.ValidFrom); err != nil || !slices.Equal(got, row.want) {
				t.Errorf("the calibration from %v applies to %v, %v; want %v", row.of.ValidFrom, got, err, row.want)
			}
		}
		better := two
		better.DrumInertia = 41.96
		if _, err := s.Calibrate(t.Context(), better, Author{Who: "Anna Test"}); !errors.Is(err, ErrRefused) {
			t.Errorf("superseding without a reason: %v, want ErrRefused", err)
		}
		c, err := s.Calibrate(t.Context(), better, Author{"Anna Test", "arithmetic slip"})
		if err != nil || c.Action != Superseded || !slices.Equal(c.Differences, []Difference{{"calibration.DrumInertia", "41.95", "41.96"}}) {
			t.Errorf("superseding: %+v, %v", c, err)
		}
		if list, err := s.Calibrations(t.Context(), "cell-1"); err != nil || !slices.Equal(list, []Calibration{one, better}) {
			t.Errorf("the calibrations are %+v, %v", list, err)
		}
		bad := one
		bad.DrumInertiaU = -1
		if _, err := s.Calibrate(t.Context(), bad, anna); !errors.Is(err, ErrRefused) {
			t.Errorf("a negative uncertainty: %v, want ErrRefused", err)
		}
		clean(t, s)
	})
}

func TestResults(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		put(t, s, example("twin", 3))
		entry, err := s.Entry(t.Context(), "twin", 0)
		if err != nil {
			t.Fatal(err)
		}
		measured := 0.4
		r := Result{
			Campaign: "twin", Version: 1, Data: entry.Digest, Program: "0.1.0", Settings: []byte(`{"grid_rpm": 50}`),
			Body: []byte(`{"verdict": "gain shown"}`), Scatter: []byte(`[0.1, -0.1]`),
			Checks: []campaign.Check{{ID: "repeatability", Status: campaign.Pass, Measured: &measured, Unit: "%"}, {ID: "drift", Status: campaign.Warn, Pulls: []string{"2"}}},
		}
		c, err := s.SaveResult(t.Context(), r, anna)
		if err != nil || c.Action != ResultKept || c.Version != 1 || c.From != c.To {
			t.Fatalf("got %+v, %v", c, err)
		}
		got, err := s.LatestResult(t.Context(), "twin")
		if err != nil || got.ID == "" || got.Seq != c.Seq || !got.At.Equal(c.At) {
			t.Errorf("got %+v, %v", got, err)
		}
		want := r
		want.ID, want.Seq, want.At = got.ID, got.Seq, got.At
		if !reflect.DeepEqual(got, want) {
			t.Errorf("the result came back as %+v, want %+v", got, want)
		}
		if c, err := s.SaveResult(t.Context(), r, anna); err != nil || c.Changed() {
			t.Errorf("the same again: %+v, %v; want no change", c, err)
		}
		pull, log := examplePull("twin", 3)
		if _, err := s.AddPull(t.Context(), "twin", pull, log, anna); err != nil {
			t.Fatal(err)
		}
		newer := r
		newer.Version, newer.Body = 2, []byte(`{"verdict": "not enough evidence"}`)
		if _, err := s.SaveResult(t.Context(), newer, anna); !errors.Is(err, ErrRefused) {
			t.Errorf("a result of other data than it names: %v, want ErrRefused", err)
		}
		if entry, err = s.Entry(t.Context(), "twin", 0); err != nil || entry.Digest == r.Data {
			t.Fatalf("the new pull left the digest %v, %v", entry.Digest, err)
		}
		newer.Data = entry.Digest
		if _, err := s.SaveResult(t.Context(), newer, anna); err != nil {
			t.Error(err)
		}
		if list, err := s.Results(t.Context(), "twin", 10); err != nil || len(list) != 2 || list[1].Data != r.Data {
			t.Errorf("the results are %+v, %v; want both, the latest first", list, err)
		}
		past, err := s.History(t.Context(), HistoryQuery{Dyno: "cell-1", Limit: 10})
		if err != nil || len(past) != 1 || string(past[0].Scatter) != `[0.1, -0.1]` || past[0].Vehicle != "twin-03" {
			t.Errorf("the history is %+v, %v", past, err)
		}
		clean(t, s)
		if _, err := s.SetState(t.Context(), "twin", StateWithdrawn, anna); err != nil {
			t.Fatal(err)
		}
		if past, err := s.History(t.Context(), HistoryQuery{Dyno: "cell-1", Limit: 10}); err != nil || len(past) != 0 {
			t.Errorf("a withdrawn campaign is in the history: %+v, %v", past, err)
		}
	})
}

func TestAttachments(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		put(t, s, example("twin", 1))
		if c, err := s.AddSetup(t.Context(), "twin", "s2", anna); err != nil || !c.Changed() {
			t.Fatalf("%+v, %v", c, err)
		}
		if c, err := s.AddSetup(t.Context(), "twin", "s2", anna); err != nil || c.Changed() {
			t.Errorf("the same setup again: %+v, %v; want no change", c, err)
		}
		setup, part, nowhere := photograph("twin"), photograph("twin"), photograph("twin")
		setup.Subject = "s2"
		part.Kind, part.Subject, part.Media = "configuration", "B", "application/pdf"
		nowhere.Subject = "s3"
		for _, a := range []Attachment{setup, part} {
			if c, err := s.Attach(t.Context(), a, []byte(a.Kind), anna); err != nil || !c.Changed() {
				t.Errorf("%+v: %+v, %v", a, c, err)
			}
			if c, err := s.Attach(t.Context(), a, []byte(a.Kind), anna); err != nil || c.Changed() {
				t.Errorf("%+v again: %+v, %v; want no change", a, c, err)
			}
		}
		if _, err := s.Attach(t.Context(), nowhere, nil, anna); !errors.Is(err, ErrNotFound) {
			t.Errorf("a setup that is not there: %v, want ErrNotFound", err)
		}
		list, err := s.Attachments(t.Context(), "twin")
		if err != nil || len(list) != 2 {
			t.Fatalf("got %+v, %v", list, err)
		}
		for i, want := range []Attachment{setup, part} {
			data, err := s.Blob(t.Context(), list[i].Digest)
			if err != nil || string(data) != want.Kind || list[i].Subject != want.Subject || list[i].Size != int64(len(want.Kind)) {
				t.Errorf("attachment %d is %+v with %q, %v", i+1, list[i], data, err)
			}
		}
	})
}

// A calibration of before speeds and sensors could be calibrated has the body, and so
// the digest, that it had; what was added comes back.
func TestCalibrationKeepsItsBody(t *testing.T) {
	old := Calibration{Dyno: "cell-1", ValidFrom: time.Date(2026, 1, 10, 0, 0, 0, 0, time.UTC), DrumInertia: 41.8, DrumInertiaU: 0.4, Parasitic: [3]float64{1.1, 0.01, 0}}
	const body = `{"Dyno":"cell-1","ValidFrom":"2026-01-10T00:00:00Z","DrumInertia":41.8,"DrumInertiaU":0.4,"BrakeArm":0,"BrakeArmU":0,"Parasitic":[1.1,0.01,0],"ParasiticU":[0,0,0],"Note":""}`
	if got, err := write("calibration", old); err != nil || got.body != body {
		t.Errorf("%s, %v; want %s", got.body, err, body)
	}
	more := old
	more.ParasiticR, more.DrumSpeed, more.Pressure = [3]float64{0.5, 0, -0.2}, Scale{1.001, 0.0002}, Sensor{120, 1, 20}
	kept, err := write("calibration", more)
	if err != nil {
		t.Fatal(err)
	}
	if back, err := read[Calibration]("calibration", kept.body); err != nil || back != more {
		t.Errorf("%+v, %v; want %+v", back, err, more)
	}
	for name, spoil := range map[string]func(*Calibration){
		"a correlation of 2": func(c *Calibration) { c.ParasiticR[0] = 2 }, "a scale below zero": func(c *Calibration) { c.DrumSpeed.Value = -1 },
		"an offset without end": func(c *Calibration) { c.Humidity.Offset = math.Inf(1) },
	} {
		bad := more
		spoil(&bad)
		if err := bad.check(); !errors.Is(err, ErrRefused) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
