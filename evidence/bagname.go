package evidence

import (
	"strings"
	"unicode/utf8"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// The bounds of a file's name: bytes, bytes between two slashes, folders.
const (
	longestName    = 1024
	longestElement = 255
	deepest        = 32
)

// checkBase refuses a name that cannot be a bag's folder everywhere.
func checkBase(name string) error {
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' || r == '.'
	}
	if name == "" || len(name) > 100 || strings.ContainsFunc(name, func(r rune) bool { return !plain(r) }) {
		return bagError("", "has a name that is none: %.80q (letters, digits, dots, hyphens, underscores)", name)
	}
	return checkName(name)
}

// checkName refuses a name that could lead out of the bag's folder, or that means
// another file, or none, on some machine: absolute, with "..", with a backslash, a
// colon or a control character, not UTF-8 in normal form C, with a device's name.
func checkName(name string) error {
	switch {
	case name == "" || len(name) > longestName || strings.Count(name, "/") >= deepest:
		return bagError(name, "has no name, one of more than %d bytes, or one in more than %d folders", longestName, deepest)
	case !utf8.ValidString(name) || !norm.NFC.IsNormalString(name):
		return bagError(name, "has a name that is not UTF-8 in normal form C")
	case strings.ContainsFunc(name, unprintable) || strings.ContainsAny(name, `\:*?"<>|`):
		return bagError(name, "has a sign in its name that some machines do not take")
	}
	for element := range strings.SplitSeq(name, "/") {
		switch {
		case element == "" || element == "." || element == "..":
			return bagError(name, "has a name that leads out of its folder")
		case len(element) > longestElement:
			return bagError(name, "has a name that is too long")
		case strings.HasSuffix(element, ".") || strings.HasSuffix(element, " ") || strings.HasPrefix(element, " "):
			return bagError(name, "has a name with a dot at its end or a blank at an end")
		case device(element):
			return bagError(name, "has the name of a device")
		}
	}
	return nil
}

// device reports a name that means a device on some machines, whatever its
// extension.
func device(element string) bool {
	stem, _, _ := strings.Cut(strings.ToLower(element), ".")
	stem = strings.TrimSpace(stem)
	switch stem {
	case "con", "prn", "aux", "nul", "conin$", "conout$", "clock$":
		return true
	}
	return len(stem) == 4 && (strings.HasPrefix(stem, "com") || strings.HasPrefix(stem, "lpt")) && stem[3] >= '0' && stem[3] <= '9'
}

// claimName notes a name and the folders it needs, and refuses one that another
// file or folder has, also in other case or another Unicode form: on some machines
// the two would be one file.
func (b *Bag) claimName(name string) error {
	path := name
	for at := len(name); at >= 0; at = strings.LastIndexByte(path, '/') {
		path = name[:at]
		key := fold(path)
		// A folder is noted with a slash at its end, so that it is no file.
		mark := path
		if path != name {
			mark += "/"
		}
		if other, taken := b.names[key]; taken && (other != mark || path == name) {
			return bagError(name, "has the name of %.200q", other)
		}
		b.names[key] = mark
	}
	return nil
}

// fold returns the form in which names that some machine takes for one are equal.
func fold(name string) string {
	return norm.NFKC.String(cases.Fold().String(norm.NFKC.String(name)))
}
