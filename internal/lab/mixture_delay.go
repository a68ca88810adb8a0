package lab

import (
	"context"
	"math"
	"slices"

	"fairpull/mixture"
	"fairpull/report"
)

// mixtureDelays are how late the readings are.
type mixtureDelays struct {
	sensor, gas             mixture.Delay
	sensorSource, gasSource string
}

// Bounds of the search for delays, in s: a sensor in the exhaust, an analyser at the end
// of a hose. Common practice.
var (
	sensorBounds = mixture.DelayBounds{Dead: 1.5, Lag: 1}
	gasBounds    = mixture.DelayBounds{Dead: 15, Lag: 6}
)

// What is taken where no delay can be found: none is taken out, and these standard
// uncertainties in s stand in the intervals. Common practice.
const (
	unknownSensorDelay = 0.3
	unknownGasDelay    = 6.0
)

// stretches are how many pieces of a log a delay is looked for in, and how long they are
// for the sensor and for the gas, s.
const (
	delayStretches = 24
	sensorStretch  = 30.0
	gasStretch     = 120.0
)

// findDelays finds how late the readings of the logs are. What the settings state is taken
// as it stands.
//
// The input that a sensor follows is what the engine's place calls for: the mean reading at
// each cell of engine speed and load while the load had long stood still, laid over time as
// the engine went from cell to cell; where no cells were visited twice, the throttle. The
// gas is held against the sensor, which is quicker, where both were read.
func findDelays(logs []*mixtureLog, s *mixtureSettings, speedStep, loadStep float64) mixtureDelays {
	d := mixtureDelays{
		sensor: mixture.Delay{UTotal: unknownSensorDelay, Explained: math.NaN()}, sensorSource: "not found: none is taken out, and the usual size of it stands in the intervals (common practice)",
		gas: mixture.Delay{UTotal: unknownGasDelay, Explained: math.NaN()}, gasSource: "not found: none is taken out, and the usual size of it stands in the intervals (common practice)",
	}
	if s.sensorDelay != nil {
		d.sensor, d.sensorSource = *s.sensorDelay, "as the settings state it"
	}
	if s.gasDelay != nil {
		d.gas, d.gasSource = *s.gasDelay, "as the settings state it"
	}
	var sensors, gases []mixture.Delay
	for _, l := range logs {
		if l.sensor != nil && s.sensorDelay == nil {
			sensors = append(sensors, l.delays(l.place(l.sensor, speedStep, loadStep, sensorBounds.Dead), l.sensor, sensorStretch, sensorBounds)...)
		}
		switch {
		case l.gas == nil || s.gasDelay != nil:
		case l.sensor != nil:
			gases = append(gases, l.delays(l.sensor, l.gas, gasStretch, gasBounds)...)
		default:
			gases = append(gases, l.delays(l.place(l.gas, speedStep, loadStep, 2), l.gas, gasStretch, gasBounds)...)
		}
	}
	if found, err := mixture.CombineDelays(middle(sensors)); err == nil {
		d.sensor, d.sensorSource = found, "cross-correlation with what engine speed and load call for"
	}
	if found, err := mixture.CombineDelays(middle(gases)); err == nil {
		d.gas, d.gasSource = found, "cross-correlation with what engine speed and load call for"
		if slices.ContainsFunc(logs, func(l *mixtureLog) bool { return l.gas != nil && l.sensor != nil }) {
			// What was found is how much later than the sensor the gas is read.
			d.gas.Dead += d.sensor.Total
			d.gas.Total += d.sensor.Total
			d.gas.UTotal = math.Hypot(d.gas.UTotal, d.sensor.UTotal)
			d.gasSource = "cross-correlation with the sensor, whose own delay is added"
		}
	}
	return d
}

// place is what the engine's place calls for, else the throttle; nil without either.
func (l *mixtureLog) place(reading []float64, speedStep, loadStep, settle float64) []float64 {
	if called := l.calledFor(reading, speedStep, loadStep, settle); called != nil {
		return called
	}
	return l.throttle
}

// middle leaves out, of five delays or more, those that lie far from the middle: by more
// than four standard deviations as the median departure gives them.
func middle(found []mixture.Delay) []mixture.Delay {
	if len(found) < 5 {
		return found
	}
	totals := make([]float64, len(found))
	for i, d := range found {
		totals[i] = d.Total
	}
	centre := median(totals)
	for i := range totals {
		totals[i] = math.Abs(totals[i] - centre)
	}
	reach := math.Max(4*1.4826*median(totals), 0.01)
	var out []mixture.Delay
	for _, d := range found {
		if math.Abs(d.Total-centre) <= reach {
			out = append(out, d)
		}
	}
	return out
}

// delays looks for the delay of a reading behind an input in stretches of the log.
func (l *mixtureLog) delays(input, reading []float64, length float64, b mixture.DelayBounds) []mixture.Delay {
	if len(l.time) < 2 || input == nil {
		return nil
	}
	span := l.time[len(l.time)-1] - l.time[0]
	pieces := min(delayStretches, max(1, int(span/length)))
	if pieces == 1 {
		length = span
	}
	found, known := make([]mixture.Delay, pieces), make([]bool, pieces)
	// A stretch without a delay says nothing: that is no error.
	_ = each(context.Background(), pieces, func(k int) error {
		begin := l.time[0] + (span-length)*(float64(k)+0.5)/float64(pieces)
		from, to := rowsWithin(l.time, begin, begin+length)
		d, err := mixture.FindDelay(l.time[from:to], input[from:to], reading[from:to], b)
		found[k], known[k] = d, err == nil
		return nil
	})
	var out []mixture.Delay
	for k := range found {
		if known[k] {
			out = append(out, found[k])
		}
	}
	return out
}

// rowsWithin returns the rows from one moment to another of increasing times.
func rowsWithin(t []float64, from, to float64) (int, int) {
	a, _ := slices.BinarySearch(t, from)
	b, last := slices.BinarySearch(t, to)
	if last {
		b++
	}
	return a, max(a, b)
}

// calledFor lays the mean reading of each cell over time. nil where there is no load, or
// where fewer than three cells were visited twice.
func (l *mixtureLog) calledFor(reading []float64, speedStep, loadStep, settle float64) []float64 {
	if l.load == nil {
		return nil
	}
	r := mixture.DefaultRule(speedStep, loadStep)
	r.Settle = settle
	visits, _, err := mixture.Visits(mixture.Series{Time: l.time, Speed: l.speed, Load: l.load, Lambda: mixture.Reading{Values: reading}}, r)
	if err != nil {
		return nil
	}
	type sum struct {
		value float64
		n     int
	}
	cells := map[[2]int]sum{}
	for _, v := range visits {
		c := cells[[2]int{v.Speed, v.Load}]
		cells[[2]int{v.Speed, v.Load}] = sum{c.value + v.Lambda, c.n + 1}
	}
	twice := 0
	for _, c := range cells {
		if c.n > 1 {
			twice++
		}
	}
	if twice < 3 {
		return nil
	}
	out := make([]float64, len(l.time))
	var last [2]int
	value := math.NaN()
	for i := range out {
		cell := [2]int{int(math.Round(l.speed[i] / speedStep)), int(math.Round(l.load[i] / loadStep))}
		if i == 0 || cell != last {
			if c, known := cells[cell]; known {
				value = c.value / float64(c.n)
			} else {
				value = math.NaN()
			}
			last = cell
		}
		out[i] = value
	}
	return out
}

// delayRows words the delays for a view.
func (d mixtureDelays) rows(sensor, gas bool) []report.MixtureDelay {
	var out []report.MixtureDelay
	row := func(what string, d mixture.Delay, source string) {
		out = append(out, report.MixtureDelay{What: what, Dead: d.Dead, Lag: d.Lag, Total: d.Total, U: d.UTotal, Steps: d.Steps, Source: source})
	}
	if sensor {
		row("lambda sensor", d.sensor, d.sensorSource)
	}
	if gas {
		row("gas analyser", d.gas, d.gasSource)
	}
	return out
}
