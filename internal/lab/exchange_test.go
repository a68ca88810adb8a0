package lab

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/internal/demo"
	"fairpull/internal/store"
	"fairpull/quantity"
)

var anna = Author{Who: "Anna Test", Why: "invented scenario"}

func newWorkspace(t testing.TB) *Workspace {
	t.Helper()
	w, err := InitWorkspace(context.Background(), filepath.Join(t.TempDir(), "lab"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := w.Close(); err != nil {
			t.Error(err)
		}
	})
	return w
}

// readAll returns the files below dir by path.
func readAll(dir string) (map[string][]byte, error) {
	files := map[string][]byte{}
	err := fs.WalkDir(os.DirFS(dir), ".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		files[path], err = os.ReadFile(filepath.Join(dir, path))
		return err
	})
	return files, err
}

// sameSaying compares campaigns as the folder says them: a start is a moment
// and an offset, and the line in pulls.csv is no part of it.
var sameSaying = cmp.Options{
	cmp.Comparer(func(a, b time.Time) bool {
		return a.Equal(b) && a.Format(time.RFC3339Nano) == b.Format(time.RFC3339Nano)
	}),
	cmpopts.IgnoreFields(campaign.Pull{}, "Line"),
}

// TestFolderWorkspaceFolder: whatever is in a folder's files, the workspace
// gives it back byte for byte; and a campaign that grew in the workspace comes
// out as a folder that says what the workspace says, its logs byte for byte.
func TestFolderWorkspaceFolder(t *testing.T) {
	w, ctx, n := newWorkspace(t), t.Context(), 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		id, base := fmt.Sprintf("c%d", n), t.TempDir()
		files := drawnFolder(rt, id)
		in, out, back := filepath.Join(base, "in"), filepath.Join(base, "out"), filepath.Join(base, "back")
		if err := os.Mkdir(in, 0o755); err != nil {
			rt.Fatal(err)
		}
		if err := writeFiles(in, files); err != nil {
			rt.Fatal(err)
		}
		if r, err := w.Import(ctx, in, anna, false); err != nil || !r.Changed || r.Version != 1 {
			rt.Fatalf("%+v, %v", r, err)
		}
		if _, err := w.Export(ctx, id, 0, out); err != nil {
			rt.Fatal(err)
		}
		got, err := readAll(out)
		if err != nil {
			rt.Fatal(err)
		}
		if diff := cmp.Diff(files, got); diff != "" {
			rt.Fatalf("the folder comes back as another (-in +out):\n%s", diff)
		}
		if r, err := w.Import(ctx, out, anna, true); err != nil || r.Changed {
			rt.Fatalf("the same again: %+v, %v", r, err)
		}

		log := rapid.SliceOfN(rapid.Byte(), 0, 50).Draw(rt, "another log")
		if _, err := w.store.AddPull(ctx, id, addedPull(), log, anna); err != nil {
			rt.Fatal(err)
		}
		if _, err := w.Export(ctx, id, 0, back); err != nil {
			rt.Fatal(err)
		}
		grown, err := w.store.Get(ctx, id)
		if err != nil {
			rt.Fatal(err)
		}
		// A cell that the added pull has nothing for is an empty one.
		grown.Campaign.Pulls[len(grown.Campaign.Pulls)-1].Values["oil_temp_degc"] = ""
		folder, err := ingest.OpenDir(back)
		if err != nil {
			rt.Fatal(err)
		}
		defer folder.Close()
		if diff := cmp.Diff(grown.Campaign, folder.Campaign, sameSaying, cmpopts.EquateEmpty()); diff != "" {
			rt.Fatalf("the grown campaign comes out as another (-workspace +folder):\n%s", diff)
		}
		if data, err := folder.Bytes("logs/added.csv"); err != nil || !bytes.Equal(data, log) {
			rt.Fatalf("the added log comes out as %q, %v; want %q", data, err, log)
		}
	})
}

// drawnFolder draws the files of a campaign folder: spacing, comments and line
// ends of their own, and logs of any bytes.
func drawnFolder(t *rapid.T, id string) map[string][]byte {
	end := rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(t, "line end")
	mark := rapid.SampledFrom([]string{"", "\ufeff"}).Draw(t, "byte-order mark")
	files := map[string][]byte{}
	head := []string{
		`format = "fairpull.campaign/1" # as it came`, fmt.Sprintf("id = %q", id), "title   =   'a \"title\"'", "[dyno]", "drum_inertia_kgm2 = 41.80",
		"[correction]", `standard = "none"`, "[[configuration]]", `id = "A"`, `role = "baseline"`, "settings = { map = 'two', jet = 1.50 }",
		"[[configuration]]", `id = "B"`, `role = "candidate"`, "[procedure]", "oil_temp_degc = { target = 90, tolerance = 8 }",
	}
	files[ingest.CampaignFile] = []byte(mark + strings.Join(head, end) + end)
	rows := []string{"pull;started;note;configuration;setup;log;oil_temp_degc"}
	for i := range rapid.IntRange(2, 5).Draw(t, "pulls") {
		log := fmt.Sprintf("logs/%d.csv", i)
		files[log] = rapid.SliceOfN(rapid.Byte(), 0, 50).Draw(t, "log")
		note := rapid.SampledFrom([]string{"", `"a;b"`, `"two ""quotes"""`, "plain", "ünï"}).Draw(t, "note")
		rows = append(rows, fmt.Sprintf("%d;2026-03-02 14:%02d:00+01:00;%s;%c;s1;%s;9%d,5", i, i, note, "AB"[i%2], log, i))
	}
	files[ingest.PullsFile] = []byte(mark + strings.Join(rows, end) + end)
	return files
}

// addedPull is a pull as a cell adds it during a session.
func addedPull() campaign.Pull {
	humidity := 0.45
	return campaign.Pull{
		Name: "added", Started: time.Date(2026, 3, 2, 15, 0, 0, 5e8, time.FixedZone("", 3600)), Configuration: "B", Setup: "s2", Log: "logs/added.csv",
		Weather: campaign.Weather{RelativeHumidity: &humidity}, Values: map[string]string{"note": "\"quoted\", with\na line end"},
	}
}

// The demo, taken in and given back with its campaign.toml and pulls.csv written
// anew, has the same gain to the last bit.
func TestWrittenAnewTheGainIsTheSame(t *testing.T) {
	ctx, w, base := t.Context(), newWorkspace(t), t.TempDir()
	folder, err := ingest.Open(demo.Campaign())
	if err != nil {
		t.Fatal(err)
	}
	defer folder.Close()
	record := store.Record{Campaign: folder.Campaign, Logs: map[string][]byte{}}
	for _, p := range folder.Campaign.Pulls {
		if record.Logs[p.Log], err = folder.Bytes(p.Log); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := w.store.Put(ctx, record, anna); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(base, "out")
	if pulls, err := w.Export(ctx, folder.Campaign.ID, 0, out); err != nil || pulls != len(folder.Campaign.Pulls) {
		t.Fatalf("%d pulls, %v", pulls, err)
	}
	first, err := Demo(ctx)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Gain(ctx, out, nil)
	if err != nil {
		t.Fatal(err)
	}
	want, err := first.View("", quantity.SI).JSON()
	if err != nil {
		t.Fatal(err)
	}
	got, err := again.View("", quantity.SI).JSON()
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), string(got)); diff != "" {
		t.Errorf("the gain is another (-demo +from the workspace):\n%s", diff)
	}
}

// What is taken in is the whole folder: an excluded pull without its log is
// refused, though a gain could be had without it.
func TestImportRefuses(t *testing.T) {
	ctx, w, base := t.Context(), newWorkspace(t), t.TempDir()
	dir := filepath.Join(base, "one")
	if err := WriteDemo(dir); err != nil {
		t.Fatal(err)
	}
	pulls := filepath.Join(dir, ingest.PullsFile)
	whole, err := os.ReadFile(pulls)
	if err != nil {
		t.Fatal(err)
	}
	header, rows, _ := strings.Cut(string(whole), "\n")
	var cells []string
	for name := range strings.SplitSeq(header, ",") {
		cells = append(cells, map[string]string{"pull": "lost", "started": "2025-09-16T08:00:00Z", "configuration": "A", "setup": "s1", "log": "logs/lost.csv"}[name])
	}
	lost := header + ",excluded\n" + strings.ReplaceAll(rows, "\n", ",\n") + strings.Join(cells, ",") + ",strap slipped\n"
	if err := os.WriteFile(pulls, []byte(lost), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := ingest.OpenDir(dir); err != nil {
		t.Fatalf("the folder cannot be analysed: the test shows nothing: %v", err)
	}
	if _, err := w.Import(ctx, dir, anna, false); !errors.Is(err, ingest.ErrMissing) {
		t.Errorf("a lost log: %v", err)
	}
	if err := os.WriteFile(pulls, whole, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Import(ctx, dir, Author{}, false); !errors.Is(err, store.ErrRefused) {
		t.Errorf("an import by nobody: %v", err)
	}
	r, err := w.Import(ctx, dir, anna, false)
	if err != nil || !r.Changed {
		t.Fatalf("%+v, %v", r, err)
	}
	if _, err := w.store.SetState(ctx, r.Campaign, store.StateClosed, anna); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "logs", "pull-001.csv"), []byte("another"), 0o644); err != nil {
		t.Fatal(err)
	}
	var different *store.DifferentError
	if _, err := w.Import(ctx, dir, anna, false); !errors.As(err, &different) || len(different.Differences) != 1 {
		t.Errorf("a changed log: %v", err)
	}
	if _, err := w.Import(ctx, dir, anna, true); err == nil || !strings.Contains(err.Error(), "closed") {
		t.Errorf("a new version of a closed campaign: %v", err)
	}
	report, err := w.Doctor(ctx)
	if err != nil || !report.Clean() || report.Campaigns != 1 {
		t.Errorf("the doctor found %+v, %v", report, err)
	}
}

func TestDefaultWorkspace(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", "/data")
	t.Setenv("HOME", "/home/anna")
	if place, err := DefaultWorkspace(); err != nil || place != "/data/fairpull" {
		t.Errorf("%q, %v", place, err)
	}
	t.Setenv("XDG_DATA_HOME", "relative") // to be ignored by the specification
	if place, err := DefaultWorkspace(); err != nil || !strings.HasPrefix(place, "/home/anna/") {
		t.Errorf("%q, %v", place, err)
	}
}

// Programs that need the default workspace at the same moment all get the one
// that is made once.
func TestFirstUseByManyAtOnce(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	const n = 8
	spaces, errs := make([]*Workspace, n), make([]error, n)
	var group sync.WaitGroup
	for i := range n {
		group.Go(func() { spaces[i], errs[i] = OpenWorkspace(t.Context(), "") })
	}
	group.Wait()
	made := 0
	for i, w := range spaces {
		if errs[i] != nil {
			t.Fatal(errs[i])
		}
		if w.Made() {
			made++
		}
		if w.store.ID() != spaces[0].store.ID() {
			t.Error("two workspaces were made")
		}
	}
	if made != 1 {
		t.Errorf("%d of them made it", made)
	}
	for _, w := range spaces {
		if err := w.Close(); err != nil {
			t.Error(err)
		}
	}
	left, err := filepath.Glob(filepath.Join(os.Getenv("XDG_DATA_HOME"), ".fairpull-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// What stands in the way of a workspace is left alone and named.
func TestPlacesThatAreNone(t *testing.T) {
	ctx, dir := t.Context(), t.TempDir()
	file := filepath.Join(dir, "notes.txt")
	if err := os.WriteFile(file, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := InitWorkspace(ctx, file); err == nil || !strings.Contains(err.Error(), "is a file") {
		t.Errorf("a file: %v", err)
	}
	if _, err := OpenWorkspace(ctx, dir); err == nil || !strings.Contains(err.Error(), "fairpull init "+dir) {
		t.Errorf("a directory without a workspace: %v", err)
	}
	t.Setenv("XDG_DATA_HOME", dir)
	if err := os.MkdirAll(filepath.Join(dir, "fairpull", "other"), 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenWorkspace(ctx, ""); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("a default place with other things in it: %v", err)
	}
	lab := filepath.Join(dir, "lab")
	w, err := InitWorkspace(ctx, lab)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := InitWorkspace(ctx, lab); err == nil || !strings.Contains(err.Error(), "has a workspace already") {
		t.Errorf("a workspace: %v", err)
	}
	if err := os.Remove(filepath.Join(lab, "workspace.db")); err != nil {
		t.Fatal(err)
	}
	if _, err := InitWorkspace(ctx, lab); err == nil || !strings.Contains(err.Error(), filepath.Join(lab, "blobs")+" is a folder of logs without its database") {
		t.Errorf("logs without their database: %v", err)
	}
}

// The audit trail says who took what in and why, in order.
func TestImportsAreInTheAuditTrail(t *testing.T) {
	ctx, w, dir := t.Context(), newWorkspace(t), filepath.Join(t.TempDir(), "one")
	if err := WriteDemo(dir); err != nil {
		t.Fatal(err)
	}
	first, second := Author{Who: "Anna Test"}, Author{Who: "Ben Test", Why: "the log of pull 1 was cut short"}
	r, err := w.Import(ctx, dir, first, false)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Import(ctx, dir, Author{Who: "nobody of note"}, false); err != nil { // changes nothing
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "logs", "pull-001.csv"), []byte("another"), 0o644); err != nil {
		t.Fatal(err)
	}
	if r, err := w.Import(ctx, dir, second, true); err != nil || !r.Superseded || r.Version != 2 {
		t.Fatalf("%+v, %v", r, err)
	}
	trail, err := w.store.Changes(ctx, "campaign", r.Campaign, 0, 10)
	if err != nil || len(trail) != 2 {
		t.Fatalf("%d changes, %v; want 2", len(trail), err)
	}
	if trail[0].Author != first || trail[0].Action != store.Imported || trail[1].Author != second || trail[1].Action != store.Superseded {
		t.Errorf("the trail is %+v", trail)
	}
	if len(trail[1].Differences) != 1 || trail[1].Differences[0].Path != "pull 1 log" {
		t.Errorf("the change differs in %+v; want the log of pull 1", trail[1].Differences)
	}
}

func TestPlaceInWords(t *testing.T) {
	for path, want := range map[string]string{
		"campaign.toml": "campaign.toml", "pulls.csv": "pulls.csv", "title": "title", "pull 3 log": "pull 3 log",
		"Title": "title", "ExtraColumns": "extra columns", "vehicle.MassWithRider": "vehicle, mass with rider",
		"pull 3.Weather.Pressure": "pull 3, weather, pressure", "pull 8.Values.oil_temp_degc": "pull 8, oil_temp_degc",
		"pull 1.5.Excluded": "pull 1.5, excluded", "configuration B.Settings.fuel": "configuration B, settings, fuel",
	} {
		if got := placeInWords(path); got != want {
			t.Errorf("%s reads %q, want %q", path, got, want)
		}
	}
}
