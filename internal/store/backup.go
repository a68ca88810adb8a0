package store

import (
	"archive/tar"
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"fairpull/evidence"
)

// ErrServerBackup says that a PostgreSQL workspace is not backed up here.
var ErrServerBackup = errors.New("a PostgreSQL workspace is backed up with the server's own tool: " +
	"first the database with pg_dump, then the folder of the logs, in that order")

// backupHead is the first entry of a backup.
type backupHead struct {
	Format    string
	Workspace string // its id
	Made      time.Time
	Database  string // the digest of the database, which is the next entry
	Files     int    // that follow it
}

const (
	backupFormat = "fairpull.backup/1"
	headEntry    = "backup.json"
	blobPrefix   = "blobs/"
	maxHead      = 1 << 16
)

// Backup writes the whole workspace to one new file, a tar archive of the
// database and of every file that it names, and reads it back to verify it.
// Others may go on writing meanwhile: the backup is the workspace at one moment.
//
// What is there under the name is left alone ([ErrExists]). It holds for SQLite
// workspaces; for PostgreSQL it is [ErrServerBackup].
func (s *Store) Backup(ctx context.Context, file string) (err error) {
	if s.place.dir == "" {
		return ErrServerBackup
	}
	if err := free("backup "+file, file); err != nil {
		return err
	}
	unfinished, err := os.MkdirTemp(filepath.Dir(file), ".backup-*")
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("there is no folder %s: nothing was written", filepath.Dir(file))
	}
	if err != nil {
		return explain(err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(unfinished)) }()
	// The database first: a file is on the disk before a row names it, so all
	// that this copy names is there.
	database, archive := filepath.Join(unfinished, databaseFile), filepath.Join(unfinished, "backup.tar")
	if err := s.snapshot(ctx, database); err != nil {
		return err
	}
	if err := s.writeBackup(ctx, database, archive); err != nil {
		return fmt.Errorf("backup: %w", explain(err))
	}
	if _, err := readBackup(ctx, archive, func(string, int64, io.Reader) error { return nil }); err != nil {
		return fmt.Errorf("backup: read back: %w", err)
	}
	if err := os.Rename(archive, file); err != nil {
		return err
	}
	return syncDir(filepath.Dir(file))
}

func (s *Store) writeBackup(ctx context.Context, database, archive string) error {
	names, err := namedIn(ctx, database)
	if err != nil {
		return err
	}
	source, err := os.Open(database)
	if err != nil {
		return err
	}
	defer source.Close() // it was only read
	digest, size, err := evidence.Of(source)
	if err != nil {
		return err
	}
	if _, err := source.Seek(0, io.SeekStart); err != nil {
		return err
	}
	file, err := os.OpenFile(archive, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	w := tar.NewWriter(file)
	err = s.writeEntries(ctx, w, backupHead{backupFormat, s.id, s.now().UTC(), digest.String(), len(names)}, source, size, names)
	if err == nil {
		err = w.Close()
	}
	if err == nil {
		err = file.Sync()
	}
	return errors.Join(err, file.Close())
}

func (s *Store) writeEntries(ctx context.Context, w *tar.Writer, head backupHead, database io.Reader, size int64, names []evidence.Digest) error {
	entry := func(name string, size int64, from io.Reader) error {
		if err := w.WriteHeader(&tar.Header{Name: name, Mode: 0o644, Size: size, ModTime: head.Made, Format: tar.FormatPAX}); err != nil {
			return err
		}
		_, err := io.Copy(w, from)
		return err
	}
	text, err := json.MarshalIndent(head, "", "  ")
	if err != nil {
		return err
	}
	if err := entry(headEntry, int64(len(text)), bytes.NewReader(text)); err != nil {
		return err
	}
	if err := entry(databaseFile, size, database); err != nil {
		return err
	}
	for _, d := range names {
		data, err := s.blobs.Get(ctx, d)
		if err != nil {
			return fmt.Errorf("%s: %w", d, err)
		}
		if kind := evidence.SecretIn(data); kind != "" {
			return fmt.Errorf("file %s of the workspace holds a private key (%s): nothing was written.\n  A backup goes to other places; rotate that key, as others may have it", d, kind)
		}
		if err := entry(blobPrefix+d.Hex(), int64(len(data)), bytes.NewReader(data)); err != nil {
			return err
		}
	}
	return nil
}

// namedIn returns the files that a database names, in order, each once.
func namedIn(ctx context.Context, database string) (names []evidence.Digest, err error) {
	db, err := sql.Open(sqliteEngine.driver, sqliteURI(database)+"?mode=ro&immutable=1")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	list, err := texts(ctx, db, `SELECT log FROM pulls UNION SELECT digest FROM originals UNION SELECT digest FROM attachments
		UNION SELECT digest FROM claim_files ORDER BY 1`)
	if err != nil {
		return nil, err
	}
	for _, text := range list {
		d, err := evidence.Parse(text)
		if err != nil {
			return nil, err
		}
		names = append(names, d)
	}
	return slices.Compact(names), nil
}

// readBackup reads a backup, gives every entry after the head to take, and
// verifies the digest of each as it is read. What take leaves is read too.
func readBackup(ctx context.Context, file string, take func(name string, size int64, from io.Reader) error) (head backupHead, err error) {
	source, err := os.Open(file)
	if err != nil {
		return head, err
	}
	defer source.Close() // it is only read
	r := tar.NewReader(source)
	if head, err = readHead(r); err != nil {
		return head, fmt.Errorf("%s %w: %w", file, ErrNoBackup, err)
	}
	want, err := evidence.Parse(head.Database)
	if err != nil {
		return head, fmt.Errorf("%s %w: %w", file, ErrNoBackup, err)
	}
	for i := range head.Files + 1 {
		entry, err := r.Next()
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return head, fmt.Errorf("%s %w: entry %d of %d: %w", file, ErrNoBackup, i+1, head.Files+1, err)
		}
		name := databaseFile
		if i > 0 {
			digits, found := bytes.CutPrefix([]byte(entry.Name), []byte(blobPrefix))
			want, err = evidence.ParseHex(string(digits))
			if !found || err != nil || entry.Size > MaxBlob {
				return head, fmt.Errorf("%s %w: %.100q is not an entry of one", file, ErrNoBackup, entry.Name)
			}
			name = entry.Name
		}
		if entry.Name != name || entry.Typeflag != tar.TypeReg {
			return head, fmt.Errorf("%s %w: %.100q stands where %s should", file, ErrNoBackup, entry.Name, name)
		}
		err = takeVerified(name, entry.Size, want, r, take)
		if errors.Is(err, io.ErrUnexpectedEOF) {
			err = fmt.Errorf("%w: it ends within %s", ErrNoBackup, name)
		}
		if err != nil {
			return head, fmt.Errorf("%s: %w", file, err)
		}
	}
	return head, nil
}

func takeVerified(name string, size int64, want evidence.Digest, r io.Reader, take func(string, int64, io.Reader) error) error {
	hash := evidence.NewHash()
	seen := io.TeeReader(r, hash)
	if err := take(name, size, seen); err != nil {
		return err
	}
	if _, err := io.Copy(io.Discard, seen); err != nil {
		return err
	}
	if found := hash.Digest(); found != want {
		return &DamagedError{Name: name, Recorded: want, Found: found}
	}
	return nil
}

func readHead(r *tar.Reader) (backupHead, error) {
	entry, err := r.Next()
	if err != nil {
		return backupHead{}, err
	}
	if entry.Name != headEntry || entry.Size > maxHead {
		return backupHead{}, fmt.Errorf("it begins with %.100q", entry.Name)
	}
	var head backupHead
	if err := json.NewDecoder(r).Decode(&head); err != nil {
		return backupHead{}, err
	}
	if head.Format != backupFormat || head.Files < 0 {
		return backupHead{}, fmt.Errorf("its format is %.40q, with %d files", head.Format, head.Files)
	}
	return head, nil
}
