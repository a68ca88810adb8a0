package ingest

import (
	"errors"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
)

func TestPullsRefusals(t *testing.T) {
	with := func(old, new string) string {
		t.Helper()
		if !strings.Contains(smallPulls, old) {
			t.Fatalf("the smallest pulls.csv does not hold %q", old)
		}
		return strings.Replace(smallPulls, old, new, 1)
	}
	weather := func(header, first, second string) string {
		return strings.NewReplacer("setup,log", "setup,log,"+header, "logs/1.csv", "logs/1.csv,"+first, "logs/2.csv", "logs/2.csv,"+second).Replace(smallPulls)
	}
	semicolons := func(text string) string { return strings.ReplaceAll(text, ",", ";") }
	for _, c := range []struct {
		name, text string
		want       refusal
	}{
		{"empty", "\n", refusal{0, ErrNoData, "no header row"}},
		{"header only", "pull,started,configuration,setup,log\n", refusal{0, ErrNoData, "no pull is listed"}},
		{"no setup", with("setup,log", "strap,log"), refusal{1, ErrMissing, "column setup"}},
		{"a misspelt column", with("configuration", "configuraton"), refusal{1, ErrMissing, "is the column configuraton meant?"}},
		{"a column twice", with("setup,log", "setup,setup"), refusal{1, ErrDuplicate, "column setup"}},
		{"a short row", with("s1,logs/1.csv", "s1"), refusal{2, ErrRagged, "4 cells where the header has 5"}},
		{"a long row", with("s1,logs/1.csv", "s1,logs/1.csv,more"), refusal{2, ErrRagged, "6 cells where the header has 5"}},
		{"an open quote", with("s1,logs/1.csv", "\"s1,logs/1.csv"), refusal{2, ErrQuote, "not closed"}},
		{"a zero byte", with("s1", "s\x00"), refusal{2, ErrCharacters, "zero byte"}},
		{"a pull twice", with("\n2,", "\n1,"), refusal{3, ErrNotPossible, `pull "1" is named twice`}},
		{"no name", with("\n2,", "\n,"), refusal{3, ErrNotPossible, "is empty"}},
		{"no setup in a row", with("s1,logs/1.csv", ",logs/1.csv"), refusal{2, ErrNotPossible, "column setup"}},
		{"undeclared configuration", with(",B,", ",b,"), refusal{3, ErrNotPossible, `configuration "b" is not declared`}},
		{"no pull of the candidate", with(",B,", ",A,"), refusal{12, ErrNotPossible, `candidate "B" has no usable pull`}},
		{"a log twice", with("logs/2.csv", "logs/1.csv"), refusal{3, ErrNotPossible, `that of pull "1" already`}},
		{"no log", with("logs/2.csv", ""), refusal{3, ErrMissing, "column log"}},
		{"a log that is not there", with("logs/2.csv", "logs/3.csv"), refusal{3, ErrMissing, "logs/3.csv"}},
		{"no start", with("2026-03-02T14:05:00+01:00", ""), refusal{2, ErrMissing, "column started"}},
		{"no offset", with("14:05:00+01:00", "14:05:00"), refusal{2, ErrTwoReadings, "offset"}},
		{"another date", with("2026-03-02T14:05:00+01:00", "02.03.2026 14:05"), refusal{2, ErrNotPossible, "RFC 3339"}},
		{"no such day", with("2026-03-02", "2026-02-30"), refusal{2, ErrNotPossible, "RFC 3339"}},
		{"one start for two", with("14:25:00+01:00", "13:05:00Z"), refusal{3, ErrNotPossible, "same moment"}},
		{"an answer for a reason", weather("excluded", "no", ""), refusal{2, ErrTwoReadings, "the reason"}},
		{"another answer", weather("excluded", "TRUE", ""), refusal{2, ErrTwoReadings, "the reason"}},
		{"a mark for a reason", weather("excluded", ".", ""), refusal{2, ErrTwoReadings, "the reason"}},
		{"nothing for a reason", weather("excluded", "N/A", ""), refusal{2, ErrTwoReadings, "the reason"}},
		{"a dash for an answer", weather("answer", "-", ""), refusal{2, ErrTwoReadings, "column answer"}},
		{"a point for an answer", weather("answer", "", "."), refusal{3, ErrTwoReadings, "column answer"}},
		{"a cross for an answer", weather("answer", "x", ""), refusal{2, ErrTwoReadings, "column answer"}},
		{"a number for an answer", weather("answer", "12", ""), refusal{2, ErrTwoReadings, "column answer"}},
		{"yes for an answer", weather("answer", "Yes", ""), refusal{2, ErrTwoReadings, "column answer"}},
		{"the only candidate excluded", weather("excluded", "", "slipped"), refusal{12, ErrNotPossible, `candidate "B" has no usable pull`}},
		{"a pressure in words", weather("pressure_kpa", "high", "98"), refusal{2, ErrNotNumber, "column pressure_kpa"}},
		{"a pressure without end", weather("pressure_kpa", "98", "inf"), refusal{3, ErrNotFinite, "column pressure_kpa"}},
		{"a pressure in hPa", weather("pressure_kpa,temperature_degc,relative_humidity_pct", "985.2,21,45", "98.5,21,45"), refusal{2, ErrNotPossible, "985.2 kPa"}},
		{"two humidities", weather("relative_humidity_pct,wet_bulb_degc", "45,15", "45,"), refusal{2, ErrNotPossible, "humidity is given twice"}},
		{"a wet bulb above the dry", weather("pressure_kpa,temperature_degc,wet_bulb_degc", "98.5,21,25", "98.5,21,15"), refusal{2, ErrNotPossible, "wet bulb"}},
		{"two marks in a column", strings.ReplaceAll(semicolons(weather("pressure_kpa", "98.52", "98_5")), "98_5", "98,5"), refusal{3, ErrTwoReadings, "another decimal mark"}},
		{"one number, two readings", semicolons(weather("pressure_kpa", "101.325", "")), refusal{2, ErrTwoReadings, "column pressure_kpa"}},
		{"a correction that triples", weather("correction_applied,correction_factor", "none,3", ","), refusal{2, ErrNotPossible, "correction_factor"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Open(smallFolder(map[string]string{PullsFile: c.text}))
			c.want.check(t, err)
		})
	}
}

// TestReasonsAndAnswers holds that a short text in words is taken.
func TestReasonsAndAnswers(t *testing.T) {
	for _, text := range []string{"slipped", "no fuel", "x-ray of the strap: fine", "\u6253\u6ed1", "\u71b1"} {
		data := "pull,started,configuration,setup,log,excluded,answer\n1,2026-03-02T14:05:00Z,A,s,l," + text + ",\n2,2026-03-02T14:06:00Z,B,s,m,," + text + "\n"
		pulls, _, err := readPulls(PullsFile, []byte(data), nil)
		if err != nil {
			t.Errorf("%q: %v", text, err)
		} else if pulls[0].Excluded != text || pulls[1].Values["answer"] != text {
			t.Errorf("%q: got %q and %q", text, pulls[0].Excluded, pulls[1].Values["answer"])
		}
	}
}

// TestPullsDialects reads one table in several dialects.
func TestPullsDialects(t *testing.T) {
	for _, c := range []struct{ name, text string }{
		{"commas", "pull,started,configuration,setup,log,pressure_kpa,note\n1,2026-03-02T14:05:00+01:00,A,s1,logs/1.csv,101.325,\"a, b\"\n"},
		{"semicolons, comma", "pull;started;configuration;setup;log;pressure_kpa;note;temperature_degc\n1;2026-03-02T14:05:00+01:00;A;s1;logs/1.csv;101,325;a, b;21,5\n"},
		{"semicolons, point", "pull;started;configuration;setup;log;pressure_kpa;note\n1;2026-03-02T14:05:00+01:00;A;s1;logs/1.csv;101.3250;a, b\n"},
		{"tabs, CR LF, mark", "\xEF\xBB\xBFpull\tstarted\tconfiguration\tsetup\tlog\tpressure_kpa\tnote\r\n1\t2026-03-02T14:05:00+01:00\tA\ts1\tlogs/1.csv\t101.3250\ta, b\r\n"},
		{"other order, blanks, empty rows", "\n note , log,setup,configuration,started,pull,pressure_kpa,\n,,,,,,,\n\"a, b\", logs/1.csv , s1,A,2026-03-02 13:05:00z,1, 101.325 ,\n\n,,,,,,,\n"},
		{"all in quotes", "\"pull\",\"started\",\"configuration\",\"setup\",\"log\",\"pressure_kpa\",\"note\"\n\"1\",\"2026-03-02T14:05:00+01:00\",\"A\",\"s1\",\"logs/1.csv\",\"101.325\",\"a, b\"\n"},
	} {
		pulls, extra, err := readPulls(PullsFile, []byte(c.text), nil)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		p := pulls[0]
		if len(pulls) != 1 || p.Name != "1" || p.Configuration != "A" || p.Setup != "s1" || p.Log != "logs/1.csv" || p.Values["note"] != "a, b" || len(extra) != 1 || extra[0] != "note" {
			t.Errorf("%s: %+v, extra %v", c.name, p, extra)
		}
		if !p.Started.Equal(time.Date(2026, 3, 2, 13, 5, 0, 0, time.UTC)) {
			t.Errorf("%s: started %v", c.name, p.Started)
		}
		near(t, c.name+": pressure", []float64{float64(*p.Weather.Pressure)}, []float64{101325})
	}
}

// TestStartTimes reads the examples of RFC 3339, section 5.8. The one with a
// leap second is refused: Go's time has none.
func TestStartTimes(t *testing.T) {
	for _, c := range []struct {
		text string
		want time.Time
	}{
		{"1985-04-12T23:20:50.52Z", time.Date(1985, 4, 12, 23, 20, 50, 520_000_000, time.UTC)},
		{"1996-12-19T16:39:57-08:00", time.Date(1996, 12, 20, 0, 39, 57, 0, time.UTC)},
		{"1937-01-01T12:00:27.87+00:20", time.Date(1937, 1, 1, 11, 40, 27, 870_000_000, time.UTC)},
	} {
		var table table
		if got := table.readTime(2, c.text); !got.Equal(c.want) || table.faults.err() != nil {
			t.Errorf("%s: got %v, %v; want %v", c.text, got, table.faults.err(), c.want)
		}
	}
	for _, text := range []string{"1990-12-31T23:59:60Z", "2026-03-02T4:05:00Z", "2026-03-02T14:05:00,5Z", "2026-03-02T14:05Z", "2026-03-02", "yesterday"} {
		var table table
		if table.readTime(2, text); table.faults.err() == nil {
			t.Errorf("%s: accepted", text)
		}
	}
}

// TestProcedureColumns holds that a column of a set point is read as numbers,
// and that others stay text.
func TestProcedureColumns(t *testing.T) {
	points := []campaign.SetPoint{{Key: "tyre_pressure_kpa"}, {Key: "oil_temp_degc"}}
	text := "pull;started;configuration;setup;log;tyre_pressure_kpa;oil_temp;fuel\n1;2026-03-02T14:05:00Z;A;s;l;250,5;90;98\n2;2026-03-02T14:06:00Z;A;s;m;;91,5;E5\n"
	pulls, _, err := readPulls(PullsFile, []byte(text), points)
	if err != nil {
		t.Fatal(err)
	}
	if m := pulls[0].Measured; m["tyre_pressure_kpa"] != 250.5 || m["oil_temp"] != 90 || len(m) != 2 {
		t.Errorf("first pull: %v", m)
	}
	if m := pulls[1].Measured; m["oil_temp"] != 91.5 || len(m) != 1 || pulls[1].Values["fuel"] != "E5" {
		t.Errorf("second pull: %v, %v", m, pulls[1].Values)
	}
	_, _, err = readPulls(PullsFile, []byte(strings.Replace(text, "250,5", "warm", 1)), points)
	refusal{2, ErrNotNumber, "column tyre_pressure_kpa"}.check(t, err)
}

func TestPullsBounds(t *testing.T) {
	var rows strings.Builder
	rows.WriteString("pull,started,configuration,setup,log\n")
	for range MaxPulls + 1 {
		rows.WriteString("1,2026-03-02T14:05:00Z,A,s,l\n")
	}
	_, _, err := readPulls(PullsFile, []byte(rows.String()), nil)
	refusal{MaxPulls + 2, ErrTooLarge, "20000 pulls"}.check(t, err)
	_, _, err = readPulls(PullsFile, []byte("pull,started,configuration,setup,log"+strings.Repeat(",x", 1_000_000)+"\n"), nil)
	if err == nil {
		t.Error("a million columns: accepted")
	}
	_, err = Open(smallFolder(map[string]string{PullsFile: strings.Repeat("bad,row\n", 1000)}))
	var list *Errors
	if err == nil || errors.As(err, &list) && len(list.List) > maxListed {
		t.Errorf("a thousand bad rows: %v", err)
	}
}
