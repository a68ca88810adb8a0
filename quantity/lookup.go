package quantity

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// longestName bounds a unit's name, in bytes. Nothing that long is a unit.
const longestName = 64

// Reading is one meaning of an ambiguous spelling.
type Reading struct {
	Unit    Unit   // the zero Unit where the program has no unit for it
	Meaning string // in words
	Write   string // a spelling with this meaning alone; empty where there is none
}

// Spellings that more than one unit of the field goes by, in normal form: those
// of ambiguousFold in lower case, for any case; those of ambiguousExact only as
// they stand.
var (
	ambiguousFold = map[string][]Reading{
		"1/s": perSecond, "/s": perSecond, "s-1": perSecond,
		"lb": pounds, "lbs": pounds,
		"cv": cheval, "ch": cheval,
		"inh2o": waterColumns, "in*h2o": waterColumns,
	}
	ambiguousExact = map[string][]Reading{
		"g":  {{gram, "gram", "gram"}, {standardG, "standard gravity", "gn"}},
		"KM": {{kilometre, "kilometre", "km"}, {metricHP, "metric horsepower", "PS"}},
	}

	perSecond = []Reading{
		{hertz, "cycles per second", "Hz"},
		{turnPerSecond, "turns per second", "rps"},
		{radPerSecond, "radians per second", "rad/s"},
	}
	pounds = []Reading{
		{poundMass, "pound of mass", "lbm"},
		{poundF, "pound-force", "lbf"},
	}
	cheval = []Reading{
		{metricHP, "metric horsepower", "PS"},
		{Unit{}, "fiscal horsepower, a tax class and no power", ""},
	}
	waterColumns = []Reading{
		{inchWater, "conventional inch of water", "inH2O(conv)"},
		{inchWater60F, "inch of water at 60 °F", "inH2O(60F)"},
	}
)

// The spellings of table: byFold in lower case, byExact as they stand.
var byFold, byExact = spellings()

func spellings() (fold, exact map[string]Unit) {
	fold, exact = make(map[string]Unit, 4*len(table)), make(map[string]Unit, len(table))
	for _, e := range table {
		for _, s := range e.fold {
			fold[s] = e.unit
		}
		for _, s := range e.exact {
			exact[s] = e.unit
		}
	}
	return fold, exact
}

// advice says what to write for spellings that are common and cannot be taken.
var advice = map[string]string{
	"bhp": "write hp, and say beside it that the figure is at the crank",
	"whp": wheelAdvice, "rwhp": wheelAdvice,
	"psig": gaugeAdvice, "barg": gaugeAdvice, "kpag": gaugeAdvice, "psi(g)": gaugeAdvice, "bar(g)": gaugeAdvice, "kpa(g)": gaugeAdvice,
	"lb/ft": "write lbf·ft", "lbs/ft": "write lbf·ft", "ft/lb": "write lbf·ft", "ft/lbs": "write lbf·ft",
	"rpm/1000": "write krpm", "rpm*1000": "write krpm", "1000*rpm": "write krpm", "1000rpm": "write krpm",
}

const (
	wheelAdvice = "write hp, and say beside it that the figure is at the wheel"
	gaugeAdvice = "a gauge reading is from the air outside: for a tyre write the plain unit, elsewhere add the station pressure"
)

// Lookup returns the unit that name spells.
//
// It takes the field's usual spellings: with or without a dot, star, hyphen or
// blank between factors, superscripts or figures, either micro sign. Case is
// forgiven where no other unit could be meant: KPA is the kilopascal, but Mbar
// and mPa are not taken for mbar and MPa. "hp" is the mechanical horsepower and
// "PS" the metric one.
//
// A spelling with two readings is an *AmbiguousUnitError that names them; see
// [LookupFor]. Any other is an *UnknownUnitError.
func Lookup(name string) (Unit, error) {
	u, readings, err := find(name)
	if err != nil {
		return Unit{}, err
	}
	if readings != nil {
		return Unit{}, &AmbiguousUnitError{Name: name, Readings: readings}
	}
	return u, nil
}

// LookupFor returns the unit that name spells where a unit of dimension d is
// wanted. It takes what Lookup takes, and an ambiguous spelling of which one
// reading alone is of dimension d: "lb" is a mass or a force. The plain unit "1"
// serves [Lambda] and [AirFuelRatio] too.
//
// A unit of another dimension is a *DimensionError.
func LookupFor(name string, d Dimension) (Unit, error) {
	u, readings, err := find(name)
	if err != nil {
		return Unit{}, err
	}
	if readings == nil {
		return fit(name, u, d)
	}
	var fitting []Unit
	outside := false // a reading that the program has no unit for
	for _, r := range readings {
		outside = outside || r.Unit == Unit{}
		if r.Unit.Dimension == d {
			fitting = append(fitting, r.Unit)
		}
	}
	switch {
	case len(fitting) == 0 || d == 0:
		return Unit{}, &DimensionError{Name: name, Unit: readings[0].Unit, Want: d}
	case len(fitting) == 1 && !outside:
		return fitting[0], nil
	}
	return Unit{}, &AmbiguousUnitError{Name: name, Readings: readings}
}

// fit returns u where dimension d is wanted.
func fit(name string, u Unit, d Dimension) (Unit, error) {
	switch {
	case u.Dimension == d:
		return u, nil
	case u == one && (d == Lambda || d == AirFuelRatio):
		return unit(u.Name, d, 1), nil
	}
	return Unit{}, &DimensionError{Name: name, Unit: u, Want: d}
}

// find returns the unit of name, or the readings of an ambiguous one.
func find(name string) (Unit, []Reading, error) {
	if len(name) > longestName || !utf8.ValidString(name) {
		return Unit{}, nil, &UnknownUnitError{Name: name}
	}
	exact := normalise(name)
	fold := strings.ToLower(exact)
	if u, ok := byExact[exact]; ok {
		return u, nil, nil
	}
	if readings, ok := ambiguousExact[exact]; ok {
		return Unit{}, readings, nil
	}
	if u, ok := byFold[fold]; ok {
		return u, nil, nil
	}
	if readings, ok := ambiguousFold[fold]; ok {
		return Unit{}, readings, nil
	}
	return Unit{}, nil, &UnknownUnitError{Name: name, Advice: adviceFor(fold)}
}

// adviceFor returns what to write in place of the unknown spelling fold; empty
// where nothing is known.
func adviceFor(fold string) string {
	if a, ok := advice[fold]; ok {
		return a
	}
	for _, e := range table {
		for _, s := range e.exact {
			if strings.ToLower(s) == fold {
				return "did you mean " + e.unit.Name + "? Its case decides"
			}
		}
	}
	return ""
}

// replacer brings the look-alikes of one sign to one: every kind of dash,
// slash, dot, degree and micro sign, and superscripts to figures.
var replacer = strings.NewReplacer(
	"**", "", "^", "",
	"\u2010", "-", "\u2011", "-", "\u2012", "-", "\u2013", "-", "\u2014", "-", "\u2212", "-", "\u207b", "-",
	"\u2044", "/", "\u2215", "/",
	"·", "*", "⋅", "*", "∙", "*", "•", "*", "×", "*", ".", "*",
	"º", "°", "˚", "°", "\u2103", "°C", "\u2109", "°F", "\u212a", "K",
	"\u00b5", "u", "\u03bc", "u",
	"¹", "1", "²", "2", "³", "3",
)

// normalise returns the one form that all spellings of a name share, case
// apart: factors joined by "*", exponents as plain figures after their unit,
// "/" for per.
func normalise(name string) string {
	name = replacer.Replace(strings.TrimSuffix(strings.TrimSpace(name), "."))
	if name == "-" {
		return name
	}
	var b strings.Builder
	joined := false // a join of factors is pending
	last := rune(0) // written last
	runes := []rune(name)
	for i, r := range runes {
		if r == '-' && i+1 < len(runes) && unicode.IsDigit(runes[i+1]) {
			joined = false // an exponent: no join stands before it
		} else if r == '-' || r == '*' || unicode.IsSpace(r) {
			joined = true
			continue
		}
		if joined && !strings.ContainsRune("/(°", last) && !strings.ContainsRune("/()", r) {
			b.WriteByte('*')
		}
		b.WriteRune(r)
		last, joined = r, false
	}
	if joined {
		b.WriteByte('*') // a factor is missing, so this is no unit
	}
	return b.String()
}
