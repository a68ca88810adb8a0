package compare

import (
	"errors"
	"fmt"
	"slices"
)

// Bounds on the size of a question: far beyond any campaign, and small enough
// that no input can hold the program up for long.
const (
	minNodes    = 5
	maxNodes    = 1000
	maxPulls    = 500
	minStepRPM  = 0.1 // between nodes
	maxRPM      = 200_000
	minDraws    = 100
	maxDraws    = 1_000_000
	maxLogLevel = 50 // |ln torque|: beyond it no torque was meant
)

// validate returns an error that names the first thing wrong with the input.
func (in *Input) validate() error {
	if err := in.validateGrid(); err != nil {
		return err
	}
	if err := in.validateQuestion(); err != nil {
		return err
	}
	if err := in.validatePulls(); err != nil {
		return err
	}
	return in.validateKnowledge()
}

// validateStudy returns an error that names the first thing wrong with what a study
// of scatter rests on.
func (in *Input) validateStudy() error {
	if err := in.validateGrid(); err != nil {
		return err
	}
	if in.Baseline == "" {
		return errors.New("a study of scatter needs a baseline")
	}
	if err := in.validateSides(); err != nil {
		return err
	}
	return in.validatePulls()
}

func (in *Input) validateGrid() error {
	k := len(in.SpeedRPM)
	if k < minNodes || k > maxNodes {
		return fmt.Errorf("%d engine speeds on the grid; a comparison takes %d to %d", k, minNodes, maxNodes)
	}
	for i, r := range in.SpeedRPM {
		if err := finite("an engine speed", r); err != nil {
			return err
		}
		if r <= 0 || r > maxRPM || i > 0 && r < in.SpeedRPM[i-1]+minStepRPM {
			return fmt.Errorf("engine speeds do not increase from above zero to at most %v in steps of %v or more at %v 1/min", maxRPM, minStepRPM, r)
		}
	}
	lo, hi := in.BandRPM[0], in.BandRPM[1]
	if err := errors.Join(finite("the riding band's start", lo), finite("the riding band's end", hi)); err != nil {
		return err
	}
	if (lo != 0 || hi != 0) && !(0 < lo && lo < hi) {
		return fmt.Errorf("a riding band from %v to %v 1/min is empty", lo, hi)
	}
	return nil
}

func (in *Input) validateQuestion() error {
	if !(in.Confidence > 0 && in.Confidence < 1) {
		return fmt.Errorf("confidence %v is not between 0 and 1", in.Confidence)
	}
	if !(in.SmallestGain >= 0 && in.SmallestGain < 10) {
		return fmt.Errorf("smallest gain of interest %v is not a fraction", in.SmallestGain)
	}
	if in.Draws != 0 && (in.Draws < minDraws || in.Draws > maxDraws) {
		return fmt.Errorf("%d draws; %d to %d, or 0 for the default", in.Draws, minDraws, maxDraws)
	}
	if in.Baseline == "" || len(in.Candidates) == 0 {
		return errors.New("a comparison needs a baseline and a candidate")
	}
	return in.validateSides()
}

// validateSides checks the names of the candidates and the primary figure.
func (in *Input) validateSides() error {
	if in.Primary < Band || in.Primary > PeakPower {
		return fmt.Errorf("primary figure %d is unknown", in.Primary)
	}
	for i, c := range in.Candidates {
		if c == "" || c == in.Baseline || slices.Contains(in.Candidates[:i], c) {
			return fmt.Errorf("candidate %q is empty, the baseline or named twice", c)
		}
	}
	return nil
}

func (in *Input) validatePulls() error {
	if len(in.Pulls) > maxPulls {
		return fmt.Errorf("%d pulls; a comparison takes at most %d", len(in.Pulls), maxPulls)
	}
	names := make(map[string]bool, len(in.Pulls))
	used := map[string]bool{}
	for i := range in.Pulls {
		p := &in.Pulls[i]
		if names[p.Name] {
			return fmt.Errorf("pull %q is named twice", p.Name)
		}
		names[p.Name] = true
		if p.Configuration != in.Baseline && !slices.Contains(in.Candidates, p.Configuration) {
			return fmt.Errorf("pull %q is of configuration %q, which is neither baseline nor candidate", p.Name, p.Configuration)
		}
		used[p.Configuration] = true
		if err := p.validate(len(in.SpeedRPM)); err != nil {
			return fmt.Errorf("pull %q: %w", p.Name, err)
		}
	}
	for _, c := range append([]string{in.Baseline}, in.Candidates...) {
		if !used[c] {
			return fmt.Errorf("configuration %q has no usable pull", c)
		}
	}
	return nil
}

func (p *Pull) validate(nodes int) error {
	if p.Setup == "" {
		return errors.New("no setup is named; without it nothing honest can be said")
	}
	if len(p.LogTorque) != nodes {
		return fmt.Errorf("%d torques on a grid of %d engine speeds", len(p.LogTorque), nodes)
	}
	for _, v := range p.LogTorque {
		if !(v >= -maxLogLevel && v <= maxLogLevel) {
			return fmt.Errorf("ln torque %v", v)
		}
	}
	if !(p.LnFactor >= -1 && p.LnFactor <= 1) {
		return fmt.Errorf("ln of the correction factor is %v", p.LnFactor)
	}
	return finite("its start", p.Hours)
}

func (in *Input) validateKnowledge() error {
	h := in.History
	for _, s := range []struct {
		what string
		Spread
	}{
		{"setup history", h.Setup}, {"block history", h.Block}, {"pull history", h.Pull},
		{"history of drift rates", h.DriftRate}, {"uncertainty of the correction's exponent", in.ExponentU},
	} {
		if !(s.SD >= 0 && s.SD <= 10) {
			return fmt.Errorf("%s: a standard deviation of %v", s.what, s.SD)
		}
		if s.DF != 0 && !(s.DF >= 0.5 && s.DF <= 1e6) {
			return fmt.Errorf("%s: %v degrees of freedom", s.what, s.DF)
		}
	}
	for c, v := range in.LossPlacement {
		if !(v >= -1 && v <= 1) {
			return fmt.Errorf("loss placement of %q: %v is not a fraction", c, v)
		}
	}
	if h.Archive != nil {
		return h.Archive.Validate(len(in.SpeedRPM) + scalars)
	}
	return nil
}
