package report

import (
	"math"

	"fairpull/correction"
	"fairpull/curve"
	"fairpull/quantity"
)

// explainCorrection explains the correction factor of a pull; false where there is
// no such pull with a factor.
func (g *Gain) explainCorrection(e *Explanation, name string, units quantity.System) bool {
	row := g.pullRow(name)
	if row == nil || math.IsNaN(row.CorrectionFactor) {
		return false
	}
	standard, err := correction.ByName(g.Standard.Name)
	if err != nil {
		return false
	}
	e.Title = "How the correction factor of pull " + clean(row.Pull) + " came about"
	e.add(verdict{Name: fixed(row.CorrectionFactor, 4), Sentence: "Torque and power of this pull are multiplied by it, to say what they would be in the reference air of " + clean(standard.Name) + "."})
	if !standard.Corrects() {
		e.add(paragraph{Words: "The campaign asks for no correction: figures stand as they were measured. A gain between sides that were measured in different air then holds the weather, too."})
		return true
	}
	e.section("formula", "The formula", paragraph{Words: standard.Formula}, paragraph{Words: standard.Title + ". " + standard.Note, Small: true})
	if row.Air == nil {
		e.section("inputs", "What went in", paragraph{Words: "The air of this pull is not known: the curve came corrected, and its factor was stated with it."})
		e.source(standard.Source)
		return true
	}
	air := row.Air
	t := table{Heads: []string{"Reading", "Value", "Reference"}, Numeric: []bool{false, true, true}, Caption: "The air of this pull, and the reference state of the standard. Dry pressure is station pressure less the pressure of water vapour."}
	of := func(v float64, d quantity.Dimension, places int) string { return amountIn(v, d, units, places) }
	total, dry := "", of(float64(standard.Pressure), quantity.Pressure, 2)
	if standard.Basis == correction.Total {
		total, dry = dry, ""
	}
	t.Rows = [][]string{
		{"Station pressure", of(float64(air.Pressure), quantity.Pressure, 2), total},
		{"Vapour pressure", of(float64(air.Vapour), quantity.Pressure, 2), ""},
		{"Dry pressure", of(float64(air.Dry()), quantity.Pressure, 2), dry},
		{"Intake air temperature", of(float64(air.Temperature), quantity.Temperature, 1), of(float64(standard.Temperature), quantity.Temperature, 1)},
	}
	e.section("inputs", "What went in", t)
	e.section("uncertainty", "What a reading that is off does to it", g.elasticityBlocks(standard, row)...)
	for _, o := range standard.Outside(row.CorrectionFactor, *air) {
		e.add(openCheck{Mark: statusMark("warn"), Status: "warn", Name: "correction-range", Message: o.String()})
	}
	e.source(standard.Source, "What the correction leaves of the weather is a finding and not an assumption: its exponent is taken as known to 15 % and enters the interval where the sides had different air (docs/method.md, section 3).")
	return true
}

// elasticityBlocks say what the usual errors of readings do to the factor.
func (g *Gain) elasticityBlocks(standard correction.Standard, row *PullRow) []block {
	air := row.Air
	e, err := standard.Elasticity(*air)
	if err != nil {
		return []block{paragraph{Words: "The factor cannot be told again from this air."}}
	}
	effect := func(elasticity, change, of float64) string { return signed(100*elasticity*change/of, 2) + " %" }
	t := table{Heads: []string{"If this were off by", "the factor would be off by"}, Numeric: []bool{false, true}, Caption: "Both sides of a gain are read with the same instruments: an error that stays drops out of it."}
	t.Rows = [][]string{
		{"+1 hPa of station pressure", effect(e.Pressure, 100, float64(air.Pressure))},
		{"+1 K of intake air", effect(e.Temperature, 1, float64(air.Temperature))},
	}
	if standard.Basis == correction.Dry && air.Vapour > 0 {
		t.Rows = append(t.Rows, []string{"+1 hPa of vapour pressure", effect(e.Vapour, 100, float64(air.Vapour))})
	}
	return []block{t}
}

// pullRow returns the pull of that name; without a name the first that is used.
func (g *Gain) pullRow(name string) *PullRow {
	for i := range g.Pulls {
		if p := &g.Pulls[i]; p.Pull == name || name == "" && p.Used {
			return p
		}
	}
	return nil
}

// RigNumbers are what the explanation of a pull takes of the rig, SI.
type RigNumbers struct {
	Inertia, InertiaU float64 // kg·m²; U 0: not stated
	Parasitic         [3]float64
	Brake             bool
}

// Explain says how torque and power of the pull at an engine speed came about; 0: a
// speed in the middle. A pull without a curve of its own is [ErrNoFigure].
func (p *PullPage) Explain(rpm float64, rig RigNumbers, units quantity.System) (*Explanation, error) {
	r := p.Result
	if r == nil || p.HalfWidthRPM == 0 || p.Corrected.Len() == 0 || len(r.Acceleration) != r.Curve.Len() {
		return nil, ErrNoFigure
	}
	at := nearestNode(r.Curve, rpm)
	rpm = r.Curve.SpeedRPM[at]
	e := &Explanation{RPM: rpm, charts: Charts{About: joined(" · ", p.Title(), p.Byline()), Exploratory: exploratorySentence(p.Exploratory), From: labelled("campaign ", clean(p.Campaign))}, Title: "How torque and power of pull " + clean(p.Pull) + " at " + plain(rpm) + " rpm came about"}
	torque, se, omegaE := p.Corrected.Torque[at], p.Corrected.StandardError[at], rpm*curve.RadPerSecondPerRPM
	e.add(verdict{Name: level(torque, se, quantity.Torque, units) + ", " + level(torque*omegaE, se*omegaE, quantity.Power, units),
		Sentence: "± is one standard error from this log alone: what a second pull or another strapping-down adds is not in it."})
	e.section("formula", "The formula",
		mathOf("P is the power that the wheel puts into the drum, I the drum's inertia, α how fast the drum gains speed, ω its speed; to that come the torque of a brake and of the bare drum's own losses.",
			symbol("P"), sign("="), inBrackets(symbol("I"), sign("·"), symbol("α"), sign("+"), below(symbol("τ"), upright("brake")), sign("+"), below(symbol("τ"), upright("bare"))), sign("·"), symbol("ω")),
		mathOf("τ is torque referred to the engine, whose speed has the index e; CF corrects for the air.",
			symbol("τ"), sign("="), symbol("CF"), sign("·"), over(symbol("P"), below(symbol("ω"), symbol("e")))),
		paragraph{Words: "α is never a difference of two readings: drum speed is fitted by a cubic in time over ± " + fixed(p.HalfWidthRPM, 0) + " rpm, and the slope of the fit is taken."})
	e.section("inputs", "What went in", p.chainTable(at, rig, units))
	e.section("uncertainty", "How sure it is", p.pullBudget(at, rig, units)...)
	e.source("Power from the drum's acceleration: Newton's second law for rotation; the fit and its standard error: docs/method.md.", sourceRounding)
	return e, nil
}

func nearestNode(c curve.Curve, rpm float64) int {
	at := c.Len() / 2
	if rpm == 0 {
		return at
	}
	for i, v := range c.SpeedRPM {
		if math.Abs(v-rpm) < math.Abs(c.SpeedRPM[at]-rpm) {
			at = i
		}
	}
	return at
}

// chainTable goes from the readings to torque and power, line by line.
func (p *PullPage) chainTable(at int, rig RigNumbers, units quantity.System) table {
	r := p.Result
	omega, alpha, rpm := r.DrumSpeed[at], r.Acceleration[at], r.Curve.SpeedRPM[at]
	omegaE := rpm * curve.RadPerSecondPerRPM
	bare := rig.Parasitic[0] + omega*(rig.Parasitic[1]+omega*rig.Parasitic[2])
	t := table{Heads: []string{"Quantity", "Value", "From"}, Numeric: []bool{false, true, false}, Caption: "In SI, as the program works it out, down to the last two lines."}
	row := func(name, value, from string) { t.Rows = append(t.Rows, []string{name, value, from}) }
	inertia := plain(rig.Inertia)
	if rig.InertiaU > 0 {
		v, u, ok := quantity.RoundTo(rig.Inertia, rig.InertiaU)
		if ok {
			inertia = typographic(v) + " ± " + u
		}
	}
	row("Drum inertia I", inertia+" kg·m²", "the rig's calibration or the campaign")
	row("Drum speed ω", fixed(omega, 3)+" rad/s", "the fit at "+fixed(r.Time[at], 2)+" s")
	row("Acceleration α", fixed(alpha, 4)+" rad/s²", "the slope of the fit")
	row("I · α", fixed(rig.Inertia*alpha, 2)+" N·m", "")
	row("Bare drum's own torque", fixed(bare, 2)+" N·m", "the rig's calibration or the campaign")
	if rig.Brake {
		row("Brake torque", fixed(r.DrumTorque[at]-rig.Inertia*alpha-bare, 2)+" N·m", "the brake's channel")
	}
	row("Torque at the drum", fixed(r.DrumTorque[at], 2)+" N·m", "the sum")
	row("Power P", fixed(r.DrumTorque[at]*omega, 0)+" W", "times ω")
	row("Engine speed ωe", fixed(omegaE, 2)+" rad/s", plain(rpm)+" rpm")
	row("Torque, not corrected", fixed(r.Curve.Torque[at], 2)+" N·m", "P over ωe")
	row("Correction factor CF", fixed(p.Factor, 4), clean(p.Standard))
	row("Torque", level(p.Corrected.Torque[at], p.Corrected.StandardError[at], quantity.Torque, units), "times CF")
	row("Power", level(p.Corrected.Power(at), p.Corrected.StandardError[at]*omegaE, quantity.Power, units), "torque times ωe")
	return t
}

// pullBudget shows what the standard error of the torque comes from, and apart from
// it what the drum's inertia does, which is common to all pulls.
func (p *PullPage) pullBudget(at int, rig RigNumbers, units quantity.System) []block {
	r, unit := p.Result, units.Unit(quantity.Torque)
	scale := p.Corrected.Torque[at] / r.Curve.Torque[at]
	shown := func(si float64) bar { u := unit.FromDifference(si * scale); return bar{u: u, variance: u * u} }
	slope, speed := shown(r.SlopeError[at]), shown(r.SpeedError[at])
	slope.name, speed.name = "u(α): the slope of drum speed, and the brake", "u(ωe): the moment at which the engine speed was passed"
	blocks := budgetBlocks([]bar{slope, speed}, "pull-parts", unit.Name, "What the standard error of this pull's torque comes from", "From this log alone. The standard error is the root of the sum of squares.")
	if rig.InertiaU > 0 && r.DrumTorque[at] != 0 {
		share := rig.InertiaU * r.Acceleration[at] / r.DrumTorque[at]
		u := unit.FromDifference(share * p.Corrected.Torque[at])
		blocks = append(blocks, paragraph{Words: "The drum's inertia is known to ± " + fixed(100*rig.InertiaU/rig.Inertia, 2) + " %: ± " + significant(u) + " " + unit.Name + " of the level. It is the same for every pull on this rig, so it is not in the figures above, and drops out of a gain."})
	} else {
		blocks = append(blocks, paragraph{Words: "How well the drum's inertia is known is not stated. It moves the level of every pull on this rig alike, and drops out of a gain."})
	}
	return blocks
}
