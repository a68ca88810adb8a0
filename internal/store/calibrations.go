package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/quantity"
)

// Calibration is what was measured of a dyno, from a date on: until the next
// calibration of the dyno. Standard uncertainties are in the value's unit; 0:
// not stated.
type Calibration struct {
	Dyno         string
	ValidFrom    time.Time
	DrumInertia  quantity.KilogramSquareMetre // 0: not measured
	DrumInertiaU quantity.KilogramSquareMetre
	BrakeArm     quantity.Metre // 0: no brake, or not measured
	BrakeArmU    quantity.Metre
	Parasitic    [3]float64 // bare drum torque c0 + c1·ω + c2·ω², N·m, ω in rad/s
	ParasiticU   [3]float64
	Note         string // how it was measured, by which certificate

	// ParasiticR are the correlations of c0 with c1, of c0 with c2 and of c1 with c2;
	// zero: not stated.
	ParasiticR [3]float64 `json:",omitzero"`

	DrumSpeed   Scale `json:",omitzero"` // true over shown
	EngineSpeed Scale `json:",omitzero"`

	Pressure    Sensor `json:",omitzero"` // Pa
	Temperature Sensor `json:",omitzero"` // K
	Humidity    Sensor `json:",omitzero"` // fraction
}

// Scale is the true value of a channel over the shown one, with its standard
// uncertainty; Value 0: not measured.
type Scale struct{ Value, U float64 }

// Sensor is a sensor whose true value is Offset + Slope·shown, in SI, with the
// standard uncertainty of a corrected reading; Slope 0: not measured.
type Sensor struct{ Offset, Slope, U float64 }

// PullID names a pull within the workspace.
type PullID struct {
	Campaign, Pull string
}

func (c Calibration) check() error {
	if err := campaign.CheckID(c.Dyno); err != nil {
		return refused("the dyno's id %.80q %v", c.Dyno, err)
	}
	if err := campaign.CheckText(c.Note); err != nil {
		return refused("calibration of %s: its note %v", c.Dyno, err)
	}
	if c.ValidFrom.IsZero() {
		return refused("calibration of %s: it has no date", c.Dyno)
	}
	for _, v := range []float64{float64(c.DrumInertia), float64(c.DrumInertiaU), float64(c.BrakeArm), float64(c.BrakeArmU), c.ParasiticU[0], c.ParasiticU[1], c.ParasiticU[2]} {
		if !(v >= 0) || math.IsInf(v, 0) {
			return refused("calibration of %s: %g is not a size", c.Dyno, v)
		}
	}
	for _, v := range c.ParasiticR {
		if !(math.Abs(v) <= 1) {
			return refused("calibration of %s: %g is no correlation", c.Dyno, v)
		}
	}
	for _, v := range []float64{c.DrumSpeed.Value, c.DrumSpeed.U, c.EngineSpeed.Value, c.EngineSpeed.U, c.Pressure.Slope, c.Pressure.U, c.Temperature.Slope, c.Temperature.U, c.Humidity.Slope, c.Humidity.U} {
		if !(v >= 0) || math.IsInf(v, 0) {
			return refused("calibration of %s: %g is no scale, slope or uncertainty", c.Dyno, v)
		}
	}
	for _, v := range append(c.Parasitic[:], c.Pressure.Offset, c.Temperature.Offset, c.Humidity.Offset) {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return refused("calibration of %s: a parasitic torque or an offset is %g", c.Dyno, v)
		}
	}
	return nil
}

// Calibrate keeps a calibration. Where the dyno has one from the same moment,
// the new one supersedes it, which needs a reason; the same one again changes
// nothing. Times are kept to the microsecond, in UTC.
func (s *Store) Calibrate(ctx context.Context, c Calibration, by Author) (Change, error) {
	if err := c.check(); err != nil {
		return Change{}, err
	}
	c.ValidFrom = time.UnixMicro(c.ValidFrom.UnixMicro()).UTC()
	row, err := write("calibration of "+c.Dyno, c)
	if err != nil {
		return Change{}, err
	}
	return s.change(ctx, by, false, func(w writing) error {
		w.change.Action, w.change.Kind, w.change.Subject, w.change.To = Calibrated, "dyno", c.Dyno, row.digest.String()
		if err := w.endCalibration(ctx, c, row.digest.String(), by); err != nil {
			return err
		}
		id, err := newID()
		if err != nil {
			return err
		}
		_, err = w.ExecContext(ctx, `INSERT INTO calibrations (id, dyno, valid_from, since, digest, body) VALUES ($1, $2, $3, $4, $5, $6)`,
			id, c.Dyno, c.ValidFrom.UnixMicro(), w.change.Seq, row.digest.String(), row.body)
		return err
	})
}

// endCalibration ends the calibration that c supersedes, if there is one.
func (w writing) endCalibration(ctx context.Context, c Calibration, digest string, by Author) error {
	var was, body string
	err := w.QueryRowContext(ctx, `UPDATE calibrations SET until = $1 WHERE dyno = $2 AND valid_from = $3 AND until IS NULL
		RETURNING digest, body`, w.change.Seq, c.Dyno, c.ValidFrom.UnixMicro()).Scan(&was, &body)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil
	case err != nil:
		return err
	case was == digest:
		return errUnchanged
	case by.Why == "":
		return by.check(true)
	}
	before, err := read[Calibration]("calibration of "+c.Dyno, body)
	if err != nil {
		return err
	}
	w.change.Action, w.change.From = Superseded, was
	w.change.Differences = compare(nil, "calibration", before, c)
	return nil
}

// Calibrations returns the calibrations of a dyno that hold, oldest first.
func (s *Store) Calibrations(ctx context.Context, dyno string) ([]Calibration, error) {
	return s.calibrations(ctx, `SELECT body FROM calibrations WHERE dyno = $1 AND until IS NULL ORDER BY valid_from`, dyno)
}

// CalibrationAt returns the calibration of a dyno that holds at a moment. Where
// there is none so early the error is [ErrNotFound].
func (s *Store) CalibrationAt(ctx context.Context, dyno string, at time.Time) (Calibration, error) {
	list, err := s.calibrations(ctx, `SELECT body FROM calibrations WHERE dyno = $1 AND valid_from <= $2 AND until IS NULL
		ORDER BY valid_from DESC LIMIT 1`, dyno, at.UnixMicro())
	if err == nil && len(list) == 0 {
		err = fmt.Errorf("a calibration of dyno %.80q at %s %w", dyno, at.Format(time.RFC3339), ErrNotFound)
	}
	if err != nil {
		return Calibration{}, err
	}
	return list[0], nil
}

func (s *Store) calibrations(ctx context.Context, query string, args ...any) ([]Calibration, error) {
	bodies, err := texts(ctx, s.db, query, args...)
	if err != nil {
		return nil, explain(err)
	}
	var list []Calibration
	for _, body := range bodies {
		c, err := read[Calibration]("calibration", body)
		if err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	return list, nil
}

// CalibrationPulls returns the pulls that a dyno's calibration applies to: those
// started from its date on and before the next calibration's.
func (s *Store) CalibrationPulls(ctx context.Context, dyno string, validFrom time.Time) (pulls []PullID, err error) {
	rows, err := s.db.QueryContext(ctx, `SELECT p.campaign, p.name FROM campaigns c JOIN pulls p ON p.campaign = c.id
		WHERE c.dyno = $1 AND p.until IS NULL AND p.started >= $2 AND p.started < coalesce((SELECT min(valid_from) FROM calibrations
			WHERE dyno = $1 AND valid_from > $2 AND until IS NULL), 9223372036854775807)
		ORDER BY p.started, p.campaign, p.name`, dyno, validFrom.UnixMicro())
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var p PullID
		if err := rows.Scan(&p.Campaign, &p.Pull); err != nil {
			return nil, err
		}
		pulls = append(pulls, p)
	}
	return pulls, rows.Err()
}

// digestOf reads a digest that was stored as text; an empty text is none.
func digestOf(text string) (evidence.Digest, error) {
	if text == "" {
		return evidence.Digest{}, nil
	}
	return evidence.Parse(text)
}
