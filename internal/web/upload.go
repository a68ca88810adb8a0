package web

import (
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"path"
	"strings"
	"time"
	"unicode/utf8"

	"fairpull/campaign"
)

// Limits of a form that brings a file.
const (
	maxFileBytes   = 64 << 20
	maxUploads     = 4 // files that are read at once
	maxUploadParts = 64
	uploadTimeout  = 5 * time.Minute
)

// logUpload is the route that takes a log at the rig.
const logUpload = "POST /campaigns/{id}/measuring/log"

// upload is a form that brought a file, or files.
type upload struct {
	name   string // of the file, without a folder; empty: none was chosen
	data   []byte
	beside map[string][]byte // the files of a form that takes several; nil: it takes one
	fields url.Values
}

// readUpload reads a form with at most one file, which is never written to disk and
// never unpacked. Who waits for others to be read waits as long as the request lasts.
func (s *Server) readUpload(w http.ResponseWriter, r *http.Request) (*upload, error) {
	return s.readParts(w, r, &upload{fields: url.Values{}}, maxUploadParts)
}

// readFiles is readUpload for a form with several files.
func (s *Server) readFiles(w http.ResponseWriter, r *http.Request) (*upload, error) {
	return s.readParts(w, r, &upload{fields: url.Values{}, beside: map[string][]byte{}}, 2*maxReadingsFiles)
}

func (s *Server) readParts(w http.ResponseWriter, r *http.Request, u *upload, most int) (*upload, error) {
	select {
	case s.reading <- struct{}{}:
		defer func() { <-s.reading }()
	case <-r.Context().Done():
		return nil, r.Context().Err()
	}
	control := http.NewResponseController(w)
	until := time.Now().Add(uploadTimeout)
	if err := errors.Join(control.SetReadDeadline(until), control.SetWriteDeadline(until.Add(writeTimeout))); err != nil {
		return nil, fmt.Errorf("reading a file: %w", err)
	}
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, &requestError{http.StatusBadRequest, "This form brings a file, and what came is none: choose a file on the page, and send it from there."}
	}
	for n := 0; ; n++ {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return u, nil
		}
		if err == nil && n >= most {
			err = errors.New("too many parts")
		}
		if err == nil {
			err = u.take(part)
		}
		if err != nil {
			return nil, brokenUpload(err)
		}
	}
}

// brokenUpload words why a form with a file could not be read.
func brokenUpload(err error) error {
	var known *requestError
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &known):
		return err
	case errors.As(err, &tooLarge):
		return fileTooLarge
	}
	return &requestError{http.StatusBadRequest, "The file did not come whole. Nothing was kept: send it again."}
}

var fileTooLarge = &requestError{http.StatusRequestEntityTooLarge, fmt.Sprintf("The file is larger than %d MiB. Nothing was kept: cut it to the part around the pull, or put it in a folder that is watched.", maxFileBytes>>20)}

// take reads one part of the form.
func (u *upload) take(part *multipart.Part) error {
	if part.FormName() != "file" {
		text, err := io.ReadAll(io.LimitReader(part, maxFormBytes+1))
		if err == nil && len(text) > maxFormBytes {
			return &requestError{http.StatusRequestEntityTooLarge, "A field of the form is too long. Nothing was kept."}
		}
		if err == nil && !isText(part.FormName()+string(text)) {
			return &requestError{http.StatusBadRequest, "The form cannot be read. Nothing was kept."}
		}
		u.fields.Add(part.FormName(), string(text))
		return err
	}
	if part.FileName() == "" {
		return nil
	}
	if u.beside != nil {
		return u.takeBeside(part)
	}
	if u.name != "" {
		return &requestError{http.StatusBadRequest, "One file at a time: the order of pulls is the order in which they come. Nothing was kept."}
	}
	u.name = plainName(part.FileName())
	data, err := io.ReadAll(io.LimitReader(part, maxFileBytes+1))
	if err == nil && len(data) > maxFileBytes {
		return fileTooLarge
	}
	u.data = data
	return err
}

// takeBeside reads one of several files.
func (u *upload) takeBeside(part *multipart.Part) error {
	name := plainName(part.FileName())
	if _, twice := u.beside[name]; twice {
		return &requestError{http.StatusBadRequest, "Two files are called " + name + ". Nothing was kept: give them names of their own."}
	}
	data, err := io.ReadAll(io.LimitReader(part, maxFileBytes+1))
	if err == nil && len(data) > maxFileBytes {
		return fileTooLarge
	}
	u.beside[name] = data
	return err
}

// plainName returns the name of a file without folders, as text that can be shown.
func plainName(name string) string {
	name = path.Base(strings.ReplaceAll(strings.ToValidUTF8(name, "_"), `\`, "/"))
	if name == "." || name == "/" || name == ".." || campaign.CheckText(name) != nil {
		return "log.csv"
	}
	for len(name) > 200 {
		_, size := utf8.DecodeRuneInString(name)
		name = name[size:]
	}
	return name
}
