package ingest

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"fairpull/campaign"
)

// refusal is what an error must say.
type refusal struct {
	line int    // of the first *SyntaxError
	kind error  // by errors.Is
	says string // a part of the message
}

func (r refusal) check(t *testing.T, err error) {
	t.Helper()
	var syntax *SyntaxError
	switch {
	case err == nil:
		t.Errorf("accepted; want an error that says %q", r.says)
	case !errors.As(err, &syntax):
		t.Errorf("%v (%T) is no *SyntaxError", err, err)
	case syntax.Line != r.line:
		t.Errorf("%v: line %d; want %d", err, syntax.Line, r.line)
	case !errors.Is(err, r.kind):
		t.Errorf("%v: is not %q", err, r.kind)
	case !strings.Contains(err.Error(), r.says):
		t.Errorf("%v: does not say %q", err, r.says)
	case syntax.File == "" || syntax.Cure == "":
		t.Errorf("%v: no file, or nothing to do", err)
	}
	if testing.Verbose() && err != nil {
		t.Log(err)
	}
}

func TestLogRefusals(t *testing.T) {
	const head = "time [s],drum_speed [rad/s],engine_speed [rpm]\n"
	const semicolons = "time [s];drum_speed [rad/s];engine_speed [rpm]\n"
	channels := func(name string, source campaign.ChannelSource) LogOptions {
		return LogOptions{Channels: campaign.ChannelMap{name: source}}
	}
	for _, c := range []struct {
		name, text string
		options    LogOptions
		want       refusal
	}{
		{"empty file", "", LogOptions{}, refusal{0, ErrNoData, "empty"}},
		{"blank lines", "\n\n\r\n", LogOptions{}, refusal{0, ErrNoData, "empty"}},
		{"header only", head, LogOptions{}, refusal{1, ErrNoData, "no row of numbers"}},
		{"header and empty rows", head + ",,\n,,\n", LogOptions{}, refusal{1, ErrNoData, "no row of numbers"}},
		{"no header", "0,40,3000\n1,41,3100\n", LogOptions{}, refusal{0, ErrNoHeader, "[channels]"}},
		{"other names", "t;v;n\n0;40;3000\n", LogOptions{}, refusal{1, ErrNoHeader, `"t | v | n"`}},
		{"other case", "Time [s];Drum_Speed [km/h]\n0;40\n", LogOptions{}, refusal{1, ErrNoHeader, "meant to be drum_speed"}},
		{"a slip of the pen", "time [s];drum sped [km/h]\n0;40\n", LogOptions{}, refusal{1, ErrNoHeader, "column drum sped meant"}},
		{"no time", "drum_speed [rad/s],engine_speed [rpm]\n40,3000\n", LogOptions{}, refusal{1, ErrMissing, "no time column"}},
		{"another time", "Time [s],drum_speed [rad/s]\n0,40\n", LogOptions{}, refusal{1, ErrMissing, "did you mean Time?"}},
		{"two kinds", "time [s],drum_speed [rad/s],drum_pulse [s]\n0,40,0\n", LogOptions{}, refusal{1, ErrTwoReadings, "drum_pulse"}},
		{"one name twice", "time [s],drum_speed [rad/s],drum_speed [km/h]\n0,40,50\n", LogOptions{}, refusal{1, ErrDuplicate, "drum_speed [km/h]"}},
		{"an unknown name twice", "time [s],drum_speed [rad/s],a,a\n0,40,1,2\n", LogOptions{}, refusal{1, ErrDuplicate, `"a"`}},
		{"two columns for one channel", "time [s],drum_speed [rad/s],v [rad/s]\n0,40,1\n", channels("drum_speed", campaign.ChannelSource{Column: "v"}), refusal{1, ErrDuplicate, "drum_speed"}},
		{"a mapped column that is not there", "time [s],v_Role\n0,40\n", channels("drum_speed", campaign.ChannelSource{Column: "v_Rolle", Unit: "km/h"}), refusal{1, ErrNoHeader, "v_Role meant to be v_Rolle"}},
		{"a mapped column unlike any", "time [s],speed\n0,40\n", channels("drum_speed", campaign.ChannelSource{Column: "v_Rolle", Unit: "km/h"}), refusal{1, ErrNoHeader, "[channels] names the column v_Rolle for drum_speed"}},
		{"a mapped engine speed that is not there", "time [s],drum_speed [rad/s],Drezahl\n0,40,1\n", channels("engine_speed", campaign.ChannelSource{Column: "Drehzahl", Unit: "rpm"}), refusal{1, ErrMissing, "did you mean Drezahl?"}},
		{"no unit", "time [s],drum_speed\n0,40\n", LogOptions{}, refusal{1, ErrUnit, `"drum_speed [km/h]"`}},
		{"no unit of time", "time,drum_speed [rad/s]\n0,40\n", LogOptions{}, refusal{1, ErrUnit, `"time [s]"`}},
		{"no unit of an optional channel", "time [s],drum_speed [rad/s],throttle\n0,40,1\n", LogOptions{}, refusal{1, ErrUnit, "throttle [%]"}},
		{"unknown unit", "time [s],drum_speed [furlongs]\n0,40\n", LogOptions{}, refusal{1, ErrUnit, "furlongs"}},
		{"unit of another dimension", "time [s],drum_speed [kPa]\n0,40\n", LogOptions{}, refusal{1, ErrUnit, "pressure"}},
		{"turns or pulses", "time [s],drum_speed [Hz]\n0,40\n", LogOptions{}, refusal{1, ErrUnit, "Hz"}},
		{"two readings of a unit", "time [s],drum_speed [1/s]\n0,40\n", LogOptions{}, refusal{1, ErrUnit, "more than one reading"}},
		{"units that differ", "time [s];drum_speed [km/h]\ns;rad/s\n0;40\n", LogOptions{DrumRadius: 0.25}, refusal{1, ErrContradicted, "rad/s"}},
		{"header against [channels]", "time [s];drum_speed [km/h]\n0;40\n", LogOptions{DrumRadius: 0.25, Channels: campaign.ChannelMap{"drum_speed": {Unit: "mph"}}}, refusal{1, ErrContradicted, "mph"}},
		{"surface speed without radius", "time [s];drum_speed [km/h]\n0;40\n", LogOptions{}, refusal{1, ErrUnit, "drum_radius_m"}},
		{"not a number", head + "0,40,3000\n1,1 83O.5,3100\n", LogOptions{}, refusal{3, ErrNotNumber, `column drum_speed [rad/s]: "1 83O.5"`}},
		{"NaN", head + "0,40,3000\n1,NaN,3100\n", LogOptions{}, refusal{3, ErrNotFinite, "leave the cell empty"}},
		{"infinity", head + "0,40,3000\n1,40,-inf\n", LogOptions{}, refusal{3, ErrNotFinite, "engine_speed"}},
		{"infinity in a column without meaning", "time [s],drum_speed [rad/s],x\n0,40,1\n1,40,Inf\n", LogOptions{}, refusal{3, ErrNotFinite, "column x"}},
		{"text in a column of numbers", "time [s],drum_speed [rad/s],x\n0,40,bad\n1,40,2\n", LogOptions{}, refusal{2, ErrNotNumber, "column x"}},
		{"beyond any number", head + "0,1e999,3000\n", LogOptions{}, refusal{2, ErrNotFinite, "1e999"}},
		{"beyond any number in SI", "time [h],drum_speed [rad/s]\n0,40\n1e308,40\n", LogOptions{}, refusal{3, ErrNotFinite, "too large for its unit"}},
		{"a time that is not there", head + "0,40,3000\n,41,3100\n2,42,3200\n", LogOptions{}, refusal{3, ErrMissing, "time"}},
		{"no drum speed at all", "time [s],drum_speed [rad/s],x\n0,,1\n1,,2\n", LogOptions{}, refusal{2, ErrNoData, "drum_speed"}},
		{"two marks in a column", semicolons + "0;40,5;3000\n1;41.5;3100\n", LogOptions{}, refusal{3, ErrTwoReadings, "one decimal mark"}},
		{"one number, two readings", "time [s];drum_speed [rad/s]\n0;10,234\n1;11,345\n", LogOptions{}, refusal{2, ErrTwoReadings, `drum_speed = { decimal = "," }`}},
		{"columns that disagree do not help", "time [s];drum_speed [rad/s];x;y\n0;10,234;0,5;0.5\n", LogOptions{}, refusal{2, ErrTwoReadings, "drum_speed"}},
		{"a point column does not settle a comma column", "time [s];drum_speed [rad/s]\n0.5;10,234\n", LogOptions{}, refusal{2, ErrTwoReadings, "drum_speed"}},
		{"comma for both", head + "0,5,40,5,3000\n", LogOptions{}, refusal{2, ErrRagged, "semicolons"}},
		{"short row", head + "0,40,3000\n1,41\n2,42,3200\n", LogOptions{}, refusal{3, ErrRagged, "2 cells where the header has 3"}},
		{"long row", semicolons + "0;40;3000\n1;41;3100;7\n", LogOptions{}, refusal{3, ErrRagged, "4 cells where the header has 3"}},
		{"cut short", head + "0,40,3000\n1,4", LogOptions{}, refusal{3, ErrRagged, "cut short"}},
		{"an empty line within", head + "0,40,3000\n\n2,42,3200\n", LogOptions{}, refusal{3, ErrRagged, "empty line"}},
		{"a line behind the data", head + "0,40,3000\nEnd of log\n", LogOptions{}, refusal{3, ErrNotNumber, "End of log"}},
		{"open quote", head + "0,\"40,3000\n1,41,3100\n", LogOptions{}, refusal{2, ErrQuote, "not closed"}},
		{"open quote in the last line", head + "0,40,\"3000", LogOptions{}, refusal{2, ErrQuote, "not closed"}},
		{"text behind a quote", head + "0,\"40\"5,3000\n", LogOptions{}, refusal{2, ErrQuote, "goes on"}},
		{"quote within", head + "0,4\"0,3000\n", LogOptions{}, refusal{2, ErrQuote, "quotation mark"}},
		{"zero byte", head + "0,40,3000\n1,4\x001,3100\n", LogOptions{}, refusal{3, ErrCharacters, "zero byte"}},
		{"UTF-16 without mark", "t\x00i\x00m\x00e\x00", LogOptions{}, refusal{1, ErrCharacters, "zero byte"}},
		{"UTF-16 cut short", "\xFF\xFEt\x00i", LogOptions{}, refusal{0, ErrCharacters, "UTF-16"}},
		{"UTF-32", "\xFF\xFE\x00\x00t\x00\x00\x00", LogOptions{}, refusal{0, ErrCharacters, "UTF-32"}},
		{"false UTF-8 mark", "\xEF\xBB\xBF" + head + "0,\xB0,3000\n", LogOptions{}, refusal{2, ErrCharacters, "UTF-8"}},
		{"clock in a column of seconds", "time [s],drum_speed [rad/s]\n14:05:00,40\n", LogOptions{}, refusal{2, ErrNotNumber, "take the unit out of the header"}},
		{"two parts of a clock", "time,drum_speed [rad/s]\n05:00.5,40\n", LogOptions{}, refusal{2, ErrTwoReadings, "hours and minutes"}},
		{"no clock time", "time,drum_speed [rad/s]\n14:05:00,40\n14:61:00,40\n", LogOptions{}, refusal{3, ErrNotNumber, "hh:mm:ss"}},
		{"a number among clock times", "time,drum_speed [rad/s]\n14:05:00,40\n50701,40\n", LogOptions{}, refusal{3, ErrNotNumber, "hh:mm:ss"}},
		{"clock and seconds", "time [s];drum_speed [rad/s]\nhh:mm:ss;rad/s\n14:05:00;40\n", LogOptions{}, refusal{1, ErrContradicted, "clock"}},
		{"a gap among pulses", "drum_pulse [s],engine_pulse [s]\n0.1,0.05\n0.2,\n0.3,0.25\n", LogOptions{}, refusal{3, ErrMissing, "engine_pulse"}},
		{"one pulse", "drum_pulse [s]\n0.1\n", LogOptions{}, refusal{2, ErrNoData, "single drum pulse"}},
		{"pulses without unit", "drum_pulse\n0.1\n0.2\n", LogOptions{}, refusal{1, ErrUnit, "drum_pulse [s]"}},
		{"wheel or crank", "engine_speed [rpm],power [kW]\n3000,20\n", LogOptions{}, refusal{1, ErrTwoReadings, "figures: wheel"}},
		{"wheel and crank", "engine_speed [rpm],power_wheel [kW],torque_crank [Nm]\n3000,20,60\n", LogOptions{}, refusal{1, ErrContradicted, "wheel or crank"}},
		{"a hole in a curve", "engine_speed [rpm],power_wheel [kW]\n3000,20\n3100,\n3200,21\n", LogOptions{}, refusal{3, ErrMissing, "power_wheel"}},
		{"a curve without speed", "power_wheel [kW]\n20\n", LogOptions{}, refusal{0, ErrNoHeader, "engine_speed with power"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ParseLog("log.csv", []byte(c.text), c.options)
			c.want.check(t, err)
		})
	}
}

// TestLogBounds holds that hostile sizes end in an error and not in a blow-up.
func TestLogBounds(t *testing.T) {
	wide := "time [s],drum_speed [rad/s]"
	for i := range MaxLogColumns {
		wide += fmt.Sprintf(",x%d", i)
	}
	many := "time [s],drum_speed [rad/s]" + strings.Repeat(",x", 1_000_000) + "\n"
	for _, c := range []struct {
		name, text string
		want       refusal
	}{
		{"a column too many", wide + "\n0,40" + strings.Repeat(",1", MaxLogColumns) + "\n", refusal{0, ErrTooLarge, "4098 columns"}},
		{"a million columns", many, refusal{0, ErrTooLarge, "1000002 columns"}},
		{"a long header", "time [s],drum_speed [rad/s]," + strings.Repeat("x", MaxLineBytes) + "\n0,40,1\n", refusal{0, ErrNoHeader, ""}},
		{"a long cell", "time [s],drum_speed [rad/s],x\n0,40," + strings.Repeat("x", MaxLineBytes) + "\n", refusal{2, ErrTooLarge, "bytes"}},
		{"a long number", "time [s],drum_speed [rad/s]\n0," + strings.Repeat("1", 10_000) + "\n", refusal{2, ErrNotNumber, "drum_speed"}},
		{"a long preamble", strings.Repeat("note\n", maxPreambleLines) + "time [s],drum_speed [rad/s]\n0,40\n", refusal{0, ErrNoHeader, ""}},
		{"one endless line", strings.Repeat("x", 8<<20), refusal{0, ErrNoHeader, ""}},
		{"many cells in a row", "time [s],drum_speed [rad/s]\n0,40" + strings.Repeat(",1", 1<<20) + "\n", refusal{2, ErrRagged, "cells where the header has 2"}},
		{"too many rows", "drum_pulse [s]\n1\n2\n" + strings.Repeat("\n", MaxLogRows), refusal{0, ErrTooLarge, "rows"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ParseLog("log.csv", []byte(c.text), LogOptions{})
			c.want.check(t, err)
			if err != nil && len(err.Error()) > 2000 {
				t.Errorf("the message has %d bytes", len(err.Error()))
			}
		})
	}
}

// TestRowsShareNoMemory holds that columns cannot grow into one another.
func TestRowsShareNoMemory(t *testing.T) {
	log, err := ParseLog("log.csv", []byte("time [s],drum_speed [rad/s],x\n0,40,1\n1,41,2\n\n\n"), LogOptions{})
	if err != nil {
		t.Fatal(err)
	}
	_ = append(log.Time, 99, 99, 99)
	_ = append(log.Channels[0].Values, 99, 99, 99)
	near(t, "drum speed", log.Channels[0].Values, []float64{40, 41})
	near(t, "x", log.Channels[1].Values, []float64{1, 2})
}
