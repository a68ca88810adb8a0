package store

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// The engine itself refuses to change or delete what a result rests on.
func TestRowsAreKept(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		everything(t, s)
		for _, table := range kept {
			var n int
			if err := s.db.QueryRow(`SELECT count(*) FROM ` + table.Table).Scan(&n); err != nil || n == 0 {
				t.Fatalf("%s has %d rows, %v: nothing to try on", table.Table, n, err)
			}
			attempts := []string{`DELETE FROM ` + table.Table}
			for _, column := range strings.Split(table.Columns, ", ") {
				attempts = append(attempts, `UPDATE `+table.Table+` SET `+column+` = `+column)
			}
			if table.Ends {
				attempts = append(attempts, `UPDATE `+table.Table+` SET until = NULL WHERE until IS NOT NULL`)
				if err := s.db.QueryRow(`SELECT count(*) FROM ` + table.Table + ` WHERE until IS NOT NULL`).Scan(&n); err != nil || n == 0 {
					t.Fatalf("%s has %d rows that ended, %v: nothing to try on", table.Table, n, err)
				}
			}
			for _, attempt := range attempts {
				if _, err := s.db.Exec(attempt); err == nil || !strings.Contains(err.Error(), "keeps this row") {
					t.Errorf("%s: got %v, want a refusal", attempt, err)
				}
			}
		}
		clean(t, s)
	})
}

// everything fills every table, with rows that ended where a table has them.
func everything(t *testing.T, s *Store) {
	t.Helper()
	put(t, s, example("twin", 3))
	entry, err := s.Entry(t.Context(), "twin", 0)
	if err != nil {
		t.Fatal(err)
	}
	result := Result{Campaign: "twin", Version: 1, Data: entry.Digest, Program: "0.1.0", Settings: []byte(`{}`), Body: []byte(`{}`), Scatter: []byte(`[]`)}
	result.Checks = append(result.Checks, checkOf("drift"))
	changed := example("twin", 4)
	changed.Campaign.Title, changed.Campaign.Configurations[1].Name = "Another", "kit 2"
	changed.Campaign.Pulls[0].Excluded = "slipped"
	changed.CampaignFile = []byte("title = 'Another'")
	calibration := Calibration{Dyno: "cell-1", ValidFrom: changed.Campaign.Pulls[0].Started, DrumInertia: 41.8}
	better := calibration
	better.DrumInertia = 41.9
	for _, do := range []func() (Change, error){
		func() (Change, error) { return s.SaveResult(t.Context(), result, anna) },
		func() (Change, error) { return s.Supersede(t.Context(), changed, anna) },
		func() (Change, error) { return s.Attach(t.Context(), photograph("twin"), []byte("photograph"), anna) },
		func() (Change, error) { return s.Calibrate(t.Context(), calibration, anna) },
		func() (Change, error) { return s.Calibrate(t.Context(), better, anna) },
	} {
		if c, err := do(); err != nil || !c.Changed() {
			t.Fatalf("%+v, %v", c, err)
		}
	}
}

// Whatever is damaged behind the workspace's back, the doctor finds it.
func TestDoctorFindsDamage(t *testing.T) {
	for name, row := range map[string]struct {
		damage string // SQL, with the keeping triggers gone
		want   string // in a problem's text
	}{
		"pull's text":          {`UPDATE pulls SET body = replace(body, '91.5', '90.5')`, "its text has the digest"},
		"pull's text, digest":  {`UPDATE pulls SET digest = (SELECT digest FROM heads)`, "its rows have the digest"},
		"pull deleted":         {`DELETE FROM pulls WHERE name = '2'`, "its rows have the digest"},
		"pull of a result":     {`UPDATE pulls SET until = 2 WHERE name = '4'; UPDATE pulls SET since = 2 WHERE name = '1'`, "the result rests on"},
		"log's digest":         {`UPDATE pulls SET log = 'sha256:00'`, "is not a digest"},
		"head deleted":         {`DELETE FROM heads`, "without a head"},
		"configuration's role": {`UPDATE configurations SET body = replace(body, 'candidate', 'baseline')`, "its text has the digest"},
		"vehicle's mass":       {`UPDATE definitions SET body = replace(body, '285', '300')`, "its text has the digest"},
		"result's verdict":     {`UPDATE results SET body = '{"verdict":"gain shown"}'`, "its text has the digest"},
		"result's data":        {`UPDATE results SET data_digest = digest`, "the result rests on"},
		"result missing":       {`UPDATE campaigns SET result = 'x'`, "latest result is missing"},
		"list":                 {`UPDATE campaigns SET pulls = 9`, "the list shows something else"},
		"version":              {`UPDATE campaigns SET version = 2; UPDATE pulls SET since = 3`, "a row of a version that is not there"},
		"words":                {`DELETE FROM words`, "without its words"},
		"change deleted":       {`PRAGMA foreign_keys = 0; DELETE FROM changes WHERE seq = 2`, "changes, the last of number"},
		"reference broken":     {`PRAGMA foreign_keys = 0; DELETE FROM changes WHERE seq = 2`, "foreign_key_check"},
		"tables of tomorrow":   {`INSERT INTO goose_db_version (version_id, is_applied) VALUES (999, 1)`, "they are of version 999"},
	} {
		t.Run(name, func(t *testing.T) {
			s := initialise(t, filepath.Join(t.TempDir(), "lab"))
			put(t, s, example("twin", 4))
			entry, err := s.Entry(t.Context(), "twin", 0)
			if err != nil {
				t.Fatal(err)
			}
			r := Result{Campaign: "twin", Version: 1, Data: entry.Digest, Program: "0.1.0", Settings: []byte(`{}`), Body: []byte(`{}`)}
			if _, err := s.SaveResult(t.Context(), r, anna); err != nil {
				t.Fatal(err)
			}
			clean(t, s)
			s.db.SetMaxOpenConns(1)
			for _, table := range kept {
				for _, trigger := range []string{"_not_deleted", "_not_changed", "_ends_once"} {
					if _, err := s.db.Exec(`DROP TRIGGER IF EXISTS ` + table.Table + trigger); err != nil {
						t.Fatal(err)
					}
				}
			}
			if _, err := s.db.Exec(row.damage); err != nil {
				t.Fatal(err)
			}
			report, err := s.Check(t.Context())
			found := slices.ContainsFunc(report.Problems, func(p Problem) bool { return strings.Contains(p.String(), row.want) })
			if err != nil || report.Clean() || !found {
				t.Errorf("the doctor finds %v, %v; want a problem with %q", report.Problems, err, row.want)
			}
		})
	}
}

func TestDoctorLooksAtFiles(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		put(t, s, example("twin", 3))
		logs := map[string]string{}
		entry, err := s.Entry(t.Context(), "twin", 0)
		if err != nil {
			t.Fatal(err)
		}
		f := s.blobs.(*folder)
		for path, d := range entry.Logs {
			logs[path] = f.path(d)
		}
		if err := os.Chmod(logs["logs/001.csv"], 0o644); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(logs["logs/001.csv"], []byte("rewritten in place"), 0o644); err != nil {
			t.Fatal(err)
		}
		if err := os.Remove(logs["logs/002.csv"]); err != nil {
			t.Fatal(err)
		}
		if _, _, err := f.Put(t.Context(), []byte("nobody's")); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(f.root, tempDir, "123"), nil, 0o644); err != nil {
			t.Fatal(err)
		}
		report, err := s.Check(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		var broken, left []string
		for _, p := range report.Problems {
			if p.Leftover {
				left = append(left, p.String())
			} else {
				broken = append(broken, p.String())
			}
		}
		has := func(list []string, text string) bool {
			return slices.ContainsFunc(list, func(s string) bool { return strings.Contains(s, text) })
		}
		if len(broken) != 2 || !has(broken, "its content has the digest") || !has(broken, "is missing") {
			t.Errorf("broken: %q; want the rewritten and the missing log", broken)
		}
		if len(left) != 2 || !has(left, "no row names it") || !has(left, "did not finish") {
			t.Errorf("left over: %q; want the file without a row and the unfinished one", left)
		}
		_, err = s.Get(t.Context(), "twin")
		if !errors.As(err, new(*DamagedError)) && !errors.Is(err, os.ErrNotExist) {
			t.Errorf("reading the campaign gives %v, want the damage", err)
		}
		// A damaged file is not repaired in silence.
		pull, log := examplePull("twin", 0)
		if _, err := s.AddPull(t.Context(), "twin", pull, log, anna); !errors.As(err, new(*DamagedError)) {
			t.Errorf("the same log again gives %v, want a DamagedError", err)
		}
	})
}
