package lab

import (
	"bytes"
	"errors"

	"fairpull/report"
)

// CheckScatterReports refuses, before any work is done, the files that CheckReports
// refuses, and forms that the scatter is not written in.
func CheckScatterReports(files []string, overwrite bool) error {
	for _, file := range files {
		if e := ending(file); e != ".html" && e != ".svg" {
			return errors.New("the scatter is written as .html or .svg, and " + file + " is neither")
		}
	}
	return CheckReports(files, overwrite)
}

// WriteScatterReport writes the document that the file's ending names. The file
// appears whole or not at all.
func WriteScatterReport(view *report.Scatter, file string, overwrite bool) error {
	var content bytes.Buffer
	write := view.HTML
	if ending(file) == ".svg" {
		write = view.SVG
	}
	if err := write(&content); err != nil {
		return err
	}
	return WriteFile(file, content.Bytes(), overwrite)
}
