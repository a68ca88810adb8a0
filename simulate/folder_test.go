package simulate

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/pelletier/go-toml/v2"
)

// The same scenario gives the same bytes on one core and on many; another seed
// gives other logs and the same truth of the gain.
func TestDeterminism(t *testing.T) {
	for _, name := range []string{"demo", "pulses"} {
		s, err := Named(name)
		if err != nil {
			t.Fatal(err)
		}
		before := runtime.GOMAXPROCS(1)
		one, truth := files(t, s)
		runtime.GOMAXPROCS(4)
		many, _ := files(t, s)
		runtime.GOMAXPROCS(before)
		if !maps.EqualFunc(one, many, bytes.Equal) {
			t.Errorf("%s: files depend on the number of cores", name)
		}
		s.Seed++
		other, otherTruth := files(t, s)
		if bytes.Equal(one[logOf(1)], other[logOf(1)]) {
			t.Errorf("%s: another seed gives the same log", name)
		}
		if a, b := *truth.Comparisons[0].Gain.BandPct, *otherTruth.Comparisons[0].Gain.BandPct; a != b {
			t.Errorf("%s: another seed changes the true gain from %v to %v", name, a, b)
		}
	}
}

// campaign.toml read back by a TOML library into plain maps has what the
// scenario says, in the units of the format.
func TestCampaignTOML(t *testing.T) {
	s := Demo()
	s.Title = `Quotes " and \ stay`
	s.Configurations[1].WheelInertia = 0.5
	set, _ := files(t, s)
	var got map[string]any
	if err := toml.Unmarshal(set["campaign.toml"], &got); err != nil {
		t.Fatal(err)
	}
	at := func(path string) any {
		var value any = got
		for part := range strings.SplitSeq(path, ".") {
			if i, err := strconv.Atoi(part); err == nil {
				value = value.([]any)[i]
			} else {
				value = value.(map[string]any)[part]
			}
		}
		return value
	}
	for path, want := range map[string]any{
		"format": "fairpull.campaign/1", "id": "twin650-intake-cam", "title": s.Title,
		"objective.band_rpm.0": int64(3000), "objective.smallest_gain_of_interest_pct": int64(2),
		"objective.confidence": 0.95, "objective.primary": "band", "objective.drift": "any",
		"vehicle.test_gear": int64(4), "vehicle.driven_wheel_inertia_kgm2": 0.62, "vehicle.tyre_speed_symbol": "H",
		"dyno.drum_inertia_kgm2": int64(15), "dyno.drum_inertia_u_kgm2": 0.11, "dyno.parasitic_torque_nm.1": 0.01,
		"correction.standard":  "SAE J1349",
		"configuration.0.role": "baseline", "configuration.1.role": "candidate", "configuration.1.id": "B",
		"configuration.1.components.0.serial":       "0417",
		"configuration.1.settings.calibration":      "K-218 r3",
		"configuration.1.driven_wheel_inertia_kgm2": 0.5,
		"procedure.tyre_pressure_kpa.target":        int64(250),
		"procedure.tyre_pressure_kpa.tolerance":     int64(7),
		"procedure.oil_temp_degc.target":            int64(90),
		"history.setup_sd_pct":                      0.7,
		"history.pull_sd_pct":                       0.4,
		"history.setup_df":                          int64(12),
		"history.assumed":                           false,
	} {
		if value := at(path); value != want {
			t.Errorf("%s is %v (%T), want %v (%T)", path, value, value, want, want)
		}
	}
	if _, has := got["dyno"].(map[string]any)["pulses_per_rev"]; has {
		t.Error("a sampled log's campaign states pulses per turn")
	}
	if bytes.Contains(set["campaign.toml"], []byte("engine_revs_per_drum_rev")) {
		t.Error("the ratio is stated though StateRatio is false")
	}
	pulses, _ := files(t, pulseLogs())
	for _, line := range []string{"pulses_per_rev = 60", "engine_pulses_per_rev = 1"} {
		if !bytes.Contains(pulses["campaign.toml"], []byte(line+"\n")) {
			t.Errorf("a pulse log's campaign does not say %q", line)
		}
	}
	unknown, _ := files(t, noHistory())
	if bytes.Contains(unknown["campaign.toml"], []byte("history")) {
		t.Error("a history is written where there is none")
	}
}

// pulls.csv lists the pulls in order with the weather of the truth, to the
// rounding and reading scatter, and every log that it names is there.
func TestPullsCSV(t *testing.T) {
	s := Demo()
	set, truth := files(t, s)
	rows, err := csv.NewReader(bytes.NewReader(set["pulls.csv"])).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	header := rows[0]
	if len(rows) != 16 {
		t.Fatalf("%d rows, want 15 pulls and a header", len(rows))
	}
	var order strings.Builder
	var last time.Time
	for i, cells := range rows[1:] {
		cell := func(name string) string { return cells[slices.Index(header, name)] }
		number := func(name string) float64 {
			value, err := strconv.ParseFloat(cell(name), 64)
			if err != nil {
				t.Fatal(err)
			}
			return value
		}
		p := truth.Pulls[i]
		if cell("pull") != p.Pull || cell("configuration") != p.Configuration || cell("setup") != p.Setup {
			t.Errorf("row %d: %v does not fit %+v", i+1, cells, p)
		}
		if _, has := set[cell("log")]; !has {
			t.Errorf("row %d: there is no %s", i+1, cell("log"))
		}
		started, err := time.Parse(time.RFC3339, cell("started"))
		if err != nil || !started.After(last) {
			t.Errorf("row %d: started %q, %v", i+1, cell("started"), err)
		}
		last = started
		order.WriteString(cell("configuration"))
		near(t, "pressure, kPa", number("pressure_kpa"), p.PressurePa/1000, 0.05)
		near(t, "temperature, °C", number("temperature_degc"), p.TemperatureK-zeroCelsius, 0.5)
		near(t, "humidity, %", number("relative_humidity_pct"), 100*p.RelativeHumidity, 2.5)
		near(t, "tyre pressure, kPa", number("tyre_pressure_kpa"), p.TyrePressurePa/1000, 0.051)
	}
	if order.String() != "AAABBBAAABBBAAA" {
		t.Errorf("the order is %s", &order)
	}
	oil := columnsOf(t, rows, "oil_temp_degc")
	for i, value := range oil {
		if cold := value < 82; cold != (i == 7) {
			t.Errorf("pull %d: oil at %v °C; only pull 8 is below its set point", i+1, value)
		}
	}
}

// columnsOf returns one column of a table with a header as numbers.
func columnsOf(t *testing.T, rows [][]string, name string) []float64 {
	t.Helper()
	at := slices.Index(rows[0], name)
	values := make([]float64, 0, len(rows))
	for _, cells := range rows[1:] {
		value, err := strconv.ParseFloat(cells[at], 64)
		if err != nil {
			t.Fatal(err)
		}
		values = append(values, value)
	}
	return values
}

// The demonstration is small, and its logs hold six channels at 100 Hz.
func TestDemoSize(t *testing.T) {
	set, _ := files(t, Demo())
	total := 0
	for name, data := range set {
		total += len(data)
		if strings.HasPrefix(name, "logs/") && (len(data) < 50_000 || len(data) > 90_000) {
			t.Errorf("%s has %d bytes", name, len(data))
		}
	}
	if total > 1_200_000 {
		t.Errorf("the campaign has %d bytes", total)
	}
	log := columns(t, set[logOf(1)])
	if len(log) != 6 {
		t.Errorf("%d channels, want 6", len(log))
	}
	stamp := log["time [s]"]
	near(t, "rate, Hz", float64(len(stamp)-1)/(stamp[len(stamp)-1]-stamp[0]), 100, 1e-9)
	near(t, "throttle before the pull", log["throttle [%]"][10], 20, 19)
	near(t, "throttle in the pull", log["throttle [%]"][400], 100, 0)
	near(t, "lambda in the pull", mean(log["lambda"][200:600]), 0.88, 0.001)
	near(t, "oil warms by, K", mean(log["oil_temp [degC]"][650:700])-mean(log["oil_temp [degC]"][:50]), oilRise*6.25, 0.05)
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// The stated noise is the noise of the log: the noisy log less the noise-free
// one. 2,000 samples give the SD to 1.6 %; the bound is four times that.
func TestChannelNoise(t *testing.T) {
	s := quiet(Default())
	clean, _ := files(t, s)
	s.Logger.Sampled.DrumNoise, s.Logger.Sampled.EngineNoise, s.Logger.Sampled.LambdaNoise = 0.03, 6, 0.004
	noisy, _ := files(t, s)
	before, after := columns(t, clean[logOf(2)]), columns(t, noisy[logOf(2)])
	for name, want := range map[string]float64{"drum_speed [rad/s]": 0.03, "engine_speed [1/min]": 6, "lambda": 0.004} {
		sum := 0.0
		for i := range before[name] {
			sum += math.Pow(after[name][i]-before[name][i], 2)
		}
		got := math.Sqrt(sum / float64(len(before[name])))
		near(t, name+": SD", got, want, 0.064*want)
	}
}

// Jittered samples are stamped when they were taken: the speed at each stamp is
// that of the even log at the same time.
func TestJitteredSampling(t *testing.T) {
	s := quiet(Default())
	even, _ := files(t, s)
	s.Logger.Sampled.Jitter = 0.8
	uneven, _ := files(t, s)
	a, b := columns(t, even[logOf(1)]), columns(t, uneven[logOf(1)])
	stamp, drum := a["time [s]"], a["drum_speed [rad/s]"]
	spread := 0.0
	for i := 200; i < 1200; i++ {
		at := b["time [s]"][i]
		j, _ := slices.BinarySearch(stamp, at)
		near(t, "drum speed", b["drum_speed [rad/s]"][i], cubic(stamp[j-2:j+2], drum[j-2:j+2], at), 2e-5)
		spread = math.Max(spread, math.Abs(at-stamp[i]))
	}
	near(t, "largest jitter, s", spread, 0.4*0.005, 0.0001)
}

// Write refuses whatever is not free, leaves nothing behind on failure, and
// accepts an empty folder.
func TestWrite(t *testing.T) {
	parent := t.TempDir()
	s := Default()
	dir := filepath.Join(parent, "new", "campaign")
	if err := s.Write(dir); err != nil {
		t.Fatal(err)
	}
	set, _ := files(t, s)
	written := map[string][]byte{}
	err := fs.WalkDir(os.DirFS(dir), ".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		written[path], err = os.ReadFile(filepath.Join(dir, path))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if !maps.EqualFunc(set, written, bytes.Equal) {
		t.Error("the folder does not hold what Files returns")
	}
	if err := s.Write(dir); !errors.Is(err, ErrNotEmpty) {
		t.Errorf("a second Write: got error %v, want %v", err, ErrNotEmpty)
	}
	file := filepath.Join(parent, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := s.Write(file); !errors.Is(err, ErrNotEmpty) {
		t.Errorf("over a file: got error %v, want %v", err, ErrNotEmpty)
	}
	empty := filepath.Join(parent, "empty")
	if err := os.Mkdir(empty, 0o777); err != nil {
		t.Fatal(err)
	}
	if err := s.Write(empty); err != nil {
		t.Errorf("into an empty folder: %v", err)
	}
	s.Dyno.Inertia = 9000 // too heavy for the engine
	failed := filepath.Join(parent, "failed")
	if err := s.Write(failed); !errors.Is(err, errNoPull) {
		t.Errorf("a drum too heavy: got error %v", err)
	}
	entries, err := os.ReadDir(parent)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	if want := []string{"empty", "file", "new"}; !slices.Equal(names, want) {
		t.Errorf("the parent holds %v, want %v", names, want)
	}
}

// A failure of the system is told without the path of the folder being built.
func TestBuildFailures(t *testing.T) {
	parent := t.TempDir()
	for name, err := range map[string]error{
		"no parent":       build(context.Background(), nil, filepath.Join(parent, "none"), filepath.Join(parent, "campaign")),
		"nothing to move": build(context.Background(), nil, parent, filepath.Join(parent, "campaign")),
		"no such name":    build(context.Background(), map[string][]byte{"a\x00b": nil}, parent, filepath.Join(parent, "campaign")),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		} else if text := reasonOf(err).Error(); text == "" || strings.Contains(text, parent) {
			t.Errorf("%s: told as %q", name, text)
		}
	}
	if entries, err := os.ReadDir(parent); err != nil || len(entries) > 0 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
}

// untilAsked is a context that is done once it was asked n times.
type untilAsked struct {
	context.Context
	left *atomic.Int64
}

func doneAfter(n int64) untilAsked {
	c := untilAsked{context.Background(), new(atomic.Int64)}
	c.left.Store(n)
	return c
}

func (c untilAsked) Err() error {
	if c.left.Add(-1) < 0 {
		return context.Canceled
	}
	return nil
}

// Wherever WriteContext is interrupted, between pulls or between files, it says
// so and leaves nothing behind.
func TestWriteInterrupted(t *testing.T) {
	s := Default()
	const never = 1 << 40
	whole := doneAfter(never)
	if err := s.WriteContext(whole, filepath.Join(t.TempDir(), "campaign")); err != nil {
		t.Fatal(err)
	}
	asked := never - whole.left.Load()
	pulls := int64(len(s.Plan.Order) * s.Plan.PullsPerBlock)
	if least := 2 * pulls; asked < least { // before each pull, before each log
		t.Fatalf("it looks for an interrupt %d times, want at least %d", asked, least)
	}
	for _, after := range []int64{0, 1, pulls / 2, pulls, pulls + 1, asked / 2, asked - 2, asked - 1} {
		parent := t.TempDir()
		err := s.WriteContext(doneAfter(after), filepath.Join(parent, "campaign"))
		if !errors.Is(err, context.Canceled) {
			t.Errorf("interrupted after %d: error %v", after, err)
		}
		if entries, err := os.ReadDir(parent); err != nil || len(entries) > 0 {
			t.Errorf("interrupted after %d: left behind %v, %v", after, entries, err)
		}
	}
}

// appendFixed writes what strconv writes. Numbers stay below 10^12 units of the
// last place, where their product with the power of ten is exact enough.
func TestAppendFixed(t *testing.T) {
	r := chance(3, logStream, 0)
	for range 20_000 {
		places := r.IntN(maxDecimals + 1)
		value := (r.Float64() - 0.5) * math.Pow(10, float64(12-places)*r.Float64())
		got := string(appendFixed(nil, value, places))
		want := strconv.FormatFloat(value, 'f', places, 64)
		if want = strings.TrimPrefix(want, "-"); strings.Trim(want, "0.") != "" && value < 0 {
			want = "-" + want
		}
		if got != want {
			t.Fatalf("%v to %d places: got %s, want %s", value, places, got, want)
		}
	}
	for places := range maxDecimals + 1 {
		if got, known := decimals(math.Pow(10, -float64(places))); !known || got != places {
			t.Errorf("decimals of 1e-%d: got %d, %v", places, got, known)
		}
	}
	for _, step := range []float64{0, -1, 0.5, 0.02, 10, 1e-10, math.NaN(), math.Inf(1)} {
		if _, known := decimals(step); known {
			t.Errorf("a step of %v is taken", step)
		}
	}
}
