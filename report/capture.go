package report

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"

	"fairpull/compare"
)

// captureFormat names the lines that a capture writes.
const captureFormat = "fairpull.capture/1"

// CaptureKind says what a line of a capture tells.
type CaptureKind string

// The kinds.
const (
	CaptureStarted CaptureKind = "started" // what is captured from where, and what comes first
	CapturePull    CaptureKind = "pull"    // a pull was taken in; it is on the disk
	CaptureNotice  CaptureKind = "notice"  // something a person may want to know
	CaptureProblem CaptureKind = "problem" // something a person has to do something about
	CaptureAnswer  CaptureKind = "answer"  // to what a person typed
	CaptureStopped CaptureKind = "stopped"
)

// Capture is one line of a capture.
type Capture struct {
	Kind     CaptureKind
	Campaign string
	At       time.Time
	Message  string // one line for a person, SI units
	File     string // that it concerns; empty: none
	Pull     *CapturedPull
	Next     *CaptureNext
	SoFar    []SoFar
}

// CapturedPull is a pull that was taken in.
type CapturedPull struct {
	Name, Configuration, Setup, Log string
	Digest                          string // of the log, SHA-256
	Started                         time.Time
	Excluded                        string  // why it does not count; empty: it counts
	Reduced                         bool    // a curve was found in it
	Accepted                        bool    // it counts, was reduced, and no check failed on it
	PeakTorqueNm, PeakPowerW        float64 // corrected wheel figures; NaN: none
	Factor                          float64 // correction; NaN: none
	Doubts                          []string
	Seconds                         float64 // from the file being whole to this line
}

// CaptureNext is what the next pull belongs to.
type CaptureNext struct {
	Block, Blocks        int // from 1; 0: nothing is planned
	Configuration, Setup string
	Left                 int  // pulls that the block still wants; 0 without a plan
	Confirm              bool // somebody has to say that it is fitted
	Settling             int  // settling pulls that come first
	Finished             bool // the plan is through
	// Code stands for the configuration where the plan is blind; empty: it is not.
	Code string
}

// SoFar is what the pulls of a campaign that is still being measured say of one
// candidate, or of the scatter alone while there is no candidate.
type SoFar struct {
	Candidate, Baseline string // empty: no comparison yet
	// PullSD is from pull to pull within the campaign's own blocks, ln, with its
	// degrees of freedom.
	PullSD, PullDF float64
	Confidence     float64
	Metric         string // band, peak_torque or peak_power
	Gain, Lo, Hi   float64
	Interval       bool
	// HalfWidth is that of the interval now, HalfWidthAtEnd the one to be expected
	// when the rest of the plan is measured; ln, NaN where it is not known.
	HalfWidth, HalfWidthAtEnd float64
	SmallestGain              float64 // a fraction; 0: not stated
	Missing                   string  // why there is no gain
}

// Blind returns what may be said to a rider who is not to know: the repeatability.
func (s SoFar) Blind() SoFar {
	nan := math.NaN()
	return SoFar{PullSD: s.PullSD, PullDF: s.PullDF, Confidence: s.Confidence, Gain: nan, Lo: nan, Hi: nan, HalfWidth: nan, HalfWidthAtEnd: nan}
}

// SoFarOf takes from a comparison what may be said before the campaign is through:
// no verdict; the repeatability is left to the caller. End is what the rest of the plan is to bring; nil: not known.
func SoFarOf(c *compare.Comparison, end *compare.Expectation) SoFar {
	f := c.Figure(c.Primary)
	s := SoFar{
		Candidate: c.Candidate, Baseline: c.Baseline, PullSD: math.NaN(), Confidence: c.Confidence,
		Metric: metricKey(c.Primary), Gain: f.Gain, Lo: f.Lo, Hi: f.Hi, Interval: f.Interval, Missing: f.Missing,
		HalfWidth: math.NaN(), HalfWidthAtEnd: math.NaN(), SmallestGain: c.SmallestGain,
	}
	if f.Missing != "" {
		s.Gain, s.Lo, s.Hi, s.Interval = math.NaN(), math.NaN(), math.NaN(), false
	}
	if s.Interval {
		s.HalfWidth = (f.Hi - f.Lo) / 2
	}
	if end != nil && end.Interval {
		s.HalfWidthAtEnd = end.HalfWidth
	}
	return s
}

func metricKey(m compare.Metric) string {
	switch m {
	case compare.PeakTorque:
		return "peak_torque"
	case compare.PeakPower:
		return "peak_power"
	}
	return "band"
}

var metricNames = map[string]string{"band": "band torque", "peak_torque": "peak torque", "peak_power": "peak power"}

// Sentence says what is known so far, in one sentence or two: repeatability, gain
// with its interval, and the width that the rest of the plan is to bring. What to
// do about it rests on widths alone.
func (s SoFar) Sentence() string {
	parts := []string{s.repeatability()}
	if s.Candidate != "" {
		parts = append(parts, s.gain())
		if w := s.width(); w != "" {
			parts = append(parts, w)
		}
	}
	return strings.Join(parts, " ")
}

func (s SoFar) repeatability() string {
	if s.PullDF <= 0 || math.IsNaN(s.PullSD) {
		return "Repeatability: not known yet."
	}
	return fmt.Sprintf("Repeatability %s %% (%s df).", fixed(100*s.PullSD, 2), plain(math.Round(10*s.PullDF)/10))
}

func (s SoFar) gain() string {
	who := clean(s.Candidate) + " over " + clean(s.Baseline) + " so far, " + metricNames[s.Metric] + ": "
	if s.Missing != "" {
		return who + "no figure (" + clean(s.Missing) + ")."
	}
	t := gainWords(s.Gain, s.Lo, s.Hi, math.NaN(), s.Interval)
	if !s.Interval {
		return who + t.Value + " %, with no interval yet."
	}
	return who + t.Value + " % (" + t.Interval + ")."
}

// width says how wide the interval is and will be.
func (s SoFar) width() string {
	half := func(ln float64) string {
		w := 100 * ln
		return "±" + fixed(w, places(w, gainPlaces)) + " %"
	}
	switch {
	case math.IsNaN(s.HalfWidthAtEnd):
		return ""
	case math.IsNaN(s.HalfWidth):
		return "At the end of the plan about " + half(s.HalfWidthAtEnd) + " is to be expected."
	}
	return "Interval " + half(s.HalfWidth) + ", about " + half(s.HalfWidthAtEnd) + " to be expected at the end of the plan."
}

// Text returns the line as a terminal may be given it.
func (c *Capture) Text() string { return cleanTo(c.Message, 2000) }

type captureJSON struct {
	Format   string            `json:"format"`
	Kind     CaptureKind       `json:"kind"`
	Campaign string            `json:"campaign"`
	At       time.Time         `json:"at"`
	Message  string            `json:"message"`
	File     string            `json:"file,omitempty"`
	Pull     *capturedPullJSON `json:"pull,omitempty"`
	Next     *captureNextJSON  `json:"next,omitempty"`
	SoFar    []soFarJSON       `json:"so_far,omitempty"`
}

type capturedPullJSON struct {
	Pull          string    `json:"pull"`
	Configuration string    `json:"configuration"`
	Setup         string    `json:"setup"`
	Started       time.Time `json:"started"`
	Log           string    `json:"log"`
	Digest        string    `json:"sha256"`
	Excluded      string    `json:"excluded"`
	Reduced       bool      `json:"reduced"`
	Accepted      bool      `json:"accepted"`
	PeakTorque    amount    `json:"peak_torque_nm"`
	PeakPower     amount    `json:"peak_power_kw"`
	Factor        amount    `json:"correction_factor"`
	Doubts        []string  `json:"doubts"`
	Seconds       amount    `json:"seconds_after_whole"`
}

type captureNextJSON struct {
	Block         int    `json:"block"`
	Blocks        int    `json:"blocks"`
	Configuration string `json:"configuration"`
	Setup         string `json:"setup"`
	Left          int    `json:"pulls_left"`
	Settling      int    `json:"settling_pulls"`
	Confirm       bool   `json:"to_be_confirmed"`
	Finished      bool   `json:"plan_finished"`
	Code          string `json:"code,omitempty"`
}

type soFarJSON struct {
	Baseline   string `json:"baseline,omitempty"`
	Candidate  string `json:"candidate,omitempty"`
	Figure     string `json:"figure,omitempty"`
	PullSD     amount `json:"pull_sd_pct"`
	PullDF     amount `json:"pull_df"`
	Confidence amount `json:"confidence"`
	Gain       amount `json:"gain_pct"`
	Lo         amount `json:"lo_pct"`
	Hi         amount `json:"hi_pct"`
	Half       amount `json:"half_width_pct"`
	HalfAtEnd  amount `json:"half_width_at_end_pct"`
}

// JSON returns the line as one fairpull.capture/1 object without a line's end. A
// number that is not known is null.
func (c *Capture) JSON() ([]byte, error) {
	out := captureJSON{Format: captureFormat, Kind: c.Kind, Campaign: c.Campaign, At: c.At, Message: c.Message, File: c.File}
	if p := c.Pull; p != nil {
		out.Pull = &capturedPullJSON{
			Pull: p.Name, Configuration: p.Configuration, Setup: p.Setup, Started: p.Started, Log: p.Log, Digest: p.Digest,
			Excluded: p.Excluded, Reduced: p.Reduced, Accepted: p.Accepted, PeakTorque: amount(p.PeakTorqueNm),
			PeakPower: amount(p.PeakPowerW / 1000), Factor: amount(p.Factor), Doubts: append([]string{}, p.Doubts...), Seconds: amount(p.Seconds),
		}
	}
	if n := c.Next; n != nil {
		out.Next = &captureNextJSON{n.Block, n.Blocks, n.Configuration, n.Setup, n.Left, n.Settling, n.Confirm, n.Finished, n.Code}
	}
	for _, s := range c.SoFar {
		row := soFarJSON{
			Baseline: s.Baseline, Candidate: s.Candidate, PullSD: amount(100 * s.PullSD), PullDF: amount(s.PullDF), Confidence: amount(s.Confidence),
			Gain: null, Lo: null, Hi: null, Half: null, HalfAtEnd: null,
		}
		if s.Candidate != "" {
			row.Figure, row.Gain = s.Metric, amount(percent(s.Gain))
			row.HalfAtEnd = amount(100 * s.HalfWidthAtEnd)
			if s.Interval {
				row.Lo, row.Hi, row.Half = amount(percent(s.Lo)), amount(percent(s.Hi)), amount(100*s.HalfWidth)
			}
		}
		out.SoFar = append(out.SoFar, row)
	}
	return json.Marshal(out)
}
