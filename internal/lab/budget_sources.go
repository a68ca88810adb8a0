package lab

import (
	"fmt"
	"math"

	"fairpull/budget"
	"fairpull/report"
)

// judgedDF is how many degrees of freedom a judged uncertainty has, as in package
// compare.
const judgedDF = 8.0

// budgetSource is one row of a budget that was stated or follows from a rule.
type budgetSource struct {
	key, name, how string
	input          int
	u              [2]float64 // of either side, in the input's unit
	df, shared     float64
	shape          budget.Shape
	flat           float64
}

// on returns the source as an input of side k, whose constants are given.
func (s *budgetSource) on(constants []budget.Input, k int) budget.Input {
	in := constants[s.input]
	in.Name, in.U, in.DF, in.Shape, in.Flat = s.name, s.u[k], s.df, s.shape, s.flat
	return in
}

// sources lists what is stated of the rig, of its sensors and of the correction.
func (b *budgeting) sources(sides [2]*budgetSide) []budgetSource {
	var list []budgetSource
	add := func(s budgetSource) { list = append(list, s) }
	if sides[0].hasParts && sides[1].hasParts {
		list = append(list, b.rigSources(sides)...)
	} else {
		b.missing("how the torque comes about: these curves were reduced elsewhere, so that drum inertia, bare drum and speed scale are their own")
	}
	b.airSources(sides, add)
	if b.a.Standard.Corrects() {
		u, df, from := exponentU, judgedDF, "judged, as in the gain (docs/method.md, section 3)"
		if k, ok := b.known(sourceExponent); ok {
			u, df, from = k.U, k.DF, knownNote(k)
		}
		b.took("exponent of the correction", fmt.Sprintf("%g %% of it", 100*u), from)
		add(budgetSource{key: sourceExponent, name: "correction for the air", how: "doubt of the correction's exponent", input: inExponent, u: [2]float64{u, u}, df: df, shared: 1, shape: budget.Normal})
		name, how := report.BudgetPart("loss placement")
		add(budgetSource{key: "loss placement", name: name, how: how, input: inPlacement, u: [2]float64{1 / math.Sqrt(3), 1 / math.Sqrt(3)}, df: judgedDF, shared: 1, shape: budget.Rectangular})
	}
	for i, k := range b.others() {
		b.took("other: "+k.Note, fmt.Sprintf("%g %%, shared by %.2g", 100*k.U, k.Shared), "stated")
		add(budgetSource{key: fmt.Sprintf("other %d", i+1), name: "other: " + k.Note, how: "stated, type B", input: budgetInputs + i, u: [2]float64{k.U, k.U}, df: k.DF, shared: k.Shared, shape: k.Shape, flat: k.Flat})
	}
	return list
}

// exponentU is the relative standard uncertainty of the correction's exponent, that
// of package compare.
const exponentU = 0.15

// others are the stated sources that bear on the level as a whole.
func (b *budgeting) others() []KnownSource {
	var list []KnownSource
	for _, k := range b.query.Known {
		if k.What == sourceOther {
			list = append(list, k)
		}
	}
	return list
}

// known returns what a person stated of a source.
func (b *budgeting) known(what string) (KnownSource, bool) {
	for _, k := range b.query.Known {
		if k.What == what {
			return k, true
		}
	}
	return KnownSource{}, false
}

func knownNote(k KnownSource) string {
	if k.Note == "" {
		return "stated"
	}
	return "stated: " + k.Note
}

// rigSources are those of the drum, of its brake and of the speeds. The sides share
// them as long as one calibration held for both.
func (b *budgeting) rigSources(sides [2]*budgetSide) []budgetSource {
	shared := 1.0
	rigs := map[calibrated]bool{}
	for _, s := range sides {
		for c := range s.rigs {
			rigs[c] = true
		}
	}
	if len(rigs) > 1 {
		shared = 0
		b.took("calibrations", fmt.Sprintf("%d held within the campaign", len(rigs)), "what is uncertain of them does not drop out")
	}
	from := "the campaign's own rig"
	if day := sides[0].calibratedFrom; day != "" {
		from = "calibration from " + day
	}
	var list []budgetSource
	row := func(key, name string, input int, u [2]float64, part [2]float64) {
		s := budgetSource{key: key, name: name, how: "calibration, type B", input: input, df: math.Inf(1), shared: shared, shape: budget.Normal}
		is := func(of [2]float64) string { return fmt.Sprintf("%.3g %%", 100*math.Max(of[0], of[1])) }
		switch k, ok := b.known(key); {
		case ok:
			for side := range u {
				u[side] = k.U
				if key == sourceBare {
					u[side] *= math.Abs(part[side])
				}
			}
			s.how, s.df, s.shape, s.flat, s.shared = "stated, type B", k.DF, k.Shape, k.Flat, k.Shared
			b.took(name, is([2]float64{k.U, k.U}), knownNote(k))
		case u[0] > 0 && u[1] > 0:
			b.took(name, is(u), from)
		default:
			b.missing(name)
			return
		}
		s.u = u
		list = append(list, s)
	}
	one := [2]float64{1, 1}
	row(sourceInertia, "drum inertia", inInertia, [2]float64{sides[0].inertiaU, sides[1].inertiaU}, one)
	row(sourceBare, "bare drum torque", inBare, [2]float64{sides[0].bareU, sides[1].bareU}, [2]float64{sides[0].bare, sides[1].bare})
	if sides[0].hasBrake || sides[1].hasBrake {
		row(sourceBrake, "brake", inBrake, [2]float64{sides[0].brakeU, sides[1].brakeU}, one)
	}
	row(sourceDrumSpeed, "scale of drum speed", inDrumSpeed, [2]float64{sides[0].drumSpeedU, sides[1].drumSpeedU}, one)
	row(sourceEngineSpeed, "scale of engine speed", inEngineSpeed, [2]float64{sides[0].engineU, sides[1].engineU}, one)
	return list
}

// airSources are barometer, thermometer and hygrometer, where a correction uses them.
func (b *budgeting) airSources(sides [2]*budgetSide, add func(budgetSource)) {
	if !b.a.Standard.Corrects() {
		return
	}
	for _, s := range []struct {
		key, name string
		input     int
		unit      string
		by        float64
	}{
		{sourcePressure, "barometer", inPressure, "Pa", 1}, {sourceTemperature, "thermometer", inTemperature, "K", 1}, {sourceHumidity, "hygrometer", inHumidity, "% relative humidity", 100},
	} {
		k, ok := b.known(s.key)
		from := knownNote(k)
		if u := math.Max(sides[0].sensorU[s.key], sides[1].sensorU[s.key]); !ok && u > 0 {
			// a corrected reading is off by its own scatter: nothing of it is taken as shared
			k, ok, from = KnownSource{U: u, DF: math.Inf(1), Shape: budget.Normal}, true, "calibration from "+sides[0].calibratedFrom+", nothing of it taken as shared by the sides"
		}
		if !ok || sides[0].air == nil || sides[1].air == nil {
			b.missing(s.name)
			continue
		}
		b.took(s.name, fmt.Sprintf("%.3g %s, shared by %.2g", s.by*k.U, s.unit, k.Shared), from)
		add(budgetSource{key: s.key, name: s.name, how: "stated, type B", input: s.input, u: [2]float64{k.U, k.U}, df: k.DF, shared: k.Shared, shape: k.Shape, flat: k.Flat})
	}
}

// budgetRows are the rows of a figure, by key and in their order.
type budgetRows struct {
	order []string
	rows  map[string]*report.BudgetRow
}

// newBudgetRows starts the rows: stated sources, then scatter with its parts.
func newBudgetRows(sources []budgetSource) *budgetRows {
	r := &budgetRows{rows: map[string]*report.BudgetRow{}}
	add := func(row report.BudgetRow) {
		r.order = append(r.order, row.Key)
		r.rows[row.Key] = &row
	}
	for i := range sources {
		s := &sources[i]
		add(report.BudgetRow{Key: s.key, Name: s.name, How: s.how, Shape: s.shape.String(), DF: s.df})
	}
	add(report.BudgetRow{Key: "scatter", Name: "scatter and drift", How: "scatter of pulls, blocks and setups; drift", Shape: budget.Student.String()})
	for _, part := range []string{"setup", "block", "pull", "drift"} {
		name, how := report.BudgetPart(part)
		add(report.BudgetRow{Key: part, Name: name, How: how, PartOf: "scatter", OnlyGain: part == "drift", DF: math.NaN()})
	}
	return r
}

func (r *budgetRows) set(key string, side int, u float64) {
	if side == 0 {
		r.rows[key].Baseline = u
	} else {
		r.rows[key].Candidate = u
	}
}

func (r *budgetRows) setGain(key string, u, share, df float64) {
	row := r.rows[key]
	row.Gain, row.GainShare = u, share
	if df > 0 {
		row.DF = df
	}
}

func (r *budgetRows) list() []report.BudgetRow {
	var out []report.BudgetRow
	for _, key := range r.order {
		out = append(out, *r.rows[key])
	}
	return out
}
