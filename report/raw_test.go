package report

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"fairpull/quantity"
)

// An axis that begins at 0 has no tick at −0.
func TestTicksHaveNoNegativeZero(t *testing.T) {
	for _, tick := range newScale(0, 23, 7).Ticks() {
		if math.Signbit(tick) {
			t.Errorf("a tick at %g", tick)
		}
	}
}

// A channel is shown in the person's unit where the program knows it, in the log's
// own where it does not, and as recorded without a unit. 60 rpm are 2π rad/s,
// 212 °F are 373.15 K, 1 mi is 1609.344 m (NIST Special Publication 811, appendix
// B.8, from memory).
func TestRawChannelUnits(t *testing.T) {
	mph, err := quantity.Lookup("mph")
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		channel RawChannel
		units   quantity.System
		title   string
		want    float64
	}{
		{RawChannel{Name: "drum_speed", Dimension: quantity.RotationalSpeed, Y: []float64{2 * math.Pi}}, quantity.SI, "drum speed, rpm", 60},
		{RawChannel{Name: "oil_temp", Dimension: quantity.Temperature, Y: []float64{373.15}}, quantity.USCustomary, "oil temp, °F", 212},
		{RawChannel{Name: "wind", Own: mph, OwnUnit: "mph", Y: []float64{1609.344 / 3600}}, quantity.SI, "wind, mph", 1},
		{RawChannel{Name: "fan", OwnUnit: "steps", Y: []float64{7}}, quantity.SI, "fan, steps", 7},
		{RawChannel{Name: "lambda", Dimension: quantity.Lambda, Y: []float64{0.9}}, quantity.SI, "lambda", 0.9},
	} {
		got := row.channel.shown(row.units)[0]
		if title := row.channel.title(row.units); title != row.title || !(math.Abs(got-row.want) <= 1e-9*row.want) {
			t.Errorf("%s: %q and %.12g, wanted %q and %g", row.channel.Name, title, got, row.title, row.want)
		}
	}
}

// What is not finite is null, and seven digits stay of the rest.
func TestRawJSON(t *testing.T) {
	log := RawLog{Axis: "time, s", Last: 1, To: 1, Rows: 3, Channels: []RawChannel{{Name: "a", X: []float64{0, 0.5, 1}, Y: []float64{math.NaN(), 1.23456789, math.Inf(1)}}}}
	data, err := log.JSON(quantity.SI)
	if err != nil || !json.Valid(data) || !strings.Contains(string(data), `"y":[null,1.234568,null]`) || !strings.Contains(string(data), `"phases":[]`) {
		t.Errorf("%s, %v", data, err)
	}
}

func TestVisible(t *testing.T) {
	for text, want := range map[string]string{
		"a\tb": "a\tb", "\x1b[2J": "\ufffd[2J", "right\u202eleft": "right\ufffdleft", "\xff": "\ufffd", "<b>": "<b>", "\u2028": "\ufffd",
	} {
		if got := Visible(text); got != want {
			t.Errorf("%q is shown as %q, wanted %q", text, got, want)
		}
	}
}
