package campaign

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// ClaimFormat is the format of a claim as JSON: the fields of [Claim] under the
// names of their tags. It stands in docs/claims.md.
const ClaimFormat = "fairpull.claim/1"

// ClaimState is how far a claim has come.
type ClaimState string

// The states. A claim goes from one to the next, never back.
const (
	ClaimDraft     ClaimState = "draft"
	ClaimReviewed  ClaimState = "reviewed"  // looked through by somebody else than the drafter
	ClaimSigned    ClaimState = "signed"    // by somebody else than the drafter; its documents are fixed
	ClaimPublished ClaimState = "published" // stands in the record
	ClaimAmended   ClaimState = "amended"   // another claim has its place
	ClaimWithdrawn ClaimState = "withdrawn"
)

// May reports whether a claim in the state can go into the next one.
func (s ClaimState) May(next ClaimState) bool {
	switch next {
	case ClaimReviewed:
		return s == ClaimDraft
	case ClaimSigned:
		return s == ClaimReviewed || s == ClaimSigned // another signature
	case ClaimPublished:
		return s == ClaimSigned
	case ClaimAmended:
		return s == ClaimPublished
	case ClaimWithdrawn:
		return s == ClaimDraft || s == ClaimReviewed || s == ClaimSigned || s == ClaimPublished
	}
	return false
}

// ClaimEvent is one state that a claim came into.
type ClaimEvent struct {
	State ClaimState `json:"state"`
	Who   string     `json:"who"`
	Why   string     `json:"why,omitempty"`
	At    time.Time  `json:"at"` // UTC
}

// ClaimHead is what a claim says of itself, before what was measured.
type ClaimHead struct {
	Format string `json:"format"`
	Number string `json:"number"`
	Title  string `json:"title"`
	// Amends is the number of the claim whose place it takes, and AmendsWhy the
	// reason; both empty: none.
	Amends    string `json:"amends,omitempty"`
	AmendsWhy string `json:"amends_why,omitempty"`

	DraftedBy string    `json:"drafted_by"`
	Drafted   time.Time `json:"drafted"` // UTC

	Campaign  string `json:"campaign"`
	Version   int64  `json:"version"` // of the campaign in its workspace
	Data      string `json:"data"`    // digest of that version
	Candidate string `json:"candidate"`
	Result    string `json:"result"` // digest of the gain result's JSON
	Program   string `json:"program"`
	Method    int    `json:"method"`

	// StatedDeviations and StatedLimits are what a person added to the deviations
	// and to what the claim does not cover.
	StatedDeviations []string `json:"stated_deviations,omitempty"`
	StatedLimits     []string `json:"stated_limits,omitempty"`

	Policy ClaimPolicy `json:"policy"`
}

// Claim is a statement of a gain, bound to what was tested. Gains are in per cent
// of the baseline, torque in N·m and power in kW, unrounded; sentences round them.
type Claim struct {
	ClaimHead

	Verdict  string `json:"verdict"`
	Sentence string `json:"sentence"` // what may be said
	// Specimens says how many specimens of the part were tested.
	Specimens string `json:"specimens"`
	// SpecimensTested is their number; 0 where no part was changed, only settings.
	SpecimensTested int `json:"specimens_tested"`

	Confidence float64       `json:"confidence"`
	Claimed    ClaimFigure   `json:"claimed"`
	Beside     []ClaimFigure `json:"beside"` // measured, and not claimed

	Baseline   ClaimSide       `json:"baseline"`
	Tested     ClaimSide       `json:"tested"` // the candidate
	Vehicle    ClaimItem       `json:"vehicle"`
	Rig        ClaimItem       `json:"rig"`
	Procedure  []ClaimSetPoint `json:"procedure"`
	Conditions []ClaimFact     `json:"conditions"`
	Deviations []string        `json:"deviations"`
	NotCovered []string        `json:"not_covered"`
	Cautions   []string        `json:"cautions"`
}

// ClaimFigure is one figure of both sides and the gain between them.
type ClaimFigure struct {
	Name       string     `json:"id"`    // band, peak_torque or peak_power
	Words      string     `json:"words"` // as a person reads it
	Unit       string     `json:"unit"`  // of the two levels
	RPM        [2]float64 `json:"rpm"`   // the riding band; peaks: the baseline's and the candidate's
	Baseline   float64    `json:"baseline"`
	Candidate  float64    `json:"candidate"`
	GainPct    float64    `json:"gain_pct"`
	LoPct      float64    `json:"lo_pct"` // two-sided interval
	HiPct      float64    `json:"hi_pct"`
	AtLeastPct float64    `json:"at_least_pct"` // one-sided lower bound
	AtMostPct  float64    `json:"at_most_pct"`  // one-sided upper bound
}

// ClaimSide is one of the two configurations, with all of its components.
type ClaimSide struct {
	ID         string           `json:"id"`
	Name       string           `json:"name"`
	Components []ClaimComponent `json:"components"`
	Settings   []ClaimSetting   `json:"settings"`
	Pulls      int              `json:"pulls"` // that the figures rest on
	Setups     int              `json:"setups"`
}

// ClaimComponent is one part of a configuration.
type ClaimComponent struct {
	Function string `json:"function"`
	Part     string `json:"part"`
	Serial   string `json:"serial,omitempty"`
	Batch    string `json:"batch,omitempty"`
	Changed  bool   `json:"changed,omitempty"` // it differs between the two sides
}

// ClaimSetting is one thing set rather than fitted.
type ClaimSetting struct {
	Key     string `json:"key"`
	Value   string `json:"value"`
	Changed bool   `json:"changed,omitempty"`
}

// ClaimItem is the vehicle or the rig: its id and what is stated of it.
type ClaimItem struct {
	ID    string      `json:"id"`
	Facts []ClaimFact `json:"facts"`
}

// ClaimFact is one line of a list: what, and how it was.
type ClaimFact struct {
	What string `json:"what"`
	Is   string `json:"is"`
}

// ClaimSetPoint is a value that pulls were held to, in the unit that its key
// names, and what was measured.
type ClaimSetPoint struct {
	Key       string   `json:"key"`
	Target    float64  `json:"target"`
	Tolerance float64  `json:"tolerance"`
	Least     *float64 `json:"least,omitempty"` // over the pulls used; absent: not in pulls.csv
	Most      *float64 `json:"most,omitempty"`
}

// ClaimPolicy says what may be claimed. The zero value allows nothing; see
// [DefaultClaimPolicy]. Whatever it says, a peak of a single pull, an exploratory
// view and a verdict of "not enough evidence" are never claimed.
type ClaimPolicy struct {
	// Figure is "at-least", the one-sided bound alone, or "interval", which lets the
	// measured gain stand beside it with its interval.
	Figure          string   `json:"figure" toml:"figure"`
	Verdicts        []string `json:"verdicts" toml:"verdicts"`                 // which may be claimed
	Bracketed       bool     `json:"bracketed" toml:"bracketed"`               // the candidate was measured between baseline blocks
	Setups          int      `json:"setups" toml:"setups"`                     // at least so many strappings-down
	Pulls           int      `json:"pulls" toml:"pulls"`                       // at least so many pulls of each side
	NoOpenFail      bool     `json:"no_open_fail" toml:"no_open_fail"`         // no failed check is open
	PlanUnchanged   bool     `json:"plan_unchanged" toml:"plan_unchanged"`     // a plan, where there is one, was followed
	PlanNeeded      bool     `json:"plan_needed" toml:"plan_needed"`           // there is one
	MeasuredScatter bool     `json:"measured_scatter" toml:"measured_scatter"` // no scatter was entered by judgement
}

// What a policy lets be said.
const (
	ClaimAtLeast  = "at-least"
	ClaimInterval = "interval"
)

// DefaultClaimPolicy returns the policy of a workspace that has none of its own.
func DefaultClaimPolicy() ClaimPolicy {
	return ClaimPolicy{
		Figure: ClaimAtLeast, Verdicts: []string{"gain shown"}, Bracketed: true, Setups: 3, Pulls: 2,
		NoOpenFail: true, PlanUnchanged: true, MeasuredScatter: true,
	}
}

// Check returns what keeps the policy from being used; nil: nothing.
func (p ClaimPolicy) Check() error {
	if p.Figure != ClaimAtLeast && p.Figure != ClaimInterval {
		return fmt.Errorf("figure is %q or %q, and %.40q is neither", ClaimAtLeast, ClaimInterval, p.Figure)
	}
	if len(p.Verdicts) == 0 {
		return errors.New(`no verdict may be claimed: write verdicts = ["gain shown"]`)
	}
	for _, v := range p.Verdicts {
		if v != "gain shown" && v != "loss shown" && v != "no difference of interest" {
			return fmt.Errorf("the verdict %.40q cannot be claimed: gain shown, loss shown, no difference of interest", v)
		}
	}
	if p.Setups < 0 || p.Setups > MaxPlannedBlocks || p.Pulls < 0 || p.Pulls > MaxPlannedPulls {
		return fmt.Errorf("setups and pulls are whole numbers up to %d and %d", MaxPlannedBlocks, MaxPlannedPulls)
	}
	return nil
}

// ErrCertified says that a text claims an authority that no measurement gives.
var ErrCertified = errors.New("speaks of certification, and a claim certifies nothing")

// CheckClaimText returns nil where a text that a person wrote can stand in a claim:
// [CheckText], and no word of certification.
func CheckClaimText(text string) error {
	if err := CheckText(text); err != nil {
		return err
	}
	seen := strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Cf, r) {
			return -1 // a soft hyphen, a joiner: it shows nothing
		}
		return r
	}, strings.ToLower(norm.NFKC.String(text)))
	if strings.Contains(seen, "certif") || strings.Contains(seen, "zertifi") {
		return ErrCertified
	}
	return nil
}
