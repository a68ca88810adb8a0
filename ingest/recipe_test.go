package ingest

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"fairpull/campaign"
)

// loggerFile is what an invented logger writes: preamble, names, units, semicolons
// and decimal commas.
const loggerFile = "Pruefstand 2\nDatum;2026-03-02\n\nZeit;v_Rolle;Drehzahl;O2;Notiz\nms;km/h;1/min;;\n0;32,60;1894;1,00;los\n10;32,65;1900;0,99;\n20;32,70;1903;0,99;\n"

var loggerRecipe = campaign.Recipe{
	Name: "logger", Files: "lauf-*.csv", Header: []string{"Zeit", "v_Rolle", "Drehzahl"}, Delimiter: ';',
	Channels: campaign.ChannelMap{
		"time":         {Column: "Zeit", Unit: "ms"},
		"drum_speed":   {Column: "v_Rolle", Unit: "km/h"},
		"engine_speed": {Column: "Drehzahl", Unit: "1/min"},
	},
}

func TestRecognise(t *testing.T) {
	any := loggerRecipe
	any.Name, any.Files = "any", ""
	units := loggerRecipe
	units.Name, units.Files, units.Header = "units", "", []string{"Zeit [ms]", "v_Rolle"}
	for _, c := range []struct {
		what    string
		recipes []campaign.Recipe
		name    string
		data    string
		want    string
	}{
		{"name and header", []campaign.Recipe{loggerRecipe}, "lauf-7.csv", loggerFile, "logger"},
		{"another name", []campaign.Recipe{loggerRecipe}, "run-7.csv", loggerFile, ""},
		{"any name", []campaign.Recipe{any}, "run-7.csv", loggerFile, "any"},
		{"another delimiter", []campaign.Recipe{any}, "a.csv", strings.ReplaceAll(loggerFile, ";", "\t"), ""},
		{"a column is missing", []campaign.Recipe{any}, "a.csv", strings.Replace(loggerFile, "v_Rolle", "v", 1), ""},
		{"windows-1252 and a quotation", []campaign.Recipe{any}, "a.csv", strings.Replace(strings.Replace(loggerFile, "Pruef", "Pr\xfcf", 1), "Zeit", `"Zeit"`, 1), "any"},
		{"names with units", []campaign.Recipe{units}, "a.csv", "Zeit [ms];v_Rolle [km/h]\n0;1\n1;2\n", "units"},
		{"empty", []campaign.Recipe{any}, "a.csv", "", ""},
		{"no recipe", nil, "a.csv", loggerFile, ""},
		{"two that say the same", []campaign.Recipe{loggerRecipe, any}, "lauf-7.csv", loggerFile, "logger"},
	} {
		got, err := Recognise(c.recipes, c.name, []byte(c.data))
		name := ""
		if got != nil {
			name = got.Name
		}
		if err != nil || name != c.want {
			t.Errorf("%s: recipe %q, %v; want %q", c.what, name, err, c.want)
		}
	}
}

// Of two recipes that fit, the one that says more is taken where it says the rest
// alike; else somebody is asked.
func TestRecogniseAsksWhereTwoFit(t *testing.T) {
	more := loggerRecipe
	more.Name, more.Header = "more", append([]string{"O2"}, loggerRecipe.Header...)
	more.Channels = campaign.ChannelMap{"lambda": {Column: "O2"}}
	for channel, source := range loggerRecipe.Channels {
		more.Channels[channel] = source
	}
	got, err := Recognise([]campaign.Recipe{loggerRecipe, more}, "lauf-1.csv", []byte(loggerFile))
	if err != nil || got == nil || got.Name != "more" {
		t.Errorf("recipe %v, %v", got, err)
	}
	other := more
	other.Name, other.Channels = "other", campaign.ChannelMap{"afr": {Column: "O2"}}
	got, err = Recognise([]campaign.Recipe{more, other}, "lauf-1.csv", []byte(loggerFile))
	if !errors.Is(err, ErrTwoReadings) || !strings.Contains(err.Error(), "more, other") || got != nil {
		t.Errorf("recipe %v, %v; want to be asked", got, err)
	}
}

func TestReadTable(t *testing.T) {
	got, err := ReadTable("lauf.csv", []byte(loggerFile))
	want := &Table{Delimiter: ';', Line: 4, Columns: []TableColumn{
		{Name: "Zeit", Unit: "ms", First: []string{"0", "10", "20"}},
		{Name: "v_Rolle", Unit: "km/h", First: []string{"32,60", "32,65", "32,70"}},
		{Name: "Drehzahl", Unit: "1/min", First: []string{"1894", "1900", "1903"}},
		{Name: "O2", First: []string{"1,00", "0,99", "0,99"}},
		{Name: "Notiz", First: []string{"los", "", ""}},
	}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("table %+v, %v\nwant %+v", got, err, want)
	}
	for text, first := range map[string]TableColumn{
		"time [s],v [km/h]\n0.0,1.5\n0.1,1.6\n":                {Name: "time", Unit: "s", First: []string{"0.0", "0.1"}},
		"a\tb\r\n1,5\t2\r\n2,5\t3\r\n":                         {Name: "a", First: []string{"1,5", "2,5"}},
		"t_s,drum_speed_kmh,x\n12:00:01.5,2,3\n12:00:02,3,4\n": {Name: "t_s", Unit: "s", First: []string{"12:00:01.5", "12:00:02"}},
		"x;y;\n[s];(km/h);\n1;2;\n3;4;\n":                      {Name: "x", Unit: "s", First: []string{"1", "3"}},
	} {
		got, err := ReadTable("a.csv", []byte(text))
		if err != nil || !reflect.DeepEqual(got.Columns[0], first) {
			t.Errorf("%q: %+v, %v; want first %+v", text, got, err, first)
		}
	}
}

func TestReadTableRefusals(t *testing.T) {
	for text, kind := range map[string]error{
		"":                               ErrNoHeader,
		"a,b\n":                          ErrNoHeader,
		"1,2\n3,4\n":                     ErrNoHeader,
		"only words\nand more\n":         ErrNoHeader,
		"a,b\nx,y\nz,w\n":                ErrNoHeader,
		"time\n1\n2\n3\n":                ErrNoHeader,
		"a,b\tc,d\n1,2\t3,4\n5,6\t7,8\n": ErrTwoReadings,
		"a\x00b\n":                       ErrCharacters,
	} {
		if got, err := ReadTable("a.csv", []byte(text)); !errors.Is(err, kind) {
			t.Errorf("%q: %+v, %v; want %v", text, got, err, kind)
		}
	}
}

func TestPropose(t *testing.T) {
	table, err := ReadTable("lauf.csv", []byte(loggerFile))
	if err != nil {
		t.Fatal(err)
	}
	for channel, want := range map[string]int{"time": 0, "drum_speed": 1, "engine_speed": 2} {
		if got, ok := table.Propose(channel); !ok || got != want {
			t.Errorf("%s: column %d, %v; want %d", channel, got, ok, want)
		}
	}
	for _, channel := range []string{"lambda", "throttle", "no_such_channel"} {
		if got, ok := table.Propose(channel); ok {
			t.Errorf("%s: column %d is proposed", channel, got)
		}
	}
	// By its unit alone, where no other column has it; two are not chosen from.
	one := &Table{Columns: []TableColumn{{Name: "X1", Unit: "s"}, {Name: "X2", Unit: "km/h"}, {Name: "X3", Unit: "rpm"}}}
	two := &Table{Columns: []TableColumn{{Name: "speed", Unit: "km/h"}, {Name: "roller", Unit: "km/h"}}}
	if got, ok := one.Propose("drum_speed"); ok { // km/h and rpm could both be
		t.Errorf("drum_speed: column %d of two that could be", got)
	}
	if got, ok := one.Propose("engine_speed"); !ok || got != 2 {
		t.Errorf("engine_speed: %d, %v", got, ok)
	}
	if got, ok := two.Propose("drum_speed"); ok {
		t.Errorf("drum_speed: column %d of two of the name", got)
	}
}

func TestCheckRecipe(t *testing.T) {
	if err := CheckRecipe(loggerRecipe); err != nil {
		t.Error(err)
	}
	for says, channels := range map[string]campaign.ChannelMap{
		"did you mean drum_speed": {"drumspeed": {Column: "v_Rolle"}},
		"channel time":            {"time": {Column: "Zeit", Unit: "km/h"}},
		"lambda":                  {"lambda": {Column: "O2", Unit: "AFR"}},
	} {
		r := loggerRecipe
		r.Channels = channels
		if err := CheckRecipe(r); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%v: %v; want it to say %q", channels, err, says)
		}
	}
}

// A log that a recipe recognises and whose text can be read gives the channels that
// the recipe says, in SI.
func TestARecipeReadsItsLog(t *testing.T) {
	log, err := ParseLog("lauf-7.csv", []byte(loggerFile), LogOptions{Channels: loggerRecipe.Channels, DrumRadius: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	if want := []float64{0, 0.010, 0.020}; !reflect.DeepEqual(log.Time, want) {
		t.Errorf("time %v s, want %v", log.Time, want)
	}
	// v = 32.60 km/h at a radius of 0.25 m is 32.60/3.6/0.25 rad/s.
	if got, want := log.Channel("drum_speed")[0], 32.60/3.6/0.25; got < want*(1-1e-12) || got > want*(1+1e-12) {
		t.Errorf("drum speed %v rad/s, want %v", got, want)
	}
}

// Recognising and showing hostile text neither panics nor gives columns that could
// not be named.
func FuzzRecognise(f *testing.F) {
	f.Add([]byte(loggerFile), "lauf-7.csv")
	f.Add([]byte("\xff\xfea\x00;\x00b\x00\n\x001\x00;\x002\x00\n\x00"), "x")
	f.Add([]byte("a,b\n1,2\n3,4\n"), "[")
	f.Fuzz(func(t *testing.T, data []byte, name string) {
		recipe, err := Recognise([]campaign.Recipe{loggerRecipe}, name, data)
		if err == nil && recipe != nil && recipe.Name != "logger" {
			t.Errorf("recipe %+v", recipe)
		}
		table, err := ReadTable(name, data)
		if err != nil {
			return
		}
		if len(table.Columns) < 2 || table.Line < 1 || table.Delimiter == 0 {
			t.Errorf("table %+v of %q", table, data)
		}
		for _, channel := range Channels() {
			if column, ok := table.Propose(channel); ok && (column < 0 || column >= len(table.Columns)) {
				t.Errorf("%s: column %d of %d", channel, column, len(table.Columns))
			}
		}
	})
}
