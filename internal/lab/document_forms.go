package lab

import (
	"bytes"
	"fmt"
	"io"

	"fairpull/quantity"
)

// Document is what can be written in all the forms that a report takes.
type Document interface {
	HTML(w io.Writer, units quantity.System) error
	PDF(w io.Writer, units quantity.System) error
	SVG(w io.Writer, units quantity.System) error
	PNG(w io.Writer, units quantity.System) error
}

// WriteDocument writes the document in the form that the file's ending names. The
// file appears whole or not at all.
func WriteDocument(d Document, file string, overwrite bool, units quantity.System) error {
	write, known := map[string]func(io.Writer, quantity.System) error{
		".html": d.HTML, ".pdf": d.PDF, ".svg": d.SVG, ".png": d.PNG,
	}[ending(file)]
	if !known {
		return fmt.Errorf("no form of report has the ending %q", ending(file))
	}
	var content bytes.Buffer
	if err := write(&content, units); err != nil {
		return err
	}
	return WriteFile(file, content.Bytes(), overwrite)
}
