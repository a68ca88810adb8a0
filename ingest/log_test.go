package ingest

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"fairpull/campaign"
	"fairpull/signal"
)

// near fails unless got agrees with want to a relative 1e-12. NaN agrees with
// NaN.
func near(t *testing.T, what string, got, want []float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%s: got %v; want %v", what, got, want)
		return
	}
	for i := range want {
		if math.IsNaN(want[i]) && math.IsNaN(got[i]) {
			continue
		}
		if !(math.Abs(got[i]-want[i]) <= 1e-12*math.Abs(want[i])) {
			t.Errorf("%s: got %v; want %v", what, got, want)
			return
		}
	}
}

// mapped is a [channels] table for logs in another language.
var mapped = campaign.ChannelMap{
	"time":         {Column: "Zeit", Unit: "ms"},
	"drum_speed":   {Column: "v_Rolle", Unit: "km/h"},
	"engine_speed": {Column: "Drehzahl", Unit: "1/min"},
	"oil_temp":     {Column: "Öltemperatur"},
}

// dialects all say the same: three rows at 0, 5 and 10 ms, 36, 39.6 and
// 43.2 km/h on a drum of 0.25 m radius, 3000, 3300 and 3600/min.
var dialects = []struct {
	name, text string
	options    LogOptions
	firstLine  int
}{
	{"comma and point", "time [s],drum_speed [km/h],engine_speed [rpm]\n0,36,3000\n0.005,39.6,3300\n0.01,43.2,3600\n", LogOptions{}, 2},
	{"units in parentheses", "time (s),drum_speed (km/h),engine_speed (1/min)\n0,36,3000\n0.005,39.6,3300\n0.01,43.2,3600\n", LogOptions{}, 2},
	{"semicolon and point", "time [s];drum_speed [km/h];engine_speed [U/min]\n0.000;36.0;3000\n0.005;39.6;3300\n0.010;43.2;3600\n", LogOptions{}, 2},
	{"semicolon and comma", "time [s];drum_speed [km/h];engine_speed [U/min]\n0,000;36,0;3000\n0,005;39,6;3300\n0,010;43,2;3600\n", LogOptions{}, 2},
	{"tab and comma, CR LF", "time [s]\tdrum_speed [km/h]\tengine_speed [r/min]\r\n0\t36\t3000\r\n0,005\t39,6\t3300\r\n0,01\t43,2\t3600\r\n", LogOptions{}, 2},
	{"CR alone", "time [s],drum_speed [km/h],engine_speed [rpm]\r0,36,3000\r0.005,39.6,3300\r0.01,43.2,3600\r", LogOptions{}, 2},
	{"no last line end", "time [s],drum_speed [km/h],engine_speed [rpm]\n0,36,3000\n0.005,39.6,3300\n0.01,43.2,3600", LogOptions{}, 2},
	{"comma and quoted commas", "time [s],drum_speed [km/h],engine_speed [rpm]\n\"0,0\",\"36,0\",3000\n\"0,005\",\"39,6\",3300\n\"0,01\",\"43,2\",3600\n", LogOptions{}, 2},
	{"all in quotes", "\"time [s]\",\"drum_speed [km/h]\",\"engine_speed [rpm]\"\n\"0\",\"36\",\"3000\"\n\"0.005\",\"39.6\",\"3300\"\n\"0.01\",\"43.2\",\"3600\"\n", LogOptions{}, 2},
	{"marks differ by column", "time [s];drum_speed [km/h];engine_speed [rpm]\n0.0;36,0;3000\n0.005;39,6;3300\n0.01;43,2;3600\n", LogOptions{}, 2},
	{"thousands set off", "time [s];drum_speed [km/h];engine_speed [rpm]\n0,0;36,0;3.000\n0,005;39,6;3.300,0\n0,01;43,2;3.600\n", LogOptions{}, 2},
	{"thousands, mark late", "time [s];drum_speed [km/h];engine_speed [rpm]\n0,0;36,0;3.000\n0,005;39,6;3.300\n0,01;43,2;3.600,0\n", LogOptions{}, 2},
	{"exponents", "time [s],drum_speed [km/h],engine_speed [rpm]\n0.000000000000000000e+00,3.6e1,3.0E+03\n5e-3,3.960000000000000142e+01,3.3e3\n1e-02,432e-1,3600\n", LogOptions{}, 2},
	{"blanks around", "  time [s] , drum_speed [km/h],engine_speed [rpm]\n 0.000 ,  36.0 ,  3000\n 0.005 ,  39.6,   3300 \n 0.010,   43.2,   3600\n", LogOptions{}, 2},
	{"trailing delimiters", "time [s];drum_speed [km/h];engine_speed [rpm];\n0,0;36;3000;\n0,005;39,6;3300;\n0,01;43,2;3600;\n", LogOptions{}, 2},
	{"row of units", "time;drum_speed;engine_speed\ns;km/h;1/min\n0.0;36;3000\n0.005;39.6;3300\n0.01;43.2;3600\n", LogOptions{}, 3},
	{"row of units in brackets", "time;drum_speed;engine_speed\n[s];[km/h];[1/min]\n0.0;36;3000\n0.005;39.6;3300\n0.01;43.2;3600\n", LogOptions{}, 3},
	{"preamble, blank lines, units", "Cell 1; 2 March\n\"a note, with \"\"quotes\"\"\"\n\n# rows: 3\ntime;drum_speed;engine_speed\ns;km/h;rpm\n\n0.0;36;3000\n0.005;39.6;3300\n0.01;43.2;3600\n\n\n", LogOptions{}, 8},
	{"unbalanced quote above", "Cell \"1\nsep=,\ntime [s],drum_speed [km/h],engine_speed [rpm]\n0,36,3000\n0.005,39.6,3300\n0.01,43.2,3600\n", LogOptions{}, 4},
	{"names in the preamble", "time;s\ndrum_speed;km/h\nengine_speed;rpm\ndrum_speed;36\nrows;3\ntime [s];drum_speed [km/h];engine_speed [rpm]\n0,0;36;3000\n0,005;39,6;3300\n0,01;43,2;3600\n", LogOptions{}, 7},
	{"line ends of CR CR LF", "time [s],drum_speed [km/h],engine_speed [rpm]\r\r\n0,36,3000\r\r\n0.005,39.6,3300\r\r\n0.01,43.2,3600\r\r\n", LogOptions{}, 2},
	{"empty rows at the end", "time [s],drum_speed [km/h],engine_speed [rpm]\n0,36,3000\n0.005,39.6,3300\n0.01,43.2,3600\n,,\n,,\n\n", LogOptions{}, 2},
	{"milliseconds", "time [ms],drum_speed [km/h],engine_speed [rpm]\n0,36,3000\n5,39.6,3300\n10,43.2,3600\n", LogOptions{}, 2},
	{"microseconds, micro sign", "time [µs],drum_speed [km/h],engine_speed [rpm]\n0,36,3000\n5000,39.6,3300\n10000,43.2,3600\n", LogOptions{}, 2},
	{"minutes", "time [min],drum_speed [m/s],engine_speed [rps]\n0,10,50\n0.00008333333333333333,11,55\n0.00016666666666666667,12,60\n", LogOptions{}, 2},
	{"drum speed as it turns", "time [s],drum_speed [rad/s],engine_speed [rad/s]\n0,40,314.1592653589793\n0.005,44,345.5751918948773\n0.01,48,376.9911184307752\n", LogOptions{}, 2},
	{"name endings", "time_s,drum_speed_kmh,engine_speed_rpm\n0,36,3000\n0.005,39.6,3300\n0.01,43.2,3600\n", LogOptions{}, 2},
	{"[channels]", "Zeit;v_Rolle;Drehzahl\n0;36;3000\n5;39,6;3300\n10;43,2;3600\n", LogOptions{Channels: mapped}, 2},
	{"[channels], unit from header", "t [ms];v [km/h];n [1/min]\n0;36;3000\n5;39,6;3300\n10;43,2;3600\n",
		LogOptions{Channels: campaign.ChannelMap{"time": {Column: "t"}, "drum_speed": {Column: "v [km/h]"}, "engine_speed": {Column: "n"}}}, 2},
	{"[channels] for a unit only", "time;drum_speed;engine_speed\n0;36;3000\n0,005;39,6;3300\n0,01;43,2;3600\n",
		LogOptions{Channels: campaign.ChannelMap{"time": {Unit: "s"}, "drum_speed": {Unit: "km/h"}, "engine_speed": {Unit: "rpm"}}}, 2},
	{"[channels] not needed here", "time [s],drum_speed [km/h],engine_speed [rpm]\n0,36,3000\n0.005,39.6,3300\n0.01,43.2,3600\n", LogOptions{Channels: mapped}, 2},
	{"decimal mark stated", "time [s];drum_speed [km/h];engine_speed [rpm]\n0,000;36,000;3000\n0,005;39,600;3300\n0,010;43,200;3600\n",
		LogOptions{Channels: campaign.ChannelMap{"drum_speed": {DecimalMark: ','}}}, 2},
	{"mark from the other columns", "time [s];drum_speed [km/h];engine_speed [rpm]\n0,000;36,000;3000\n0,005;39,600;3300\n0,010;43,200;3600\n", LogOptions{}, 2},
	{"columns in another order, more of them", "index,engine_speed [rpm],drum_speed [km/h],,time [s]\n1,3000,36,a,0\n2,3300,39.6,b,0.005\n3,3600,43.2,c,0.01\n", LogOptions{}, 2},
}

func TestLogDialects(t *testing.T) {
	for _, d := range dialects {
		t.Run(d.name, func(t *testing.T) {
			d.options.DrumRadius = 0.25
			before := strings.Clone(d.text)
			log, err := ParseLog("log.csv", []byte(d.text), d.options)
			if err != nil {
				t.Fatal(err)
			}
			checkSame(t, log)
			if log.FirstLine != d.firstLine {
				t.Errorf("first data row in line %d; want %d", log.FirstLine, d.firstLine)
			}
			if before != d.text {
				t.Error("the data were changed")
			}
		})
	}
}

// checkSame holds the log against what all dialects say, by the definitions of
// km/h and 1/min.
func checkSame(t *testing.T, log *signal.Log) {
	t.Helper()
	if log.Kind != signal.Sampled {
		t.Errorf("kind %v; want sampled", log.Kind)
	}
	near(t, "time", log.Time, []float64{0, 0.005, 0.010})
	near(t, "drum speed", log.Channel(signal.DrumSpeed), []float64{40, 44, 48})
	near(t, "engine speed", log.Channel(signal.EngineSpeed), []float64{100 * math.Pi, 110 * math.Pi, 120 * math.Pi})
}

// TestLogCharacterSets encodes one log in several character sets with the
// encoders of golang.org/x/text.
func TestLogCharacterSets(t *testing.T) {
	const text = "Prüfstand 1\r\nZeit;v_Rolle;Drehzahl;Öltemperatur [°C]\r\n0;36;3000;80,5\r\n5;39,6;3300;81\r\n10;43,2;3600;81,5\r\n"
	utf8Mark := "\xEF\xBB\xBF"
	for _, c := range []struct {
		name     string
		encoding encoding.Encoding
		mark     string
	}{
		{"UTF-8", encoding.Nop, ""},
		{"UTF-8 with mark", encoding.Nop, utf8Mark},
		{"windows-1252", charmap.Windows1252, ""},
		{"UTF-16, little endian", unicode.UTF16(unicode.LittleEndian, unicode.UseBOM), ""},
		{"UTF-16, big endian", unicode.UTF16(unicode.BigEndian, unicode.UseBOM), ""},
	} {
		data, err := c.encoding.NewEncoder().String(text)
		if err != nil {
			t.Fatal(err)
		}
		log, err := ParseLog("log.csv", []byte(c.mark+data), LogOptions{Channels: mapped, DrumRadius: 0.25})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		checkSame(t, log)
		near(t, c.name+": oil temperature", log.Channel(signal.OilTemperature), []float64{353.65, 354.15, 354.65})
	}
	// Read as windows-1252, code page 850 makes no sense here, so the unit is
	// asked for: 0xF8 is its degree sign.
	data, err := charmap.CodePage850.NewEncoder().String(strings.ReplaceAll(text, "Ö", "O"))
	if err != nil {
		t.Fatal(err)
	}
	channels := campaign.ChannelMap{"time": mapped["time"], "drum_speed": mapped["drum_speed"], "oil_temp": {Column: "Oltemperatur"}}
	_, err = ParseLog("log.csv", []byte(data), LogOptions{Channels: channels, DrumRadius: 0.25})
	refusal{line: 2, kind: ErrUnit, says: "windows-1252"}.check(t, err)
}

// TestLogChannels holds the units of every channel with a meaning, and what
// becomes of the others.
func TestLogChannels(t *testing.T) {
	const text = "time [s],drum_speed [rad/s],throttle [%],brake_torque [lbf·ft],brake_force [kgf],lambda,afr,manifold_pressure [bar],oil_temp [°F],pressure_kpa,temperature_degc,relative_humidity_pct,vapour_pressure [hPa],wet_bulb [K],torque [Nm],Boost [kPa],Knock,Flag,Note,Nothing,Blower [blips]\n" +
		"0,40,100,10,2,0.88,12.9,1.5,212,98.5,21.5,45,11,288.15,50,150,3,OK,text,,7\n" +
		"1,41,99.5,20,2,0.87,12.8,1.4,211,,,,,,51,151,4,OK,,,8\n"
	log, err := ParseLog("log.csv", []byte(text), LogOptions{})
	if err != nil {
		t.Fatal(err)
	}
	nan := math.NaN()
	for _, c := range []struct {
		name, unit string
		want       []float64
	}{
		{signal.Throttle, "%", []float64{1, 0.995}},
		{signal.BrakeTorque, "lbf·ft", []float64{13.558179483314004, 27.116358966628008}}, // NIST SP 811: 1 lbf·ft = 1.355 817 9483… N·m
		{signal.BrakeForce, "kgf", []float64{19.6133, 19.6133}},                           // NIST SP 811: 1 kgf = 9.806 65 N
		{signal.Lambda, "", []float64{0.88, 0.87}},
		{signal.AirFuelRatio, "", []float64{12.9, 12.8}},
		{signal.ManifoldPressure, "bar", []float64{150000, 140000}},
		{signal.OilTemperature, "°F", []float64{373.15, 372.59444444444444}},
		{signal.Pressure, "kPa", []float64{98500, nan}},
		{signal.Temperature, "degC", []float64{294.65, nan}},
		{signal.RelativeHumidity, "%", []float64{0.45, nan}},
		{signal.VapourPressure, "hPa", []float64{1100, nan}},
		{signal.WetBulb, "K", []float64{288.15, nan}},
		{"torque", "Nm", []float64{50, 51}},
		{"Boost", "kPa", []float64{150000, 151000}},
		{"Knock", "", []float64{3, 4}},
		{"Blower", "blips", []float64{7, 8}},
	} {
		near(t, c.name, log.Channel(c.name), c.want)
		for _, channel := range log.Channels {
			if channel.Name == c.name && channel.Unit != c.unit {
				t.Errorf("%s: unit %q; want %q", c.name, channel.Unit, c.unit)
			}
		}
	}
	left := map[string]string{}
	for _, l := range log.LeftOut {
		left[l.Column] = l.Reason
	}
	if len(left) != 3 || !strings.Contains(left["Flag"], "text") || !strings.Contains(left["Note"], "text") || !strings.Contains(left["Nothing"], "empty") {
		t.Errorf("left out: %v; want Flag, Note and Nothing", log.LeftOut)
	}
}

func TestLogMissingCells(t *testing.T) {
	log, err := ParseLog("log.csv", []byte("time [s];drum_speed [rad/s];lambda\n0;40;0,9\n1;;0,91\n2;42;\n"), LogOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "drum speed", log.Channel(signal.DrumSpeed), []float64{40, math.NaN(), 42})
	near(t, "lambda", log.Channel(signal.Lambda), []float64{0.9, 0.91, math.NaN()})
}

// TestLogTimes holds that times are kept as recorded, but for midnight.
func TestLogTimes(t *testing.T) {
	for _, c := range []struct {
		name, header, cells string
		want                []float64
	}{
		{"backward and repeated", "time [s]", "0 1 0.5 0.5", []float64{0, 1, 0.5, 0.5}},
		{"clock, points", "time", "14:05:00.000 14:05:00.005 14:05:01", []float64{50700, 50700.005, 50701}},
		{"clock, commas", "time [hh:mm:ss,fff]", "14:05:00,250 14:05:00,255", []float64{50700.25, 50700.255}},
		{"clock through midnight", "time", "23:59:59.5 00:00:00.5 00:00:00.25 0:00:01", []float64{86399.5, 86400.5, 86400.25, 86401}},
		{"hours since the start", "time [h:mm:ss]", "0:00:10 99:00:00", []float64{10, 356400}},
		{"seconds since 1970", "time [s]", "1772456700.123 1772456700.128", []float64{1772456700.123, 1772456700.128}},
	} {
		text := c.header + ";drum_speed [rad/s]\n"
		for _, cell := range strings.Fields(c.cells) {
			text += cell + ";40\n"
		}
		log, err := ParseLog("log.csv", []byte(text), LogOptions{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		near(t, c.name, log.Time, c.want)
	}
}

func TestPulseLogs(t *testing.T) {
	for _, c := range []struct {
		name, text   string
		drum, engine []float64
	}{
		{"both", "drum_pulse [s],engine_pulse [s]\n0.1,0.05\n0.2,0.15\n0.3,\n0.4,\n", []float64{0.1, 0.2, 0.3, 0.4}, []float64{0.05, 0.15}},
		{"engine longer", "drum_pulse [ms];engine_pulse [us]\n100;50000\n200;150000\n;250000\n;\n", []float64{0.1, 0.2}, []float64{0.05, 0.15, 0.25}},
		{"short rows", "drum_pulse\tengine_pulse\ns\ts\n0,1\t0,05\n0,2\n0,3\n", []float64{0.1, 0.2, 0.3}, []float64{0.05}},
		{"drum only", "drum_pulse [s]\n0.1\n0.2\n\n", []float64{0.1, 0.2}, nil},
		{"drum only, comma", "drum_pulse [s]\n0,125\n0,25\n", []float64{0.125, 0.25}, nil},
		{"no ignition seen", "drum_pulse [s],engine_pulse [s]\n0.1,\n0.2,\n", []float64{0.1, 0.2}, nil},
		{"others have no place", "drum_pulse [s],throttle [%]\n0.1,5\n0.2,x\n", []float64{0.1, 0.2}, nil},
		{"[channels]", "Rolle;Zündung\n100;50\n200;\n", []float64{0.1, 0.2}, []float64{0.05}},
	} {
		options := LogOptions{Channels: campaign.ChannelMap{"drum_pulse": {Column: "Rolle", Unit: "ms"}, "engine_pulse": {Column: "Zündung", Unit: "ms"}}}
		if c.name != "[channels]" {
			options = LogOptions{}
		}
		log, err := ParseLog("log.csv", []byte(c.text), options)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if log.Kind != signal.Pulses || log.Time != nil {
			t.Errorf("%s: kind %v, time %v", c.name, log.Kind, log.Time)
		}
		near(t, c.name+": drum", log.DrumPulse, c.drum)
		near(t, c.name+": engine", log.EnginePulse, c.engine)
	}
}

func TestCurveLogs(t *testing.T) {
	powerMap := campaign.ChannelMap{"engine_speed": {Column: "n", Unit: "rpm"}, "power_crank": {Column: "P", Unit: "kW"}}
	for _, c := range []struct {
		name, text string
		options    LogOptions
		atCrank    bool
		power      []float64
		torque     []float64
	}{
		{"power at the wheel", "engine_speed [rpm],power_wheel [kW]\n3000,20\n3300,22\n", LogOptions{}, false, []float64{20e3, 22e3}, nil},
		{"torque at the crank", "engine_speed_rpm;torque_crank_nm\n3000;60,5\n3300;61,5\n", LogOptions{}, true, nil, []float64{60.5, 61.5}},
		{"said in words", "engine_speed [rpm],wheel torque [Nm],power (wheel) [kW]\n3000,60.5,20\n3300,61.5,22\n", LogOptions{}, false, []float64{20e3, 22e3}, []float64{60.5, 61.5}},
		{"said above", "# figures: crank\nengine_speed,power\nrpm,PS\n3000,20\n3300,22\n", LogOptions{}, true, []float64{20 * 735.49875, 22 * 735.49875}, nil}, // NIST SP 811: metric horsepower 735.498 75 W
		{"said above, in the cells", "figures;wheel\nengine_speed;power\nrpm;kW\n3000;20\n3300;22\n", LogOptions{}, false, []float64{20e3, 22e3}, nil},
		{"[channels]", "n,P\n3000,20\n3300,22\n", LogOptions{Channels: powerMap}, true, []float64{20e3, 22e3}, nil},
	} {
		log, err := ParseLog("curve.csv", []byte(c.text), c.options)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if log.Kind != signal.Reduced || log.AtCrank != c.atCrank {
			t.Errorf("%s: kind %v, at crank %v", c.name, log.Kind, log.AtCrank)
		}
		near(t, c.name+": speed", log.Channel(signal.EngineSpeed), []float64{100 * math.Pi, 110 * math.Pi})
		near(t, c.name+": power", log.Channel(signal.Power), c.power)
		near(t, c.name+": torque", log.Channel(signal.Torque), c.torque)
	}
}

// TestLogAgainstCSVWriter writes random tables with encoding/csv, in all
// delimiters and decimal marks, with cells in quotes by chance, and reads them
// back: every value must be that of strconv.
func TestLogAgainstCSVWriter(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		delimiter := delimiters[random.IntN(3)]
		comma := random.IntN(2) == 1
		columns, rows := 2+random.IntN(5), 1+random.IntN(40)
		want := make([][]float64, columns)
		var out strings.Builder
		writer := csv.NewWriter(&out)
		writer.Comma, writer.UseCRLF = rune(delimiter), random.IntN(2) == 1
		header := []string{"time [s]", "drum_speed [rad/s]", "a", "b, with comma", "c; d", "e \"f\""}[:columns]
		if err := writer.Write(header); err != nil {
			t.Fatal(err)
		}
		for range rows {
			cells := make([]string, columns)
			for c := range cells {
				value := (random.Float64() - 0.3) * math.Pow(10, float64(random.IntN(6)))
				cells[c] = strconv.FormatFloat(value, 'f', 4, 64) // four decimals leave one reading
				exact, err := strconv.ParseFloat(cells[c], 64)
				if err != nil {
					t.Fatal(err)
				}
				if c > 0 && random.IntN(10) == 0 {
					cells[c], exact = "", math.NaN()
				}
				if comma {
					cells[c] = strings.Replace(cells[c], ".", ",", 1)
				}
				want[c] = append(want[c], exact)
			}
			if err := writer.Write(cells); err != nil {
				t.Fatal(err)
			}
		}
		writer.Flush()
		log, err := ParseLog("log.csv", []byte(out.String()), LogOptions{})
		if err != nil {
			if len(want[1]) > 0 && isEmpty(want[1]) {
				continue // no drum speed at all is refused
			}
			t.Fatalf("%v in\n%s", err, out.String())
		}
		near(t, "time", log.Time, want[0])
		near(t, "drum speed", log.Channel(signal.DrumSpeed), want[1])
		for c := 2; c < columns; c++ {
			if !isEmpty(want[c]) {
				near(t, header[c], log.Channel(header[c]), want[c])
			}
		}
	}
}
