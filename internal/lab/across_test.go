package lab

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report"
)

// vehicleWith is a campaign of the part S-2 on vehicle n, with the given gain (ln) and a
// scatter of a few tenths of a per cent without chance.
func vehicleWith(n int, gain float64) invented {
	wobble := func(k int) float64 { return 0.001 * math.Sin(float64(13*n+7*k)) }
	v := invented{id: fmt.Sprintf("part-on-%02d", n), vehicle: fmt.Sprintf("twin-%02d", n), begun: inventedDay(n)}
	for b, configuration := range []string{"A", "B", "A", "B", "A"} {
		block := inventedBlock{configuration: configuration}
		for i := range 3 {
			level := 0.01*float64(n) + wobble(3*b+i)
			if configuration == "B" {
				level += gain
			}
			block.levels = append(block.levels, level)
		}
		v.blocks = append(v.blocks, block)
	}
	return v
}

// Folders and campaigns of a workspace, each a vehicle: rows are the campaigns' own
// gains, and the mean is what compare makes of exactly these.
func TestAcrossVehicles(t *testing.T) {
	w := newWorkspace(t)
	var names []string
	for n, gain := range []float64{0.030, 0.045, 0.025, 0.038} {
		v := vehicleWith(n, gain)
		if n%2 == 0 {
			v.put(t, w)
			names = append(names, v.id)
			continue
		}
		dir := filepath.Join(t.TempDir(), v.id)
		writeTree(t, dir, v.folder())
		names = append(names, dir)
	}
	view, err := Across(t.Context(), w, AcrossQuery{Campaigns: names})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(view.Part, []string{"exhaust S-2"}) || view.Metric != compare.Band || view.Confidence != 0.95 {
		t.Errorf("%v %v %v", view.Part, view.Metric, view.Confidence)
	}
	var gains []compare.VehicleGain
	for n, r := range view.Rows {
		if !r.Used || r.Vehicle != fmt.Sprintf("twin-%02d", n) || !(math.Abs(r.Figure.Gain-[]float64{0.030, 0.045, 0.025, 0.038}[n]) < 0.002) {
			t.Errorf("row %d: %+v", n, r)
		}
		gains = append(gains, compare.VehicleGain{Gain: r.Figure.Gain, SE: r.Figure.SE})
	}
	want, err := compare.Across(gains, 0.95)
	if err != nil || view.Result != want {
		t.Errorf("%+v, want %+v, %v", view.Result, want, err)
	}
	peak, err := Across(t.Context(), w, AcrossQuery{Campaigns: names, Figure: "peak_power"})
	if err != nil || peak.Metric != compare.PeakPower || peak.Result.Vehicles != 0 || !strings.Contains(peak.Rows[0].Reason, "peak not bracketed") {
		// a flat curve has its highest power at the end of the range
		t.Errorf("peak power: %+v, %v", peak, err)
	}
	for _, write := range []func(*bytes.Buffer) error{
		func(b *bytes.Buffer) error { return view.HTML(b, quantity.SI) },
		func(b *bytes.Buffer) error { return view.SVG(b, quantity.SI) },
		func(b *bytes.Buffer) error { return view.Text(b, report.TextOptions{}) },
		func(b *bytes.Buffer) error { return peak.Text(b, report.TextOptions{}) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil || strings.Contains(b.String(), "NaN") || !strings.Contains(b.String(), "twin-03") {
			t.Errorf("%v: %.200s", err, b.String())
		}
	}
}

// Fewer than three vehicles, and gains that carry no verdict: the honest answers.
func TestAcrossFewVehicles(t *testing.T) {
	folders := func(n int) []string {
		var names []string
		for i := range n {
			dir := filepath.Join(t.TempDir(), "v")
			writeTree(t, dir, vehicleWith(i, 0.03+0.01*float64(i)).folder())
			names = append(names, dir)
		}
		return names
	}
	for n, words := range map[int]string{1: "no sample", 2: "too little of how vehicles differ to predict a third", 3: "On one more vehicle like these"} {
		view, err := Across(t.Context(), nil, AcrossQuery{Campaigns: folders(n)})
		if err != nil {
			t.Fatal(err)
		}
		if said := strings.Join(view.Sentences(), " "); !strings.Contains(said, words) || view.Result.Predicted != (n == 3) {
			t.Errorf("%d vehicles: %s", n, said)
		}
	}
	unknown := vehicleWith(5, 0.03)
	unknown.blocks = unknown.blocks[:2] // A-B: drift is not bounded
	dir := filepath.Join(t.TempDir(), "v")
	writeTree(t, dir, unknown.folder())
	view, err := Across(t.Context(), nil, AcrossQuery{Campaigns: append(folders(3), dir)})
	if err != nil {
		t.Fatal(err)
	}
	if r := view.Rows[3]; r.Used || !strings.Contains(r.Reason, "drift not bounded") || view.Result.Vehicles != 3 {
		t.Errorf("a gain without a verdict: %+v, %d vehicles", r, view.Result.Vehicles)
	}
}

func TestAcrossRefuses(t *testing.T) {
	folder := func(v invented) string {
		dir := filepath.Join(t.TempDir(), "v")
		writeTree(t, dir, v.folder())
		return dir
	}
	one, again, other := vehicleWith(0, 0.03), vehicleWith(1, 0.03), vehicleWith(2, 0.03)
	again.vehicle, other.part = "twin-00", "S-3"
	first := folder(one)
	for want, q := range map[string]AcrossQuery{
		"both of vehicle twin-00":                      {Campaigns: []string{first, folder(again)}},
		"does not test what campaign part-on-00 tests": {Campaigns: []string{first, folder(other)}},
		"is no campaign folder and no campaign":        {Campaigns: []string{first, "nothing"}},
		"has no candidate \"C\"":                       {Campaigns: []string{first}, Candidate: "C"},
		"there is no figure":                           {Campaigns: []string{first}, Figure: "torque"},
		"0 campaigns":                                  {},
	} {
		if _, err := Across(t.Context(), nil, q); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", q, err, want)
		}
	}
}
