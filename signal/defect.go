package signal

// Kinds of defect of a log.
const (
	Gap           = "gap"            // the next sample comes too late
	RepeatedTime  = "repeated-time"  // a time stamp like the one before
	BackwardTime  = "backward-time"  // a time stamp before the one before
	MissingCell   = "missing-cell"   // no value, or no number
	Stuck         = "stuck"          // the same value while the course demands others
	Saturated     = "saturated"      // stuck at the channel's largest or smallest value
	LowResolution = "low-resolution" // equal values in a row that rounding explains
	MissingPulse  = "missing-pulse"  // a pulse that did not come
	ExtraPulse    = "extra-pulse"    // a pulse too many
	Spike         = "spike"          // a value far off its neighbours
)

// Names under which defects of the two pulse trains are reported.
const (
	DrumPulseChannel   = "drum_pulse"
	EnginePulseChannel = "engine_pulse"
)

// Defect is one defect of a channel, from Start to End in s of log time. Row
// counts rows or pulses from 0; Count says how many of them it spans.
type Defect struct {
	Kind       string
	Row, Count int
	Start, End float64
	Measured   float64
	Limit      float64
	Unit       string
	Repaired   bool
}
