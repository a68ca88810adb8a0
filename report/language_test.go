package report

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"fairpull/campaign"
)

var argument = regexp.MustCompile(`%\[[0-9]\][a-z]|%[^\[]`)

// arguments lists what a text takes, each once.
func arguments(text any) []string {
	var out []string
	switch text := text.(type) {
	case string:
		out = argument.FindAllString(text, -1)
	case map[string]any:
		out = arguments(text["other"])
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Every language has every text, with the same arguments, and no text of its own; all
// forms of a plural take the same; and none speaks of certification.
func TestLanguagesAreWhole(t *testing.T) {
	english := languages()["en"]
	if len(languages()) != 4 || len(english.texts) < 90 {
		t.Fatalf("%d languages, %d texts", len(languages()), len(english.texts))
	}
	for code, l := range languages() {
		for key, text := range english.texts {
			own, there := l.texts[key]
			if !there {
				t.Errorf("%s has no %s", code, key)
				continue
			}
			if !slices.Equal(arguments(own), arguments(text)) {
				t.Errorf("%s, %s takes %v, in English %v", code, key, arguments(own), arguments(text))
			}
			forms, _ := own.(map[string]any)
			for form, one := range forms {
				if !slices.Equal(arguments(one), arguments(text)) {
					t.Errorf("%s, %s, form %s takes %v, in English %v", code, key, form, arguments(one), arguments(text))
				}
			}
			if err := campaign.CheckClaimText(fmt.Sprint(own)); err != nil {
				t.Errorf("%s, %s: %v", code, key, err)
			}
		}
		for key := range l.texts {
			if _, there := english.texts[key]; !there {
				t.Errorf("%s has %s, and English has not", code, key)
			}
		}
		if code != "en" && l.Name == english.Name {
			t.Errorf("%s is called %s", code, l.Name)
		}
	}
}

// Decimal marks of the four languages, and of Switzerland, as the Unicode CLDR has
// them (from memory: comma in de, es, fr; point in en and de-CH); the digits of a
// rounded number, its sign, and trailing zeros stay.
func TestNumbersOfLanguages(t *testing.T) {
	for _, c := range []struct{ code, in, want string }{
		{"en", "1234.50", "1234.50"}, {"de", "1234.50", "1234,50"}, {"es", "2500", "2500"}, {"fr", "−0.10", "−0,10"},
		{"de", "+6.7", "+6,7"}, {"de-CH", "6.7", "6.7"}, {"fr", "–", "–"}, {"de", "no", "no"}, {"es", "0.005", "0,005"}, {"de", "98765.4321", "98765,4321"},
	} {
		l, err := ParseLanguage(c.code)
		if err != nil {
			t.Fatal(err)
		}
		if got := l.number(c.in); got != c.want {
			t.Errorf("%s: %q is written %q, not %q", c.code, c.in, got, c.want)
		}
	}
	for _, bad := range []string{"", "xx", "english", "nl", strings.Repeat("de-", 100)} {
		if _, err := ParseLanguage(bad); err == nil || !strings.Contains(err.Error(), "de, en, es, fr") {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

// The plural follows the number, as CLDR's rules have it: 1 is one; 0 and 2 are other
// in English, German and Spanish, and 0 is one in French (from memory).
func TestPluralsOfLanguages(t *testing.T) {
	want := map[string][3]string{
		"en": {"0 specimens", "1 specimen ", "2 specimens"}, "de": {"0 Exemplare", "1 Exemplar ", "2 Exemplare"},
		"es": {"0 ejemplares", "1 ejemplar ", "2 ejemplares"}, "fr": {"0 exemplaire ", "1 exemplaire ", "2 exemplaires"},
	}
	for _, code := range slices.Sorted(maps.Keys(want)) {
		for n, text := range want[code] {
			if got := languages()[code].say("holds.specimens", n); !strings.Contains(got+" ", text) {
				t.Errorf("%s: %q has no %q", code, got, text)
			}
		}
	}
}

// A language whose file is wrong is refused, and says where.
func TestReadLanguageRefuses(t *testing.T) {
	for _, c := range [][2]string{
		{"name = 'x'\n[a]\nb = 3\n", "a.b"}, {"[a]\nb = 'x'\n", "no name"}, {"name = 'x'\n[a]\nb = { many = 'x' }\n", "a.b"}, {"name = ", ""},
	} {
		if _, err := readLanguage("en", []byte(c[0])); err == nil || !strings.Contains(err.Error(), c[1]) {
			t.Errorf("%q: %v", c[0], err)
		}
	}
}
