package campaign

// Status of a check.
type Status string

// The statuses.
const (
	Pass Status = "pass"
	Warn Status = "warn"
	Fail Status = "fail"
)

// Check is one question asked of the data, and its answer.
type Check struct {
	ID     string // an id of docs/formats.md, section 2
	Status Status
	Pulls  []string // the pulls concerned; empty: the campaign
	// Comparison is the candidate's id where the check belongs to one
	// comparison; empty: it concerns all.
	Comparison string

	Measured *float64 // nil: nothing was measured
	Limit    *float64 // nil: no numeric limit
	Unit     string   // of Measured and Limit

	Message     string   // one sentence: what was found, and what to do
	LimitSource string   // where the limit comes from
	Withholds   []string // ids of the candidates whose verdict this check withholds
	// Answered lists the ids of the candidates whose verdict this check would
	// withhold, had it not been answered in writing for the pulls concerned.
	Answered []string
	Touches  []string // the figures it stands beside: band, peak_torque, peak_power, curve, drift, pulls
}
