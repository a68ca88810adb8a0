package lab

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"

	"fairpull/scatter"
)

// studyFormat is the format of what a campaign adds to the lab's history; it
// stands in docs/workspace.md.
const studyFormat = "fairpull.scatter/1"

// maxStudyBytes bounds a study's JSON.
const maxStudyBytes = 16 << 20

// ppm are rows of ln torque in millionths, so that seven digits hold all that
// matters.
const ppm = 1e6

type (
	studyJSON struct {
		Format   string    `json:"format"`
		Curves   bool      `json:"curves,omitempty"`   // some used log was a curve reduced elsewhere
		Unusable string    `json:"unusable,omitempty"` // why it is no history; empty: it is
		SpeedRPM []float64 `json:"speed_rpm"`
		Setup    levelJSON `json:"setup"`
		Block    levelJSON `json:"block"`
		Pull     levelJSON `json:"pull"`
		Drift    driftJSON `json:"drift"`
	}
	levelJSON struct {
		DF        float64  `json:"df"`
		Pulls     float64  `json:"pulls"`
		Residuals []ppmRow `json:"residuals_ppm"`
	}
	driftJSON struct {
		PerHour float64 `json:"per_hour"`
		SE      float64 `json:"se"`
		Setup   float64 `json:"takes_setup"`
		Block   float64 `json:"takes_block"`
		Pull    float64 `json:"takes_pull"`
		Scalar  int     `json:"scalar"`
	}
	// ppmRow is a row of residuals; a value that is not there is null.
	ppmRow []float64
)

// MarshalJSON writes the row in millionths with seven significant digits.
func (r ppmRow) MarshalJSON() ([]byte, error) {
	out := make([]byte, 0, 10*len(r)+2)
	out = append(out, '[')
	for i, v := range r {
		if i > 0 {
			out = append(out, ',')
		}
		switch {
		case math.IsNaN(v):
			out = append(out, "null"...)
		case math.IsInf(v, 0):
			return nil, fmt.Errorf("a residual is %v", v)
		default:
			out = strconv.AppendFloat(out, v*ppm, 'g', 7, 64)
		}
	}
	return append(out, ']'), nil
}

var errNoRow = errors.New("a row of residuals is not a list of numbers")

// UnmarshalJSON reads what MarshalJSON writes. It is a reader of its own because
// a history is hundreds of thousands of such numbers.
func (r *ppmRow) UnmarshalJSON(data []byte) error {
	if len(data) < 2 || data[0] != '[' || data[len(data)-1] != ']' {
		return errNoRow
	}
	*r = nil
	rest := bytes.TrimSpace(data[1 : len(data)-1])
	if len(rest) == 0 {
		return nil
	}
	row := make([]float64, 0, bytes.Count(rest, []byte{','})+1)
	for more := true; more; {
		var cell []byte
		cell, rest, more = bytes.Cut(rest, []byte{','})
		cell = bytes.TrimSpace(cell)
		v := math.NaN()
		if string(cell) != "null" {
			var err error
			if v, err = strconv.ParseFloat(string(cell), 64); err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
				return errNoRow
			}
		}
		row = append(row, v/ppm)
	}
	*r = row
	return nil
}

// Study is what one campaign says of its rig's scatter.
type Study struct {
	scatter.Study
	Curves bool // some used log was a curve that was reduced elsewhere
	// Unusable says what is wrong with the measurement, so that its scatter is not the
	// rig's; empty: nothing.
	Unusable string
}

// encodeStudy returns a study as JSON, format fairpull.scatter/1. Equal studies
// give equal bytes.
func encodeStudy(s Study) ([]byte, error) {
	level := func(l scatter.Level) levelJSON {
		out := levelJSON{DF: l.DF, Pulls: l.Pulls, Residuals: make([]ppmRow, len(l.Residuals))}
		for i, row := range l.Residuals {
			out.Residuals[i] = row
		}
		return out
	}
	return json.Marshal(studyJSON{
		Format: studyFormat, Curves: s.Curves, Unusable: s.Unusable, SpeedRPM: s.SpeedRPM,
		Setup: level(s.Setup), Block: level(s.Block), Pull: level(s.Pull),
		Drift: driftJSON{
			PerHour: s.DriftPerHour, SE: s.DriftSE, Scalar: s.DriftScalar,
			Setup: s.DriftTakes.Setup, Block: s.DriftTakes.Block, Pull: s.DriftTakes.Pull,
		},
	})
}

// decodeStudy is the inverse of encodeStudy up to the seventh digit of a residual.
// What comes back is a study that can be pooled.
func decodeStudy(data []byte) (Study, error) {
	if len(data) > maxStudyBytes {
		return Study{}, fmt.Errorf("a study has at most %d bytes", maxStudyBytes)
	}
	var j studyJSON
	if err := json.Unmarshal(data, &j); err != nil {
		return Study{}, fmt.Errorf("study: %w", err)
	}
	if j.Format != studyFormat {
		return Study{}, fmt.Errorf("study: its format is %.40q; this program reads %s", j.Format, studyFormat)
	}
	level := func(l levelJSON) scatter.Level {
		out := scatter.Level{DF: l.DF, Pulls: l.Pulls}
		for _, row := range l.Residuals {
			out.Residuals = append(out.Residuals, row)
		}
		return out
	}
	s := Study{Curves: j.Curves, Unusable: j.Unusable, Study: scatter.Study{
		SpeedRPM: j.SpeedRPM, Setup: level(j.Setup), Block: level(j.Block), Pull: level(j.Pull),
		DriftPerHour: j.Drift.PerHour, DriftSE: j.Drift.SE, DriftScalar: j.Drift.Scalar,
		DriftTakes: scatter.Takes{Setup: j.Drift.Setup, Block: j.Drift.Block, Pull: j.Drift.Pull},
	}}
	if err := s.Validate(); err != nil {
		return Study{}, err
	}
	return s, nil
}
