package web

import (
	"context"
	"errors"
	"net/http"
	"strings"

	"fairpull/internal/lab"
)

// requestError is a request that cannot be carried out as it is.
type requestError struct {
	status int
	text   string
}

func (e *requestError) Error() string { return e.text }

// problemView is the page that says what went wrong.
type problemView struct {
	frame
	Heading string
	Text    []string // a paragraph each
	Back    string
}

// problemOf returns how an error is answered. What a person can do something
// about is told; what only the server's keeper can, is logged and not told.
func problemOf(err error) (status int, heading, text string) {
	var request *requestError
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &request):
		return request.status, headings[request.status], request.text
	case errors.As(err, &tooLarge):
		return http.StatusRequestEntityTooLarge, headings[http.StatusRequestEntityTooLarge], "What was sent is larger than a form can be. Nothing was written."
	case errors.Is(err, lab.ErrUnknown):
		return http.StatusNotFound, headings[http.StatusNotFound], err.Error()
	case errors.Is(err, lab.ErrChanged), errors.Is(err, lab.ErrNotOpen):
		return http.StatusConflict, headings[http.StatusConflict], err.Error()
	case errors.Is(err, lab.ErrRefused):
		return http.StatusUnprocessableEntity, headings[http.StatusUnprocessableEntity], err.Error()
	case errors.Is(err, lab.ErrFull):
		return http.StatusInsufficientStorage, "No room on the disk", err.Error()
	case errors.Is(err, lab.ErrBusy):
		return http.StatusServiceUnavailable, "The workspace is busy", err.Error()
	}
	return http.StatusInternalServerError, "Something went wrong here",
		"The page could not be made. What is in the workspace is as it was; the server's log says more."
}

var headings = map[int]string{
	http.StatusBadRequest:            "This cannot be understood",
	http.StatusForbidden:             "Not for this account",
	http.StatusNotFound:              "Nothing is here",
	http.StatusConflict:              "It stands otherwise now",
	http.StatusUnprocessableEntity:   "This cannot be kept as it is",
	http.StatusRequestEntityTooLarge: "Too much was sent",
	http.StatusTooManyRequests:       "Too many tries",
}

// problem answers an error with a page.
func (s *Server) problem(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(err, context.Canceled) && r.Context().Err() != nil {
		return // nobody waits for the answer
	}
	status, heading, text := problemOf(err)
	if status >= http.StatusInternalServerError {
		s.o.Log.Error("request failed", "method", r.Method, "path", r.URL.Path, "error", err)
	}
	view := problemView{frame: s.frame(r, heading), Heading: heading, Back: "/"}
	for line := range strings.SplitSeq(text, "\n") {
		if line = strings.TrimSpace(line); line != "" {
			view.Text = append(view.Text, line)
		}
	}
	if r.Method != http.MethodGet {
		view.Here = "/"
		if id := r.PathValue("id"); id != "" {
			view.Back = "/campaigns/" + id
		}
	}
	if err := s.page(w, r, status, "problem", view); err != nil {
		s.o.Log.Error("page of a problem", "error", err)
		http.Error(w, heading, status)
	}
}
