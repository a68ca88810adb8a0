package evidence

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
)

// OpenBag reads a bag from a folder or from a zip file and looks at its build. A
// link, a device or anything else that is no plain file is a *[BagError], and so is
// whatever [ReadZip] refuses. Call [Bag.Check] next.
func OpenBag(place string) (*Bag, error) {
	info, err := os.Stat(place)
	if err != nil {
		return nil, fmt.Errorf("open the dossier: %w", err)
	}
	if info.IsDir() {
		return readFolder(place)
	}
	if !info.Mode().IsRegular() {
		return nil, bagError("", "is neither a file nor a folder")
	}
	const most = MaxBytes + MaxFiles*(localSize+centralSize+2*longestName) + endSize
	data, err := readBounded(place, os.Open, most)
	if err != nil {
		return nil, err
	}
	return ReadZip(data)
}

// readFolder reads every file below a folder. Nothing outside is ever opened: the
// system confines the names, and links are refused.
func readFolder(place string) (*Bag, error) {
	root, err := os.OpenRoot(place)
	if err != nil {
		return nil, fmt.Errorf("open the dossier: %w", err)
	}
	defer root.Close()
	absolute, err := filepath.Abs(place)
	if err != nil {
		return nil, fmt.Errorf("open the dossier: %w", err)
	}
	b := &Bag{name: filepath.Base(absolute), files: map[string]*bagFile{}, names: map[string]string{}}
	seen := 0
	err = fs.WalkDir(root.FS(), ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return fmt.Errorf("read the dossier: %w", err)
		}
		if seen++; seen > 2*MaxFiles {
			return bagError("", "has more than %d files and folders", 2*MaxFiles)
		}
		switch {
		case entry.IsDir():
			return checkFolder(root, name)
		case !entry.Type().IsRegular():
			return bagError(name, "is a link or no plain file")
		}
		data, err := readBounded(name, root.Open, MaxBytes-b.bytes)
		if err != nil {
			return err
		}
		return b.put(name, data)
	})
	if err != nil {
		return nil, err
	}
	return b, b.needs()
}

// checkFolder refuses an empty folder, which no manifest knows.
func checkFolder(root *os.Root, name string) error {
	d, err := root.Open(name)
	if err != nil {
		return fmt.Errorf("read the dossier: %w", err)
	}
	defer d.Close()
	if _, err := d.Readdirnames(1); errors.Is(err, io.EOF) {
		return bagError(name, "is an empty folder, which does not belong there")
	} else if err != nil {
		return fmt.Errorf("read the dossier: %w", err)
	}
	return nil
}

// readBounded reads a plain file of at most most bytes.
func readBounded(name string, open func(string) (*os.File, error), most int64) ([]byte, error) {
	f, err := open(name)
	if err != nil {
		return nil, fmt.Errorf("read the dossier: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	switch {
	case err != nil:
		return nil, fmt.Errorf("read the dossier: %w", err)
	case !info.Mode().IsRegular():
		return nil, bagError(name, "is a link or no plain file")
	case info.Size() > most:
		return nil, bagError(name, "is too large: a dossier has at most %d bytes", int64(MaxBytes))
	}
	data := make([]byte, info.Size())
	if _, err := io.ReadFull(f, data); err != nil {
		return nil, fmt.Errorf("read the dossier: %s changes while it is read: %w", name, err)
	}
	if n, err := f.Read(make([]byte, 1)); n > 0 || !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("read the dossier: %s changes while it is read", name)
	}
	return data, nil
}

// WriteFolder writes the bag as a folder, which must not be there yet; its last
// element should be the bag's name. The files are written to a folder beside it
// first, so that a bag by half never has the right name.
func (b *Bag) WriteFolder(place string) (err error) {
	files, err := b.finished()
	if err != nil {
		return err
	}
	if _, err := os.Lstat(place); !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s is there already: nothing was written", place)
	}
	draft, err := os.MkdirTemp(filepath.Dir(place), ".unfinished-")
	if err != nil {
		return fmt.Errorf("write the dossier: %w", err)
	}
	defer func() {
		if err != nil {
			os.RemoveAll(draft)
		}
	}()
	root, err := os.OpenRoot(draft)
	if err != nil {
		return fmt.Errorf("write the dossier: %w", err)
	}
	defer root.Close()
	for _, name := range sortedNames(files) {
		if err := root.MkdirAll(path.Dir(name), 0o755); err != nil {
			return fmt.Errorf("write the dossier: %w", err)
		}
		if err := root.WriteFile(name, files[name], 0o644); err != nil {
			return fmt.Errorf("write the dossier: %w", err)
		}
	}
	if err := os.Chmod(draft, 0o755); err != nil {
		return fmt.Errorf("write the dossier: %w", err)
	}
	if err := os.Rename(draft, place); err != nil {
		return fmt.Errorf("write the dossier: %w", err)
	}
	return nil
}
