package lab

import (
	"bytes"
	"errors"
	"fmt"
	"io"
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

// CheckReports refuses, before any work is done, files of an unknown form and,
// unless overwrite is set, files that exist.
func CheckReports(files []string, overwrite bool) error {
	for _, file := range files {
		if !slices.Contains(documentEndings, ending(file)) {
			return fmt.Errorf("a report is written as %s, and %q is none of them", strings.Join(documentEndings, ", "), file)
		}
		if _, err := os.Lstat(file); err == nil && !overwrite {
			return fmt.Errorf("%s exists and is not replaced without --overwrite", file)
		}
	}
	return nil
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
// was. Unless overwrite is set a file that exists is an error.
func WriteFile(file string, data []byte, overwrite bool) error {
	dir := filepath.Dir(file)
	staging, err := os.CreateTemp(dir, ".fairpull-*")
	if err != nil {
		return err
	}
	defer os.Remove(staging.Name())
	_, err = io.Copy(staging, bytes.NewReader(data))
	err = errors.Join(err, staging.Chmod(0o644), staging.Sync(), staging.Close())
	if err != nil {
		return err
	}
	if overwrite {
		err = os.Rename(staging.Name(), file)
	} else if err = os.Link(staging.Name(), file); errors.Is(err, fs.ErrExist) {
		err = fmt.Errorf("%s exists and is not replaced without --overwrite", file)
	}
	if err != nil {
		return err
	}
	return syncDir(dir)
}
