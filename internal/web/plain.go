package web

import (
	"net/http"
	"net/url"
	"strings"
	"unicode/utf8"
)

// isText reports whether what came is text that a workspace can hold: UTF-8 without
// zero bytes, which not every database takes.
func isText(s string) bool { return utf8.ValidString(s) && !strings.ContainsRune(s, 0) }

// areText reports whether all values of a form or an address are text.
func areText(v url.Values) bool {
	for name, values := range v {
		for _, value := range append([]string{name}, values...) {
			if !isText(value) {
				return false
			}
		}
	}
	return true
}

// plainAddress refuses an address that is not text: nothing has such a name.
func plainAddress(r *http.Request) error {
	switch {
	case !isText(r.URL.Path):
		return &requestError{http.StatusNotFound, "There is no such page. The overview has all campaigns."}
	case !areText(r.URL.Query()):
		return &requestError{http.StatusBadRequest, "The address holds what is no text."}
	}
	return nil
}
