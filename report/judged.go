package report

import (
	"bufio"
	"encoding/json"
	"io"
	"math"
	"time"
)

// Day writes a day as ISO 8601 has it.
func Day(t time.Time) string { return t.Format(time.DateOnly) }

// JudgedRow is what came of one campaign when all were judged.
type JudgedRow struct {
	Campaign string
	Answers  []JudgedAnswer
	Result   string // id of the kept result; empty: none
	Changed  bool
	Problem  string // why it could not be judged; empty: it could
}

// JudgedAnswer is the verdict on one candidate: gain with its interval on the log
// scale, NaN where there is none.
type JudgedAnswer struct {
	Candidate, Verdict string
	Gain, Lo, Hi       float64
}

// words says an answer in half a line: "B gain shown, 6.7 % (5.5 % to 7.9 %)".
func (a JudgedAnswer) words() string {
	s := clean(a.Candidate) + " " + a.Verdict
	if math.IsNaN(a.Gain) {
		return s
	}
	t := gainWords(a.Gain, a.Lo, a.Hi, a.Lo, !math.IsNaN(a.Lo))
	if math.IsNaN(a.Lo) {
		return s + ", " + t.Value + " % (no interval)"
	}
	return s + ", " + t.Value + " % (" + t.Interval + ")"
}

// Judged writes a line for each campaign as it is judged, or in JSON all of them as
// one object, format fairpull.judged/1, at the end.
type Judged struct {
	out    *bufio.Writer
	asJSON bool
	rows   []judgedJSON
}

type (
	judgedJSON struct {
		Campaign string             `json:"campaign"`
		Answers  []judgedAnswerJSON `json:"answers"`
		Result   *string            `json:"result"`
		Changed  bool               `json:"changed"`
		Problem  *string            `json:"problem"`
	}
	judgedAnswerJSON struct {
		Candidate string `json:"candidate"`
		Verdict   string `json:"verdict"`
		Gain      amount `json:"gain_pct"`
		Lo        amount `json:"lo_pct"`
		Hi        amount `json:"hi_pct"`
	}
)

// NewJudged returns a Judged that writes to w.
func NewJudged(w io.Writer, asJSON bool) *Judged {
	return &Judged{out: bufio.NewWriter(w), asJSON: asJSON, rows: []judgedJSON{}}
}

// Line takes one campaign.
func (j *Judged) Line(r JudgedRow) {
	if j.asJSON {
		j.rows = append(j.rows, r.json())
		return
	}
	j.out.WriteString(clean(r.Campaign) + "  ")
	if r.Problem != "" {
		j.out.WriteString("not judged: " + cleanTo(r.Problem, 400))
	}
	for i, a := range r.Answers {
		if i > 0 {
			j.out.WriteString("; ")
		}
		j.out.WriteString(a.words())
	}
	if r.Problem == "" && !r.Changed && r.Result != "" {
		j.out.WriteString(" – as before")
	}
	j.out.WriteString("\n")
	j.out.Flush() // an error comes back at the end
}

func (r JudgedRow) json() judgedJSON {
	row := judgedJSON{Campaign: r.Campaign, Answers: []judgedAnswerJSON{}, Changed: r.Changed}
	if r.Result != "" {
		row.Result = &r.Result
	}
	if r.Problem != "" {
		row.Problem = &r.Problem
	}
	for _, a := range r.Answers {
		row.Answers = append(row.Answers, judgedAnswerJSON{a.Candidate, a.Verdict, amount(percent(a.Gain)), amount(percent(a.Lo)), amount(percent(a.Hi))})
	}
	return row
}

// End writes what is left, and returns the first error of all writing.
func (j *Judged) End() error {
	if j.asJSON {
		encoder := json.NewEncoder(j.out)
		encoder.SetEscapeHTML(false)
		encoder.SetIndent("", "  ")
		err := encoder.Encode(struct {
			Format    string       `json:"format"`
			Campaigns []judgedJSON `json:"campaigns"`
		}{"fairpull.judged/1", j.rows})
		if err != nil {
			return err
		}
	}
	return j.out.Flush()
}
