package lab

import (
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fairpull/quantity"
	"fairpull/report"
)

// documentEndings are the forms that a report can take.
var documentEndings = []string{".html", ".pdf", ".svg", ".png"}

func ending(file string) string { return strings.ToLower(filepath.Ext(file)) }

// CheckReports refuses, before any work is done, files of an unknown form, one
// named twice, one in a folder that is not there and, unless overwrite is set,
// files that exist.
func CheckReports(files []string, overwrite bool) error {
	var seen []string
	for _, file := range files {
		if !slices.Contains(documentEndings, ending(file)) {
			return fmt.Errorf("a report is written as %s, and %q is none of them", strings.Join(documentEndings, ", "), file)
		}
		dir, err := realFolder(filepath.Dir(file))
		if err != nil {
			return fmt.Errorf("%s cannot be written: %w", file, err)
		}
		place := filepath.Join(dir, filepath.Base(file))
		if slices.Contains(seen, place) {
			return fmt.Errorf("%s is named twice", file)
		}
		seen = append(seen, place)
		switch info, err := os.Lstat(file); {
		case err != nil:
		case info.IsDir():
			return fmt.Errorf("%s is a folder", file)
		case !overwrite:
			return existsError(file)
		}
	}
	return nil
}

// realFolder returns the absolute path of a folder, links followed.
func realFolder(dir string) (string, error) {
	real, err := filepath.EvalSymlinks(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("there is no folder %s", dir)
	}
	if err != nil {
		return "", fmt.Errorf("the folder %s: %w", dir, reasonOf(err))
	}
	if info, err := os.Stat(real); err != nil || !info.IsDir() {
		return "", fmt.Errorf("%s is not a folder", dir)
	}
	return filepath.Abs(real)
}

func existsError(file string) error {
	return fmt.Errorf("%s exists and is not replaced without --overwrite", file)
}

// WriteReport writes the document that the file's ending names. The file
// appears whole or not at all.
func WriteReport(view *report.Gain, file string, overwrite bool, units quantity.System) error {
	var content bytes.Buffer
	var err error
	switch ending(file) {
	case ".html":
		err = view.HTML(&content, units)
	case ".pdf":
		err = view.PDF(&content, units)
	case ".svg":
		err = view.SVG(&content, units)
	case ".png":
		err = view.PNG(&content, units)
	default:
		err = fmt.Errorf("no form of report has the ending %q", ending(file))
	}
	if err != nil {
		return err
	}
	return WriteFile(file, content.Bytes(), overwrite)
}

// WriteFile puts data into file, whole and on disk, or leaves everything as it
// was. Unless overwrite is set a file that exists is an error. The file's mode is
// what the user's mask leaves of 0666.
func WriteFile(file string, data []byte, overwrite bool) error {
	dir := filepath.Dir(file)
	staging, err := stage(dir)
	if err != nil {
		return cannotWrite(file, err)
	}
	defer os.Remove(staging.Name())
	_, err = staging.Write(data)
	if err = errors.Join(err, staging.Sync(), staging.Close()); err != nil {
		return cannotWrite(file, err)
	}
	if overwrite {
		err = os.Rename(staging.Name(), file)
	} else {
		err = place(os.Link, staging.Name(), file)
	}
	if errors.Is(err, fs.ErrExist) && !overwrite {
		return existsError(file)
	}
	if err != nil {
		return cannotWrite(file, err)
	}
	return syncDir(dir)
}

// stage creates a file of its own in dir, hidden by its name.
func stage(dir string) (*os.File, error) {
	name := filepath.Join(dir, ".fairpull-"+rand.Text())
	return os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
}

// place gives the staged file the name file unless something has that name: then
// the error is fs.ErrExist. It links; where the file system has no links it takes
// the name with an empty file first and then puts the staged one over it.
func place(link func(from, to string) error, staged, file string) error {
	err := link(staged, file)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	taken, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	if err := errors.Join(taken.Close(), os.Rename(staged, file)); err != nil {
		return errors.Join(err, os.Remove(file))
	}
	return nil
}

// cannotWrite says that file was not written, and why, without the names of what
// was staged for it.
func cannotWrite(file string, err error) error {
	return fmt.Errorf("%s was not written: %w", file, reasonOf(err))
}

// reasonOf returns what the system objects to, without the paths it names.
func reasonOf(err error) error {
	var path *fs.PathError
	var link *os.LinkError
	switch {
	case errors.As(err, &path):
		return path.Err
	case errors.As(err, &link):
		return link.Err
	}
	return err
}
