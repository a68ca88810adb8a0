package quantity

import (
	"fmt"
	"strings"
)

// UnknownUnitError says that a name is no unit the program knows.
type UnknownUnitError struct {
	Name   string
	Advice string // what to write instead; may be empty
}

func (e *UnknownUnitError) Error() string {
	if strings.TrimSpace(e.Name) == "" {
		return "the unit is empty: write its name"
	}
	text := fmt.Sprintf("unit %s is not known", quoted(e.Name))
	if e.Advice != "" {
		text += ": " + e.Advice
	}
	return text
}

// AmbiguousUnitError says that a spelling stands for more than one unit.
type AmbiguousUnitError struct {
	Name     string
	Readings []Reading
}

func (e *AmbiguousUnitError) Error() string {
	var parts []string
	for _, r := range e.Readings {
		if r.Write == "" {
			parts = append(parts, r.Meaning)
			continue
		}
		parts = append(parts, fmt.Sprintf("%s (write %s)", r.Meaning, r.Write))
	}
	return fmt.Sprintf("unit %s has more than one reading: %s", quoted(e.Name), strings.Join(parts, "; "))
}

// DimensionError says that a unit measures something else than is wanted.
type DimensionError struct {
	Name string
	Unit Unit
	Want Dimension
}

func (e *DimensionError) Error() string {
	var names []string
	for _, u := range Units(e.Want) {
		names = append(names, u.Name)
	}
	return fmt.Sprintf("unit %s measures %s where %s is wanted: write one of %s",
		quoted(e.Name), e.Unit.Dimension, e.Want, strings.Join(names, ", "))
}

// quoted returns name in quotes, cut to a length that a message can bear.
func quoted(name string) string {
	if len(name) > longestName {
		return fmt.Sprintf("%.40q…", name)
	}
	return fmt.Sprintf("%q", name)
}
