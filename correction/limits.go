package correction

import (
	"fmt"

	"fairpull/air"
)

// The default limits serve standards whose own are not at hand: they are those
// of ISO 1585 and UN R85 for spark ignition, from memory.
var (
	defaultFactor = Limit{
		Min: 0.93, Max: 1.07, Obtained: FromMemory,
		Source: "default of this program, after ISO 1585 and UN R85 (from memory); the standard's own limit is not at hand",
	}
	defaultTemperature = Limit{
		Min: 288.15, Max: 308.15, Obtained: FromMemory,
		Source: "default of this program, 15 to 35 °C after ISO 1585 and UN R85 (from memory); the standard's own limit is not at hand",
	}
)

// Subject is what an OutsideRange is about.
type Subject string

// The subjects.
const (
	Factor      Subject = "correction factor"   // a number
	Temperature Subject = "intake temperature"  // K
	Pressure    Subject = "correction pressure" // Pa, on the standard's basis
)

// OutsideRange is a warning: a figure lies outside what the standard accepts.
// The factor stands; it is not one that the standard vouches for.
type OutsideRange struct {
	Standard string
	Subject  Subject
	Value    float64 // SI
	Limit    Limit
}

// String returns the warning as a sentence, in SI units but for °C and kPa.
func (o OutsideRange) String() string {
	show := func(v float64) string {
		switch o.Subject {
		case Temperature:
			return fmt.Sprintf("%.1f °C", v-273.15)
		case Pressure:
			return fmt.Sprintf("%.1f kPa", v/1000)
		}
		return fmt.Sprintf("%.3f", v)
	}
	return fmt.Sprintf("%s: %s %s is outside %s to %s (%s)",
		o.Standard, o.Subject, show(o.Value), show(o.Limit.Min), show(o.Limit.Max), o.Limit.Source)
}

// Outside returns a warning for each limit of the standard that the factor, as
// Factor gave it for state st, or the state itself does not keep. The limits
// themselves are inside. It returns nil where all are kept, and for None.
func (s Standard) Outside(factor float64, st air.State) []OutsideRange {
	if !s.Corrects() {
		return nil
	}
	var found []OutsideRange
	for _, c := range []struct {
		subject Subject
		value   float64
		limit   Limit
	}{
		{Factor, factor, s.FactorLimit},
		{Temperature, float64(st.Temperature), s.TemperatureLimit},
		{Pressure, float64(s.pressure(st)), s.PressureLimit},
	} {
		const rounding = 1e-12 // of a value, so that 59 °F is 15 °C
		if c.limit != (Limit{}) && !(c.value >= c.limit.Min*(1-rounding) && c.value <= c.limit.Max*(1+rounding)) {
			found = append(found, OutsideRange{Standard: s.Name, Subject: c.subject, Value: c.value, Limit: c.limit})
		}
	}
	return found
}
