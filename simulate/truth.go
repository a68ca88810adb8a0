package simulate

import (
	"context"
	"fmt"
	"math"
)

// gridRPM is the spacing of the engine speeds of a truth, 1/min.
const gridRPM = 50

// Truth is what a perfect analysis of a campaign would find. Torque is the wheel
// figure referred to the engine, in N·m: torque at the drum times drum speed
// over engine speed.
type Truth struct {
	Format     string `json:"format"` // "fairpull.truth/1"
	Campaign   string `json:"campaign"`
	Seed       uint64 `json:"seed"`
	Correction string `json:"correction"`

	RPM            []float64            `json:"rpm"` // every 50 1/min from start to closing speed
	Configurations []ConfigurationTruth `json:"configurations"`
	Comparisons    []ComparisonTruth    `json:"comparisons"`
	Pulls          []PullTruth          `json:"pulls"`
	Steady         *SteadyTruth         `json:"steady,omitempty"` // only with a brake
}

// ConfigurationTruth is one configuration on a rig without scatter, drift or
// fault.
type ConfigurationTruth struct {
	ID      string    `json:"id"`
	CrankNm []float64 `json:"crank_nm"` // full-throttle crankshaft torque at the engine's reference air
	// WheelNm is the wheel figure at the reference air of the campaign's
	// correction (without correction: in the air of the first pull): what the
	// corrected figure should be.
	WheelNm []float64 `json:"wheel_nm"`
	// UncorrectedNm is the mean wheel figure of the pulls that pulls.csv gives
	// this configuration, as they went: scatter, drift, faults and air included.
	// Null where a pull did not reach the speed.
	UncorrectedNm []*float64 `json:"uncorrected_nm"`
	PeakTorque    *Peak      `json:"peak_torque"` // of WheelNm; null at the edge of the range
	PeakPower     *Peak      `json:"peak_power"`
	// LossNm is the tyre and driveline loss at the drum axis, c0 + c1·ω + c2·ω².
	LossNm              [3]float64 `json:"loss_nm"`
	WheelInertiaAtDrum  float64    `json:"wheel_inertia_at_drum_kgm2"`
	EngineRevsPerDrum   float64    `json:"engine_revs_per_drum_rev"` // without slip
	LambdaFullThrottle  float64    `json:"lambda"`
	LambdaCurve         []float64  `json:"lambda_curve,omitempty"` // over engine speed; absent where it is the same at all
	EngineInertiaAtDrum float64    `json:"engine_inertia_at_drum_kgm2"`
}

// Peak is the highest torque in N·m, or power in W, and its engine speed.
type Peak struct {
	RPM   float64 `json:"rpm"`
	Value float64 `json:"value"`
}

// ComparisonTruth is one candidate against the baseline. Gain is what the parts
// do to the wheel figure at reference air. Apparent is what a rig without
// scatter and drift would have read from these pulls: the faults, the rig's
// share and what the correction leaves of the weather are in it.
type ComparisonTruth struct {
	Baseline  string    `json:"baseline"`
	Candidate string    `json:"candidate"`
	Gain      GainTruth `json:"gain"`
	Apparent  GainTruth `json:"apparent"`
}

// GainTruth is a gain in per cent. A figure that does not exist is null: a band
// not covered, a peak at the edge of the range.
type GainTruth struct {
	BandPct       *float64   `json:"band_pct"` // of mean torque over the riding band, every 50 1/min
	PeakTorquePct *float64   `json:"peak_torque_pct"`
	PeakPowerPct  *float64   `json:"peak_power_pct"`
	CurvePct      []*float64 `json:"curve_pct"` // at Truth.RPM
}

// PullTruth is one pull as it went.
type PullTruth struct {
	Pull          string   `json:"pull"`
	Configuration string   `json:"configuration"` // as pulls.csv says
	Fitted        string   `json:"fitted"`        // as it was
	Setup         string   `json:"setup"`
	Block         int      `json:"block"` // from 1
	Hours         float64  `json:"hours"`
	Faults        []string `json:"faults"`

	PressurePa       float64 `json:"pressure_pa"` // station, as it was
	TemperatureK     float64 `json:"temperature_k"`
	RelativeHumidity float64 `json:"relative_humidity"`
	Factor           float64 `json:"factor"`       // of the campaign's correction in that air
	FactorTyped      float64 `json:"factor_typed"` // in the air of pulls.csv
	TyrePressurePa   float64 `json:"tyre_pressure_pa"`
	DriftPct         float64 `json:"drift_pct"`

	FullThrottle float64 `json:"full_throttle_s"` // the throttle opens
	Closed       float64 `json:"closed_s"`        // and closes
	CoastDown    float64 `json:"coast_down_s"`    // length of the coast-down
	EngineRevs   float64 `json:"engine_revs_per_drum_rev"`

	LossNm [3]float64 `json:"loss_nm"` // tyre and driveline, at the drum axis, during this pull
	// UncorrectedNm is the wheel figure as it went, at Truth.RPM, from full
	// throttle to the closing throttle; null outside.
	UncorrectedNm []*float64       `json:"uncorrected_nm"`
	Steady        *SteadyPullTruth `json:"steady,omitempty"` // a steady log: held speeds in the place of a pull
}

// Truth returns the truth of the campaign that Files writes. It fails as Files
// does.
func (s Scenario) Truth() (Truth, error) {
	if err := s.Validate(); err != nil {
		return Truth{}, err
	}
	pulls := s.session()
	truths := make([]PullTruth, len(pulls))
	ctx := context.Background()
	err := parallel(ctx, len(pulls), func(i int) error {
		var err error
		truths[i], err = s.truthOf(&pulls[i])
		return err
	})
	if err != nil {
		return Truth{}, err
	}
	return s.truth(ctx, pulls, truths)
}

// nodes returns the engine speeds of the truth.
func (s *Scenario) nodes() []float64 {
	var rpm []float64
	for n := math.Ceil(s.Engine.StartRPM / gridRPM); n*gridRPM <= s.Engine.CloseRPM; n++ {
		rpm = append(rpm, n*gridRPM)
	}
	return rpm
}

// pullTruth returns the truth of one pull.
func (s *Scenario) pullTruth(p *plannedPull, m *machine, c *course) PullTruth {
	law, _ := lawNamed(s.Correction)
	t := s.conditionsTruth(p, m, law)
	t.FullThrottle, t.Closed = c.full, c.closed
	t.UncorrectedNm = nullable(m.wheelTorque(&c.segments[1], s.nodes()))
	if len(c.segments) > 3 {
		t.CoastDown = c.end - c.segments[3].knots[0].t
	}
	return t
}

// truthOf drives one row of the session and returns its truth.
func (s *Scenario) truthOf(p *plannedPull) (PullTruth, error) {
	if p.steady {
		m, c, err := s.driveSteady(p, func(_, _ *braked) {})
		if err != nil {
			return PullTruth{}, fmt.Errorf("steady log %s: %w", p.name, err)
		}
		return s.steadyPullTruth(p, m, c), nil
	}
	m, c, err := s.drivePull(p)
	if err != nil {
		return PullTruth{}, fmt.Errorf("pull %s: %w", p.name, err)
	}
	return s.pullTruth(p, m, c), nil
}

// conditionsTruth returns what is true of one row of the session whatever was driven.
func (s *Scenario) conditionsTruth(p *plannedPull, m *machine, law airLaw) PullTruth {
	return PullTruth{
		Pull: p.name, Configuration: s.Configurations[p.written].ID, Fitted: s.Configurations[p.fitted].ID,
		Setup: p.setup, Block: p.block + 1, Hours: p.hours, Faults: p.faults.names(),
		PressurePa: float64(p.air.pressure), TemperatureK: float64(p.air.temperature), RelativeHumidity: p.air.humidity,
		Factor: law.factor(p.air), FactorTyped: law.factor(p.typed),
		TyrePressurePa: float64(p.tyre), DriftPct: 100 * math.Expm1(p.drift),
		EngineRevs: m.ratio, LossNm: m.loss,
	}
}

// wheelTorque returns the wheel figure of a segment, referred to the engine, at
// the given engine speeds in 1/min; NaN where the segment does not pass one. A
// speed passed more than once counts where it was last passed.
func (m *machine) wheelTorque(s *segment, rpm []float64) []float64 {
	torque := make([]float64, len(rpm))
	for i := range torque {
		torque[i] = math.NaN()
	}
	node := 0
	for j := 1; j < len(s.knots) && len(rpm) > 0; j++ {
		a, b := &s.knots[j-1], &s.knots[j]
		low, high := a.engineSpeed*rpmPerRadian, b.engineSpeed*rpmPerRadian
		for node > 0 && rpm[node-1] >= low { // engine speed fell back: a burst of slip
			node--
		}
		for node < len(rpm) && rpm[node] < low {
			node++
		}
		for ; node < len(rpm) && rpm[node] <= high; node++ {
			torque[node] = m.wheelTorqueAt(s, a, b, rpm[node]/rpmPerRadian)
		}
	}
	return torque
}

// wheelTorqueAt returns the wheel figure where engine speed passes the given
// value in rad/s between two knots.
func (m *machine) wheelTorqueAt(s *segment, a, b *knot, engineSpeed float64) float64 {
	low, high := a.t, b.t
	for range 45 {
		middle := (low + high) / 2
		if between(a, b, middle).engineSpeed < engineSpeed {
			low = middle
		} else {
			high = middle
		}
	}
	k := between(a, b, high)
	r := m.engaged(s.throttle.at(high), state{k.theta, k.omega, k.engine, k.slip})
	return m.contact(k.omega, r.alpha) * k.omega / r.engineSpeed
}

// ideal returns the wheel figure at the nodes under conditions c, with the
// throttle open from below the first node on.
func (s *Scenario) ideal(c conditions, rpm []float64) (*machine, []float64, error) {
	m := s.machine(c)
	y, _, err := m.steady(s.Engine.StartRPM * 0.97)
	if err != nil {
		return nil, nil, err
	}
	for range 30 { // the slip of full throttle, so that no settling is left
		r := m.engaged(1, y)
		y.slip = m.slip * m.contact(y.omega, r.alpha)
	}
	open, _, reached := m.drive(opening{from: 1, to: 1, constant: 1}, 0, y, longestPull, s.Engine.CloseRPM*1.001/rpmPerRadian)
	if !reached {
		return nil, nil, fmt.Errorf("%w: configuration %s does not reach %.0f 1/min", errNoPull, s.Configurations[c.configuration].ID, s.Engine.CloseRPM)
	}
	return m, m.wheelTorque(&open, rpm), nil
}

// truth gathers the truth of a campaign from that of its pulls.
func (s *Scenario) truth(ctx context.Context, pulls []plannedPull, truths []PullTruth) (Truth, error) {
	rpm := s.nodes()
	t := Truth{
		Format: "fairpull.truth/1", Campaign: s.ID, Seed: s.Seed, Correction: s.Correction,
		RPM: rpm, Steady: s.steadyTruth(), Configurations: make([]ConfigurationTruth, len(s.Configurations)), Pulls: truths,
	}
	wheel := make([][]float64, len(s.Configurations))
	for i := range s.Configurations {
		m, torque, err := s.ideal(s.nominal(i), rpm)
		if err != nil {
			return Truth{}, err
		}
		wheel[i] = torque
		t.Configurations[i] = s.configurationTruth(i, m, rpm, torque, truths)
	}
	apparent, err := s.apparent(ctx, pulls, rpm)
	if err != nil {
		return Truth{}, err
	}
	for i := 1; i < len(s.Configurations); i++ {
		t.Comparisons = append(t.Comparisons, ComparisonTruth{
			Baseline: s.Configurations[0].ID, Candidate: s.Configurations[i].ID,
			Gain: s.gainTruth(rpm, wheel[0], wheel[i]), Apparent: s.gainTruth(rpm, apparent[0], apparent[i]),
		})
	}
	return t, nil
}

func (s *Scenario) configurationTruth(i int, m *machine, rpm, wheel []float64, pulls []PullTruth) ConfigurationTruth {
	c := &s.Configurations[i]
	t := ConfigurationTruth{
		ID: c.ID, WheelNm: wheel, PeakTorque: peak(rpm, wheel), PeakPower: peak(rpm, power(rpm, wheel)),
		LossNm: m.loss, WheelInertiaAtDrum: m.wheel, EngineRevsPerDrum: m.ratio,
		LambdaFullThrottle: c.Lambda, EngineInertiaAtDrum: m.engine * m.ratio * m.ratio,
		CrankNm: make([]float64, len(rpm)), UncorrectedNm: make([]*float64, len(rpm)),
	}
	for j, n := range rpm {
		lambda := s.lambda(c, nil, n)
		if !c.LambdaCourse.flat() {
			t.LambdaCurve = append(t.LambdaCurve, lambda)
		}
		off := lambda - s.Engine.MixtureBest
		t.CrankNm[j] = s.Engine.Torque.At(n) * (1 + c.Gain.At(n)) * (1 - s.Engine.MixtureCurvature*off*off)
		sum, count, whole := 0.0, 0, true
		for k := range pulls {
			if pulls[k].Configuration != c.ID || pulls[k].Steady != nil {
				continue
			}
			if value := pulls[k].UncorrectedNm[j]; value != nil {
				sum, count = sum+*value, count+1
			} else {
				whole = false
			}
		}
		if whole && count > 0 {
			mean := sum / float64(count)
			t.UncorrectedNm[j] = &mean
		}
	}
	return t
}

// apparent returns, for each configuration as pulls.csv names it, the geometric
// mean of its pulls' corrected wheel figures on a rig without scatter and drift;
// NaN where a pull lacks the node.
func (s *Scenario) apparent(ctx context.Context, pulls []plannedPull, rpm []float64) ([][]float64, error) {
	curves := make([][]float64, len(pulls))
	law, _ := lawNamed(s.Correction)
	err := parallel(ctx, len(pulls), func(i int) error {
		p := &pulls[i]
		if p.steady {
			return nil
		}
		_, torque, err := s.ideal(s.undisturbed(p), rpm)
		if err != nil {
			return fmt.Errorf("pull %s: %w", p.name, err)
		}
		for j := range torque {
			torque[j] = math.Log(torque[j] * law.factor(p.typed))
			if rpm[j] > s.closeRPM(p) {
				torque[j] = math.NaN()
			}
		}
		curves[i] = torque
		return nil
	})
	if err != nil {
		return nil, err
	}
	means := make([][]float64, len(s.Configurations))
	for c := range means {
		means[c] = make([]float64, len(rpm))
		for j := range rpm {
			sum, count := 0.0, 0
			for i := range pulls {
				if pulls[i].written == c && !pulls[i].steady {
					sum, count = sum+curves[i][j], count+1
				}
			}
			means[c][j] = math.Exp(sum / float64(count))
		}
	}
	return means, nil
}

// gainTruth compares two wheel figures at the nodes.
func (s *Scenario) gainTruth(rpm, baseline, candidate []float64) GainTruth {
	pct := func(b, a float64) *float64 { return present(100 * (b/a - 1)) }
	g := GainTruth{CurvePct: make([]*float64, len(rpm))}
	var sumA, sumB float64
	for i, n := range rpm {
		g.CurvePct[i] = pct(candidate[i], baseline[i])
		if n >= s.Objective.BandRPM[0] && n <= s.Objective.BandRPM[1] {
			sumA, sumB = sumA+baseline[i], sumB+candidate[i]
		}
	}
	g.BandPct = pct(sumB, sumA)
	if a, b := peak(rpm, baseline), peak(rpm, candidate); a != nil && b != nil {
		g.PeakTorquePct = pct(b.Value, a.Value)
	}
	if a, b := peak(rpm, power(rpm, baseline)), peak(rpm, power(rpm, candidate)); a != nil && b != nil {
		g.PeakPowerPct = pct(b.Value, a.Value)
	}
	return g
}

// power returns torque times engine speed in W.
func power(rpm, torque []float64) []float64 {
	p := make([]float64, len(rpm))
	for i := range p {
		p[i] = torque[i] * rpm[i] / rpmPerRadian
	}
	return p
}

// peak returns the highest point of a curve, by the parabola through the highest
// node and its neighbours; nil where the highest node is the first or last.
func peak(rpm, values []float64) *Peak {
	best, first, last := -1, -1, -1
	for i, v := range values {
		if math.IsNaN(v) {
			continue
		}
		if first < 0 {
			first = i
		}
		last = i
		if best < 0 || v > values[best] {
			best = i
		}
	}
	if best <= first || best >= last {
		return nil
	}
	left, middle, right := values[best-1], values[best], values[best+1]
	bend := left - 2*middle + right
	if !(bend < 0) {
		return nil
	}
	shift := (left - right) / (2 * bend)
	return &Peak{RPM: rpm[best] + shift*gridRPM, Value: middle - (left-right)*shift/4}
}

// present returns a pointer to v, nil where v is not a number.
func present(v float64) *float64 {
	if !finite(v) {
		return nil
	}
	return &v
}

func nullable(values []float64) []*float64 {
	list := make([]*float64, len(values))
	for i, v := range values {
		list[i] = present(v)
	}
	return list
}
