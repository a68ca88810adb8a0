package evidence

import "fmt"

// Outcome says what a finding amounts to. The zero Outcome is [Failed], so that
// a finding nobody graded counts against the evidence.
type Outcome int

// The outcomes. A caution does not break the evidence; it says what it does not
// prove.
const (
	Failed Outcome = iota
	Caution
	Confirmed
)

// String returns the outcome in one word.
func (o Outcome) String() string {
	switch o {
	case Confirmed:
		return "confirmed"
	case Caution:
		return "caution"
	}
	return "failed"
}

// Finding is one thing that a verification found: which part of the evidence,
// where in it, and what.
type Finding struct {
	Outcome Outcome
	Part    string // "bag", "seal", "signature", "record", "time stamp", "keys"
	Where   string // a file's name, a key's id; empty: the part as a whole
	What    string // a sentence without a full stop
}

// String returns the finding as one line.
func (f Finding) String() string {
	if f.Where == "" {
		return fmt.Sprintf("%s: %s: %s", f.Outcome, f.Part, f.What)
	}
	return fmt.Sprintf("%s: %s: %s: %s", f.Outcome, f.Part, f.Where, f.What)
}

// Findings is everything that one verification found, in the order of the parts.
type Findings []Finding

// Verified reports whether something was confirmed and nothing failed. No
// findings at all prove nothing and are not verified.
func (f Findings) Verified() bool {
	confirmed := false
	for _, one := range f {
		switch one.Outcome {
		case Confirmed:
			confirmed = true
		case Caution:
		default:
			return false
		}
	}
	return confirmed
}

// Of returns the findings of one outcome, in order.
func (f Findings) Of(o Outcome) Findings {
	var some Findings
	for _, one := range f {
		if one.Outcome == o {
			some = append(some, one)
		}
	}
	return some
}

// add notes one finding.
func (f *Findings) add(o Outcome, part, where, format string, values ...any) {
	*f = append(*f, Finding{Outcome: o, Part: part, Where: where, What: fmt.Sprintf(format, values...)})
}
