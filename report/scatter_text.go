package report

import (
	"bufio"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
)

// Text writes the scatter for a terminal: a table, for each level how alike the
// campaigns are and a picture of them over time, and where it comes from.
func (s *Scatter) Text(w io.Writer, o TextOptions) error {
	out := bufio.NewWriter(w)
	t := &terminal{out: out, o: o, width: max(80, min(o.Width, 160))}
	t.title(s.title())
	t.words("", s.subtitle())
	if len(s.Campaigns) > 0 {
		t.line("")
		s.tableText(t)
		for i := range s.Levels {
			s.levelText(t, &s.Levels[i])
		}
	}
	s.campaignsText(t)
	return out.Flush()
}

// scatterRow is one row of the table of SDs.
type scatterRow struct {
	name string
	sd   [3]float64
	df   string
}

func (s *Scatter) rows() []scatterRow {
	var rows []scatterRow
	for i := range s.Levels {
		l := &s.Levels[i]
		df := "–"
		if l.DF > 0 {
			df = degrees(l.DF)
		}
		rows = append(rows, scatterRow{name: l.Name, sd: l.SD, df: df})
	}
	limits := func(sd [3]float64) (out [3]float64) {
		for i := range sd {
			out[i] = limitFactor * sd[i]
		}
		return out
	}
	return append(rows,
		scatterRow{"one pull, from setup to setup", s.Reproducibility, ""},
		scatterRow{"repeatability limit r", limits(s.Repeatability), ""},
		scatterRow{"reproducibility limit R", limits(s.Reproducibility), ""})
}

// limitFactor times an SD is what two single results differ by at most, in 95 of
// 100 cases: 1.96·√2, rounded as ISO 5725-6 does (from memory).
const limitFactor = 2.8

func (s *Scatter) tableText(t *terminal) {
	t.line(t.styled(styleDim, "  "+padRight("standard deviation of torque", 32)+padLeft(scalarNames[0], 12)+padLeft(scalarNames[1], 13)+padLeft(scalarNames[2], 13)+padLeft("df", 7)))
	for _, r := range s.rows() {
		line := "  " + padRight(r.name, 32) + padLeft(sdWords(r.sd[0]), 12) + padLeft(sdWords(r.sd[1]), 13) + padLeft(sdWords(r.sd[2]), 13) + padLeft(r.df, 7)
		t.line(line)
	}
	t.words("  ", limitNote)
	if d := s.DriftRate; d.DF > 0 {
		t.words("  ", s.driftNote())
	}
}

const limitNote = "Two single pulls of one configuration differ by no more than the limits in 95 of 100 cases: r within a setup, R across setups (ISO 5725)."

func (s *Scatter) driftNote() string {
	return "The drift of a session differs from campaign to campaign by " + fixed(100*s.DriftRate.SD, 2) + " % an hour (SD, " + degrees(s.DriftRate.DF) + " df)."
}

func (s *Scatter) levelText(t *terminal, l *ScatterLevel) {
	t.section(capitalised(l.Name))
	t.words("  ", capitalised(l.alike()))
	if len(l.Points) == 0 {
		return
	}
	t.words("  ", l.trend())
	if len(l.Points) >= 2 {
		l.picture(t)
	}
}

// pictureRows is the height of a picture of scatter in a terminal.
const pictureRows = 9

// picture draws the SD of each campaign over time, with its limits, in characters.
func (l *ScatterLevel) picture(t *terminal) {
	top := l.top()
	columns := t.width - 12
	cells := make([][]rune, pictureRows)
	for r := range cells {
		cells[r] = []rune(strings.Repeat(" ", columns))
	}
	row := func(v float64) int {
		return min(max(int(math.Floor((1-v/top)*pictureRows)), 0), pictureRows-1)
	}
	for c := range columns {
		if !math.IsNaN(l.RowSD[0]) {
			cells[row(l.RowSD[0])][c] = '┄'
		}
	}
	first, last := l.Points[0].At, l.Points[len(l.Points)-1].At
	for _, p := range l.Points {
		c := 0
		if span := last.Sub(first); span > 0 {
			c = int(math.Round(float64(columns-1) * float64(p.At.Sub(first)) / float64(span)))
		}
		for r := row(math.Min(p.Hi, top)); r <= row(p.Lo); r++ {
			if cells[r][c] != '●' {
				cells[r][c] = '│'
			}
		}
		cells[row(math.Min(p.SD, top))][c] = '●'
	}
	for r, line := range cells {
		axis := ""
		if r == 0 || r == pictureRows/2 || r == pictureRows-1 {
			axis = fixed(100*top*(1-(float64(r)+0.5)/pictureRows), 2) + " %"
		}
		t.line("  " + padLeft(axis, 8) + " " + string(line))
	}
	ends := day(first)
	t.line(t.styled(styleDim, "           "+ends+padLeft(day(last), columns-len(ends))))
	t.words("  ", "● SD of "+l.rowName()+" in one campaign, │ its 95 % limits, ┄ all campaigns together.")
}

// rowName says what the SD of a point is of.
func (l *ScatterLevel) rowName() string {
	if l.Key == "pull" || !(l.Pulls > 0) {
		return "a pull"
	}
	return "a mean of " + strings.TrimSuffix(fixed(l.Pulls, 1), ".0") + " pulls"
}

// top is the upper end of a picture: above every SD, and above limits that are not
// absurdly wide.
func (l *ScatterLevel) top() float64 {
	top := 0.0
	for _, p := range l.Points {
		top = max(top, p.SD, min(p.Hi, 2*p.SD))
	}
	if top == 0 || math.IsNaN(top) {
		return 0.01
	}
	return 1.1 * top
}

// mostListed bounds the campaigns that a terminal lists.
const mostListed = 40

func (s *Scatter) campaignsText(t *terminal) {
	if len(s.Campaigns) > 0 {
		t.section("Where it comes from")
		t.line(t.styled(styleDim, "  "+padRight("campaign", 32)+padRight("first pull", 12)+padRight("vehicle", 16)+padLeft("setup df", 9)+padLeft("block df", 9)+padLeft("pull df", 8)))
		for i := range s.Campaigns {
			c := &s.Campaigns[len(s.Campaigns)-1-i]
			if i == mostListed {
				t.words("  ", "… and "+plural(len(s.Campaigns)-i, "earlier campaign"))
				break
			}
			name := cut(c.Campaign, 31)
			line := "  " + padRight(name, 32) + padRight(day(c.Started), 12) + padRight(cut(c.Vehicle, 15), 16) + padLeft(degrees(c.SetupDF), 9) + padLeft(degrees(c.BlockDF), 9) + padLeft(degrees(c.PullDF), 8)
			if c.Curves {
				line += " curves"
			}
			t.line(line)
		}
	}
	if len(s.LeftOut) > 0 {
		t.section("Left out")
		for _, l := range s.LeftOut {
			t.words("  ", clean(l.Campaign)+" since "+l.At.Format(time.DateOnly)+" by "+clean(l.Who)+": "+cleanTo(l.Why, 400))
		}
	}
	if len(s.Waiting)+len(s.Unusable)+len(s.Repeated) > 0 {
		t.section("Not in it")
	}
	for i, u := range s.Unusable {
		if i == mostListed {
			t.words("  ", "… and "+strconv.Itoa(len(s.Unusable)-i)+" more like these")
			break
		}
		t.words("  ", clean(u.Campaign)+": "+cleanTo(u.Why, 400)+". Exclude or answer the pulls, and judge again")
	}
	for i, r := range s.Repeated {
		if i == mostListed {
			t.words("  ", "… and "+strconv.Itoa(len(s.Repeated)-i)+" more like these")
			break
		}
		t.words("  ", clean(r.Campaign)+": "+repeatedWords(r))
	}
	if n := len(s.Waiting); n > 0 {
		names := s.Waiting
		more := ""
		if n > maxFlags {
			names, more = names[:maxFlags], " and "+strconv.Itoa(n-maxFlags)+" more"
		}
		cleaned := make([]string, len(names))
		for i := range names {
			cleaned[i] = clean(names[i])
		}
		t.words("  ", "No result rests on what these campaigns say today: "+strings.Join(cleaned, ", ")+more+". To judge them: fairpull judge --all")
	}
}

// repeatedWords says why a campaign does not count that has logs of another.
func repeatedWords(r ScatterRepeated) string {
	return "it has logs of " + clean(r.With) + ", and a pull counts once"
}
