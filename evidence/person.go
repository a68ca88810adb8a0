package evidence

import (
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// SamePerson reports whether two names read as one person's: in whatever case, with
// other blanks, marks, punctuation or accents, in another order, in another Unicode
// form, or with letters that look alike. It would rather take two people for one than
// one for two; who is taken for another adds a further name to their own. Names that
// somebody spells otherwise altogether, as with initials, are two.
//
// The comparison is by skeleton, after [UTS39], section 4.
func SamePerson(a, b string) bool {
	return slices.Equal(nameSkeleton(a), nameSkeleton(b))
}

// nameSkeleton returns the words of a name as they look, sorted.
func nameSkeleton(name string) []string {
	var plain strings.Builder
	for _, r := range norm.NFKD.String(name) {
		switch {
		case unicode.Is(unicode.Mn, r) || unicode.Is(unicode.Me, r) || unicode.Is(unicode.Cf, r) || invisible(r):
		case lookalikes[r] != 0:
			plain.WriteRune(lookalikes[r])
		default:
			plain.WriteRune(r)
		}
	}
	folded := cases.Fold().String(plain.String())
	words := strings.FieldsFunc(alikeFolded.Replace(folded), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsNumber(r) })
	if len(words) == 0 {
		return []string{norm.NFKC.String(name)}
	}
	slices.Sort(words)
	return words
}

// invisible reports letters that show nothing.
func invisible(r rune) bool {
	return r == '\u115f' || r == '\u1160' || r == '\u3164' || r == '\uffa0'
}

// alikeFolded writes what looks alike in many founts, once case is folded, in one way.
var alikeFolded = strings.NewReplacer("l", "i", "1", "i", "0", "o", "m", "rn", "vv", "w")

// lookalikes are letters that look like a Latin one: of Cyrillic and Greek script, and
// of Latin with a stroke or without a dot. From memory, of what [UTS39] lists.
var lookalikes = alike(
	"АA", "ВB", "ЕE", "ЅS", "ІI", "ЇI", "ЈJ", "КK", "МM", "НH", "ОO", "РP", "СC", "ТT", "УY", "ХX", "ҮY", "ԌG", "ԚQ", "ԜW", "ӀI", "ҺH", "ԀD",
	"аa", "еe", "ѕs", "іi", "їi", "јj", "кk", "мm", "оo", "рp", "сc", "тt", "уy", "хx", "үy", "һh", "ԁd", "ԛq", "ԝw", "ӏl", "ѵv", "гr", "пn", "ьb",
	"ΑA", "ΒB", "ΕE", "ΖZ", "ΗH", "ΙI", "ΚK", "ΜM", "ΝN", "ΟO", "ΡP", "ΤT", "ΥY", "ΧX", "ϹC", "ϳj",
	"αa", "ιi", "κk", "νv", "οo", "ρp", "τt", "υu", "χx", "ϲc", "γy", "ηn",
	"ıi", "ȷj", "łl", "ŁL", "øo", "ØO", "đd", "ĐD", "ħh", "ĦH", "ŧt", "ŦT", "ɑa", "ɡg", "ɩi", "ʋv", "ʏy", "օo", "ցg", "սu", "հh", "ոn",
)

// alike returns pairs of letters as a table.
func alike(pairs ...string) map[rune]rune {
	table := make(map[rune]rune, len(pairs))
	for _, pair := range pairs {
		both := []rune(pair)
		table[both[0]] = both[1]
	}
	return table
}
