package store

import (
	"bytes"
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
	"path"
	"strings"
	"testing/fstest"
	"text/template"
	"time"

	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

//go:embed migrations/*.sql
var migrations embed.FS

// engine is a database engine. The queries are one text on all of them; only
// what is here differs.
type engine struct {
	driver   string
	dialect  goose.Dialect
	text     string // the type of a text compared byte by byte
	function string // creates what refuse calls
	refuse   string // the body of a trigger that refuses
}

var sqliteEngine = engine{
	driver:  "sqlite",
	dialect: goose.DialectSQLite3,
	text:    "TEXT",
	refuse:  "BEGIN SELECT RAISE(ABORT, 'the workspace keeps this row'); END;",
}

var postgresEngine = engine{
	driver:  "pgx",
	dialect: goose.DialectPostgres,
	text:    `TEXT COLLATE "C"`,
	function: `CREATE FUNCTION workspace_keeps() RETURNS trigger LANGUAGE plpgsql AS
'BEGIN RAISE EXCEPTION ''the workspace keeps this row''; END';`,
	refuse: "EXECUTE FUNCTION workspace_keeps();",
}

// keptTable is a table whose rows are neither deleted nor changed, until apart.
type keptTable struct {
	Table, Columns string
	Ends           bool // has the column until, which is set once
}

var kept = []keptTable{
	{"changes", "seq, at, who, why, action, kind, subject, version, digest_from, digest_to, differences", false},
	{"definitions", "id, kind, name, version, digest, body, change", false},
	{"calibrations", "id, dyno, valid_from, since, digest, body", true},
	{"heads", "campaign, since, vehicle, dyno, digest, body", true},
	{"originals", "campaign, name, since, digest", true},
	{"configurations", "id, campaign, name, since, position, digest, body", true},
	{"setups", "campaign, name, change", false},
	{"pulls", "id, campaign, name, since, position, line, started, configuration, setup, log, digest, body", true},
	{"attachments", "id, campaign, kind, subject, name, media, size, note, digest, change", false},
	{"results", "id, campaign, version, data_digest, program, settings_digest, settings, digest, body, scatter_digest, scatter, change", false},
	{"checks", "result, position, name, status, body", false},
}

// render writes the migrations in an engine's dialect.
func (e engine) render() (fs.FS, error) {
	templates, err := template.ParseFS(migrations, "migrations/*.sql")
	if err != nil {
		return nil, err
	}
	rendered := fstest.MapFS{} // a file system in memory; goose reads from one
	for _, t := range templates.Templates() {
		var text bytes.Buffer
		data := map[string]any{"Text": e.text, "Function": e.function, "Refuse": e.refuse, "Kept": kept}
		if err := t.Execute(&text, data); err != nil {
			return nil, err
		}
		rendered[path.Base(t.Name())] = &fstest.MapFile{Data: text.Bytes()}
	}
	return rendered, nil
}

// provider returns the migrator of a database.
func (e engine) provider(db *sql.DB) (*goose.Provider, error) {
	files, err := e.render()
	if err != nil {
		return nil, err
	}
	options := []goose.ProviderOption{goose.WithDisableGlobalRegistry(true)}
	if e.dialect == goose.DialectPostgres {
		// Two programs that open a workspace at once migrate one after the other.
		locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 120))
		if err != nil {
			return nil, err
		}
		options = append(options, goose.WithSessionLocker(locker))
	}
	return goose.NewProvider(e.dialect, db, files, options...)
}

// migrate brings the tables to the program's version. A SQLite database that
// holds something is copied beside itself first.
func (s *Store) migrate(ctx context.Context) error {
	migrator, err := s.place.engine.provider(s.db)
	if err != nil {
		return err
	}
	have, want, err := migrator.GetVersions(ctx)
	switch {
	case err != nil:
		return err
	case have > want:
		return fmt.Errorf("%w (tables of version %d, this program knows %d)", ErrNewer, have, want)
	case have == want:
		return nil
	}
	if have > 0 && s.place.dir != "" {
		copied := fmt.Sprintf("%s.before-%d-%s", s.place.database, want, time.Now().UTC().Format("20060102T150405.000"))
		if err := s.snapshot(ctx, copied); err != nil {
			return fmt.Errorf("copy before migration: %w", err)
		}
	}
	if _, err := migrator.Up(ctx); err != nil {
		// Another program may have done it meanwhile.
		if now, errNow := migrator.GetDBVersion(ctx); errNow == nil && now == want {
			return nil
		}
		return fmt.Errorf("migrate the tables from version %d to %d: %w", have, want, err)
	}
	return nil
}

// snapshot writes a consistent copy of a SQLite database to a new file.
func (s *Store) snapshot(ctx context.Context, file string) error {
	if strings.ContainsRune(file, 0) {
		return refused("the path holds a zero byte")
	}
	if _, err := s.db.ExecContext(ctx, "VACUUM INTO $1", file); err != nil {
		return explain(err)
	}
	return syncFile(file)
}
