package ingest

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"fairpull/campaign"
	"fairpull/quantity"
	"fairpull/signal"
)

// The smallest folder that can be analysed.
const (
	smallCampaign = `format = "fairpull.campaign/1"
id = "pipe-7"
[dyno]
drum_inertia_kgm2 = 41.8
drum_radius_m = 0.25
[correction]
standard = "SAE J1349"
[[configuration]]
id = "A"
role = "baseline"
[[configuration]]
id = "B"
role = "candidate"
`
	smallPulls = `pull,started,configuration,setup,log
1,2026-03-02T14:05:00+01:00,A,s1,logs/1.csv
2,2026-03-02T14:25:00+01:00,B,s1,logs/2.csv
`
	smallLog = "time [s],drum_speed [km/h]\n0,36\n0.005,39.6\n0.01,43.2\n"
)

// smallFolder returns the smallest folder with its files replaced by those
// given; an empty text takes a file out.
func smallFolder(replaced map[string]string) fstest.MapFS {
	texts := map[string]string{CampaignFile: smallCampaign, PullsFile: smallPulls, "logs/1.csv": smallLog, "logs/2.csv": smallLog}
	for name, text := range replaced {
		texts[name] = text
	}
	files := fstest.MapFS{}
	for name, text := range texts {
		if text != "" {
			files[name] = &fstest.MapFile{Data: []byte(text)}
		}
	}
	return files
}

// TestFormatExample reads the example of docs/formats.md as it stands there.
func TestFormatExample(t *testing.T) {
	document, err := os.ReadFile("../docs/formats.md")
	if err != nil {
		t.Fatal(err)
	}
	_, example, _ := strings.Cut(string(document), "```toml\n")
	example, _, found := strings.Cut(example, "```")
	if !found {
		t.Fatal("docs/formats.md holds no example")
	}
	folder, err := Open(smallFolder(map[string]string{
		CampaignFile: example,
		PullsFile: "pull;started;configuration;setup;log;pressure_kpa;temperature_degc;relative_humidity_pct;tyre_pressure_kpa;note;excluded\n" +
			"1;2026-03-02T14:05:00+01:00;A;s1;logs/1.csv;98,52;21,5;45;250;\"first; warm\";\n" +
			"2;2026-03-02T14:25:00+01:00;B;s2;logs/2.csv;98,5;22;44,5;;;\n" +
			"3;2026-03-02T13:30:00Z;B;s2;logs/3.csv;;;;249,5;;strap slipped\n",
	}))
	if err != nil {
		t.Fatal(err)
	}
	elevation := quantity.Metre(210)
	hundred := 100.0 // a constant would be divided exactly
	want := campaign.Campaign{
		ID: "twin650-intake-cam", Title: "Intake and cam kit on the 650 twin",
		Purpose:   "Does the kit give more torque where people ride?",
		Objective: campaign.Objective{BandRPM: [2]float64{2500, 6000}, SmallestGain: 0.02, Confidence: 0.95, Primary: campaign.PrimaryBand},
		Vehicle: campaign.Vehicle{
			ID: "twin650-03", Description: "650 cc parallel twin, 6-speed", MassWithRider: 285, TestGear: 4,
			EngineRevsPerDrumRev: 3.71, WheelInertia: 0.62, WheelRadius: 0.31, TyreSpeedSymbol: "H", Class: "twin-650",
		},
		Dyno: campaign.Dyno{
			ID: "cell-1", DrumInertia: 41.80, DrumInertiaU: 0.42, DrumRadius: 0.2286, PulsesPerRev: 60, EnginePulsesPerRev: 1,
			Parasitic: [3]float64{1.1, 0.010, 0}, SiteElevation: &elevation,
		},
		Correction: "SAE J1349",
		Configurations: []campaign.Configuration{
			{
				ID: "A", Role: campaign.Baseline, Name: "as delivered",
				Components: []campaign.Component{{Function: "camshaft", Part: "OEM 650-14"}, {Function: "exhaust", Part: "OEM 650-90"}},
				Settings:   []campaign.Setting{{Key: "ignition_map", Value: "stock"}},
			},
			{
				ID: "B", Role: campaign.Candidate, Name: "kit",
				Components: []campaign.Component{{Function: "camshaft", Part: "K-218", Serial: "0417", Batch: "31-06"}, {Function: "exhaust", Part: "OEM 650-90"}},
				Settings:   []campaign.Setting{{Key: "calibration", Value: "K-218 r3"}, {Key: "fuel", Value: "E10 98, batch 7"}},
			},
		},
		Procedure: []campaign.SetPoint{{Key: "tyre_pressure_kpa", Target: 250, Tolerance: 7}, {Key: "oil_temp_degc", Target: 90, Tolerance: 8}},
		History:   &campaign.History{SetupSD: 0.70 / hundred, SetupDF: 12, BlockSD: 0.20 / hundred, BlockDF: 8, PullSD: 0.40 / hundred, PullDF: 60},
		Channels: campaign.ChannelMap{
			"time": {Column: "Zeit", Unit: "ms"}, "drum_speed": {Column: "v_Rolle", Unit: "km/h"}, "engine_speed": {Column: "Drehzahl", Unit: "1/min"},
		},
		ExtraColumns: []string{"tyre_pressure_kpa", "note"},
	}
	got := folder.Campaign
	pulls := got.Pulls
	got.Pulls = nil
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got\n%+v\nwant\n%+v", got, want)
	}
	checkExamplePulls(t, pulls)
}

func checkExamplePulls(t *testing.T, pulls []campaign.Pull) {
	t.Helper()
	if len(pulls) != 3 {
		t.Fatalf("%d pulls", len(pulls))
	}
	first, third := pulls[0], pulls[2]
	if first.Name != "1" || first.Configuration != "A" || first.Setup != "s1" || first.Log != "logs/1.csv" || first.Line != 2 || !first.Used() {
		t.Errorf("first pull: %+v", first)
	}
	if want := time.Date(2026, 3, 2, 13, 5, 0, 0, time.UTC); !first.Started.Equal(want) {
		t.Errorf("started %v; want %v", first.Started, want)
	}
	near(t, "weather", []float64{float64(*first.Weather.Pressure), float64(*first.Weather.Temperature), *first.Weather.RelativeHumidity}, []float64{98520, 294.65, 0.45})
	if first.Weather.VapourPressure != nil || first.Weather.WetBulb != nil {
		t.Errorf("weather %+v has more than one humidity", first.Weather)
	}
	if first.Values["note"] != "first; warm" || first.Values["tyre_pressure_kpa"] != "250" || first.Measured["tyre_pressure_kpa"] != 250 {
		t.Errorf("values %v, measured %v", first.Values, first.Measured)
	}
	if _, there := pulls[1].Measured["tyre_pressure_kpa"]; there {
		t.Error("an empty cell was measured")
	}
	if third.Used() || third.Excluded != "strap slipped" || third.Measured["tyre_pressure_kpa"] != 249.5 || third.Weather != (campaign.Weather{}) {
		t.Errorf("third pull: %+v", third)
	}
}

func TestFolderLogs(t *testing.T) {
	folder, err := Open(smallFolder(nil))
	if err != nil {
		t.Fatal(err)
	}
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() {
			log, err := folder.Log(folder.Campaign.Pulls[0])
			if err != nil {
				t.Error(err)
				return
			}
			near(t, "drum speed", log.Channel(signal.DrumSpeed), []float64{40, 44, 48})
		})
	}
	wait.Wait()
	data, err := folder.Bytes("logs/1.csv")
	if err != nil || string(data) != smallLog {
		t.Errorf("raw bytes %q, %v", data, err)
	}
	if err := folder.Close(); err != nil {
		t.Error(err)
	}
}

// TestFolderLogKinds holds that a log and what the folder says of it go
// together.
func TestFolderLogKinds(t *testing.T) {
	const curve = "engine_speed [rpm],power_wheel [kW]\n3000,20\n3300,22\n"
	const pulses = "drum_pulse [s]\n0.1\n0.2\n"
	applied := strings.NewReplacer("setup,log", "setup,log,correction_applied,correction_factor", "1.csv", "1.csv,none,", "2.csv", "2.csv,none,1.02").Replace(smallPulls)
	for _, c := range []struct {
		name  string
		files map[string]string
		want  refusal
	}{
		{"raw log without inertia", map[string]string{CampaignFile: strings.ReplaceAll(smallCampaign, "drum_inertia_kgm2 = 41.8\n", "")}, refusal{0, ErrMissing, "drum_inertia_kgm2"}},
		{"pulse log without pulses", map[string]string{"logs/1.csv": pulses}, refusal{0, ErrMissing, "pulses_per_rev"}},
		{"curve log without correction", map[string]string{"logs/1.csv": curve}, refusal{2, ErrMissing, "correction_factor"}},
		{"raw log with correction", map[string]string{PullsFile: applied}, refusal{2, ErrContradicted, "raw log"}},
	} {
		folder, err := Open(smallFolder(c.files))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		_, err = folder.Log(folder.Campaign.Pulls[0])
		c.want.check(t, err)
	}
	folder, err := Open(smallFolder(map[string]string{PullsFile: applied, "logs/1.csv": curve, "logs/2.csv": curve}))
	if err != nil {
		t.Fatal(err)
	}
	second := folder.Campaign.Pulls[1]
	if log, err := folder.Log(second); err != nil || log.Kind != signal.Reduced || second.CorrectionApplied != "none" || second.CorrectionFactor != 1.02 {
		t.Errorf("curve log: %v, %v; %+v", log, err, second)
	}
}

// TestPathsRefused holds that no name leads out of a folder.
func TestPathsRefused(t *testing.T) {
	for _, path := range []string{
		"../secret.csv", "logs/../../secret.csv", "logs/..", "..", "/etc/passwd", "//etc/passwd", "./logs/1.csv", "logs/./1.csv", "logs//1.csv", "logs/1.csv/",
		`logs\1.csv`, `..\secret.csv`, `C:\secret.csv`, "C:secret.csv", "c:/secret.csv", "logs/1.csv:stream", `\\host\share`,
		".", "", "logs/\x001.csv", "logs/\x1b[2J.csv", "logs/\u202egsc.1", "logs/\xff.csv", strings.Repeat("a/", 600) + "1.csv",
	} {
		pulls := strings.Replace(smallPulls, "logs/1.csv", `"`+path+`"`, 1)
		files := smallFolder(map[string]string{PullsFile: pulls})
		if _, err := Open(files); err == nil {
			t.Errorf("path %q: accepted", path)
		}
		folder, err := Open(smallFolder(nil))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := folder.Bytes(path); err == nil {
			t.Errorf("path %q: read", path)
		}
	}
}

// TestLinksAndDevices holds that a link out of the folder is not followed, and
// that only regular files are read, with a pipe not waited for.
func TestLinksAndDevices(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("needs links and pipes")
	}
	top := t.TempDir()
	secret := filepath.Join(top, "secret.csv")
	write(t, secret, smallLog)
	dir := filepath.Join(top, "folder")
	for name, file := range smallFolder(nil) {
		write(t, filepath.Join(dir, name), string(file.Data))
	}
	link(t, secret, filepath.Join(dir, "logs/absolute.csv"))
	link(t, "../../secret.csv", filepath.Join(dir, "logs/relative.csv"))
	link(t, "..", filepath.Join(dir, "up"))
	link(t, "logs", filepath.Join(dir, "inside"))
	link(t, "/dev/zero", filepath.Join(dir, "logs/zero.csv"))
	link(t, "loop.csv", filepath.Join(dir, "loop.csv"))
	if out, err := exec.Command("mkfifo", filepath.Join(dir, "logs/pipe.csv")).CombinedOutput(); err != nil {
		t.Fatalf("mkfifo: %v %s", err, out)
	}
	for _, path := range []string{"logs/absolute.csv", "logs/relative.csv", "up/secret.csv", "up/folder/logs/1.csv", "logs/zero.csv", "loop.csv", "logs/pipe.csv", "logs", "logs/none.csv"} {
		write(t, filepath.Join(dir, PullsFile), strings.Replace(smallPulls, "logs/1.csv", path, 1))
		folder, err := OpenDir(dir)
		if err == nil {
			t.Errorf("%s: accepted", path)
			folder.Close()
			continue
		}
		refusal{line: 2, kind: errors.Unwrap(asSyntax(t, err)), says: path}.check(t, err)
		leadsOut := strings.HasPrefix(path, "logs/absolute") || strings.HasPrefix(path, "logs/relative") || strings.HasPrefix(path, "up/") || path == "logs/zero.csv"
		if said := strings.Contains(err.Error(), "a link that leads out of the folder"); said != leadsOut || errors.Is(err, ErrOutside) != leadsOut {
			t.Errorf("%s: said to lead out: %v; want %v: %v", path, said, leadsOut, err)
		}
	}
	write(t, filepath.Join(dir, PullsFile), strings.Replace(smallPulls, "logs/1.csv", "inside/1.csv", 1))
	folder, err := OpenDir(dir)
	if err != nil {
		t.Fatalf("a link within the folder: %v", err)
	}
	defer folder.Close()
	if data, err := folder.Bytes("inside/1.csv"); err != nil || !bytes.Equal(data, []byte(smallLog)) {
		t.Errorf("a link within the folder: %q, %v", data, err)
	}
	if _, err := folder.Bytes("logs/relative.csv"); err == nil {
		t.Error("a link out of the folder was read")
	}
}

func asSyntax(t *testing.T, err error) *SyntaxError {
	t.Helper()
	var syntax *SyntaxError
	if !errors.As(err, &syntax) {
		t.Fatalf("%v is no *SyntaxError", err)
	}
	return syntax
}

func write(t *testing.T, name, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func link(t *testing.T, to, name string) {
	t.Helper()
	if err := os.Symlink(to, name); err != nil {
		t.Fatal(err)
	}
}

func TestOpenDirRefuses(t *testing.T) {
	if _, err := OpenDir(filepath.Join(t.TempDir(), "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no folder: %v", err)
	}
	empty := t.TempDir()
	if _, err := OpenDir(empty); !errors.Is(err, ErrMissing) || !strings.Contains(err.Error(), CampaignFile) {
		t.Errorf("empty folder: %v", err)
	}
	write(t, filepath.Join(empty, CampaignFile), smallCampaign)
	if _, err := OpenDir(empty); !errors.Is(err, ErrMissing) || !strings.Contains(err.Error(), PullsFile) {
		t.Errorf("no pulls.csv: %v", err)
	}
	big := smallFolder(map[string]string{CampaignFile: smallCampaign + strings.Repeat("# long\n", MaxCampaignBytes/7)})
	if _, err := Open(big); !errors.Is(err, ErrTooLarge) {
		t.Errorf("campaign.toml of %d bytes: %v", len(big[CampaignFile].Data), err)
	}
}
