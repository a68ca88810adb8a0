package report

type (
	roadJSON struct {
		Format     string           `json:"format"`
		Campaign   string           `json:"campaign"`
		Claim      string           `json:"claim,omitempty"`
		Baseline   string           `json:"baseline"`
		Candidate  string           `json:"candidate"`
		Confidence float64          `json:"confidence"`
		Verdict    string           `json:"verdict"`
		Shown      bool             `json:"shown"`
		Standing   string           `json:"standing"`
		Answers    []roadAnswerJSON `json:"answers"`
		Weighted   *roadWeightJSON  `json:"weighted,omitempty"`
		Inputs     []RoadInput      `json:"inputs"`
		Cautions   []string         `json:"cautions"`
		Draws      int              `json:"draws"`
	}
	roadAnswerJSON struct {
		Kind    RoadKind         `json:"kind"`
		Gear    int              `json:"gear,omitempty"`
		From    float64          `json:"from_mps,omitempty"`
		To      float64          `json:"to_mps,omitempty"`
		Way     float64          `json:"way_m,omitempty"`
		Unit    string           `json:"unit"`
		Without *roadFigureJSON  `json:"without"`
		With    *roadFigureJSON  `json:"with"`
		Change  *roadFigureJSON  `json:"change"`
		Ends    []string         `json:"ends,omitempty"`
		Missing *roadMissingJSON `json:"missing,omitempty"`
	}
	roadFigureJSON struct {
		Value   amount `json:"value"`
		SE      amount `json:"se"`
		Lo      amount `json:"lo"`
		Hi      amount `json:"hi"`
		AtLeast amount `json:"at_least"`
		AtMost  amount `json:"at_most"`
	}
	roadMissingJSON struct {
		Gear    int     `json:"gear,omitempty"`
		RPM     float64 `json:"rpm,omitempty"`
		FromRPM float64 `json:"measured_from_rpm,omitempty"`
		ToRPM   float64 `json:"measured_to_rpm,omitempty"`
		Speed   float64 `json:"no_force_left_at_mps,omitempty"`
	}
	roadWeightJSON struct {
		Gain    roadFigureJSON `json:"gain_pct"`
		Covered float64        `json:"covered"`
		Source  string         `json:"source"`
		Bins    []roadBinJSON  `json:"time"`
	}
	roadBinJSON struct {
		From  float64 `json:"from_rpm"`
		To    float64 `json:"to_rpm"`
		Share float64 `json:"share"`
	}
)

// jsonTimes returns the figure times k.
func (f RoadFigure) jsonTimes(k float64) *roadFigureJSON {
	return &roadFigureJSON{amount(k * f.Value), amount(k * f.SE), amount(k * f.Lo), amount(k * f.Hi), amount(k * f.AtLeast), amount(k * f.AtMost)}
}

// JSON returns the answers, format fairpull.on-road/1: SI, unrounded; what is not known
// is null. Change is with less without.
func (r *Road) JSON() ([]byte, error) {
	c := r.comparison()
	out := roadJSON{
		Format: "fairpull.on-road/1", Campaign: r.Gain.Campaign.ID, Baseline: c.Baseline, Candidate: c.Candidate, Confidence: c.Confidence,
		Verdict: string(c.Verdict), Shown: r.shown(), Standing: r.Standing(), Answers: []roadAnswerJSON{}, Inputs: r.Inputs, Cautions: r.cautions(), Draws: r.Draws,
	}
	if r.Claim != nil {
		out.Claim = r.Claim.Number
	}
	for i := range r.Answers {
		out.Answers = append(out.Answers, r.Answers[i].json())
	}
	if w := r.Weighted; w != nil {
		out.Weighted = &roadWeightJSON{Gain: *w.Gain.jsonTimes(100), Covered: w.Covered, Source: w.Source, Bins: []roadBinJSON{}}
		for _, b := range w.Bins {
			out.Weighted.Bins = append(out.Weighted.Bins, roadBinJSON{b.FromRPM, b.ToRPM, b.Share})
		}
	}
	return indented(out)
}

func (a *RoadAnswer) json() roadAnswerJSON {
	out := roadAnswerJSON{Kind: a.Kind, Gear: a.Gear, From: a.From, To: a.To, Way: a.Way, Unit: "s"}
	if a.Kind == RoadTop {
		out.Unit = "m/s"
	}
	if m := a.Missing; m != nil {
		out.Missing = &roadMissingJSON{m.Gear, m.RPM, m.FromRPM, m.ToRPM, m.Speed}
		return out
	}
	out.Without, out.With, out.Change = a.Without.jsonTimes(1), a.With.jsonTimes(1), a.Change.jsonTimes(1)
	if a.Kind == RoadTop {
		out.Ends = a.Ends[:]
	}
	return out
}
