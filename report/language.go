package report

import (
	"embed"
	"fmt"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/pelletier/go-toml/v2"
	forms "golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/message/catalog"
	"golang.org/x/text/number"
)

// languageFiles are the texts of the customer sheet, a file for each language.
//
//go:embed language/*.toml
var languageFiles embed.FS

// Language is one in which a customer sheet can be written: its texts, and how it
// writes numbers.
type Language struct {
	Tag  language.Tag
	Name string // in the language itself

	texts map[string]any // by key: a text, or the forms of a plural
	print *message.Printer
}

// languages are all of the folder, by the names of their files.
var languages = sync.OnceValue(func() map[string]*Language {
	entries, err := languageFiles.ReadDir("language")
	if err != nil {
		panic("report: the folder of languages: " + err.Error())
	}
	out := map[string]*Language{}
	for _, entry := range entries {
		text, err := languageFiles.ReadFile("language/" + entry.Name())
		if err == nil {
			code := strings.TrimSuffix(entry.Name(), path.Ext(entry.Name()))
			out[code], err = readLanguage(code, text)
		}
		if err != nil {
			panic("report: " + entry.Name() + ": " + err.Error())
		}
	}
	return out
})

// LanguageCodes returns the languages that a sheet can be written in: de, en, es, fr.
func LanguageCodes() []string {
	var codes []string
	for code := range languages() {
		codes = append(codes, code)
	}
	slices.Sort(codes)
	return codes
}

// ParseLanguage returns the language of a code, or of a tag that names it more
// closely: "de-CH" is written in "de", with the numbers of de-CH.
func ParseLanguage(code string) (*Language, error) {
	unknown := fmt.Errorf("there is no language %.40q: %s", code, strings.Join(LanguageCodes(), ", "))
	tag, err := language.Parse(code)
	if err != nil {
		return nil, unknown
	}
	base, _ := tag.Base()
	l, known := languages()[base.String()]
	if !known {
		return nil, unknown
	}
	return l.with(tag)
}

// readLanguage reads the texts of a language.
func readLanguage(code string, text []byte) (*Language, error) {
	tag, err := language.Parse(code)
	if err != nil {
		return nil, err
	}
	tree := map[string]any{}
	if err := toml.Unmarshal(text, &tree); err != nil {
		return nil, err
	}
	l := &Language{texts: map[string]any{}}
	for section, content := range tree {
		switch content := content.(type) {
		case string:
			l.texts[section] = content
		case map[string]any:
			for key, value := range content {
				l.texts[section+"."+key] = value
			}
		}
	}
	l.Name, _ = l.texts["name"].(string)
	if l.Name == "" {
		return nil, fmt.Errorf("the language has no name")
	}
	return l.with(tag)
}

// with returns the language with the numbers of a tag.
func (l *Language) with(tag language.Tag) (*Language, error) {
	out := &Language{Tag: tag, Name: l.Name, texts: l.texts}
	builder := catalog.NewBuilder(catalog.Fallback(tag))
	for key, value := range l.texts {
		var err error
		switch value := value.(type) {
		case string:
			err = builder.SetString(tag, key, value)
		case map[string]any:
			err = builder.Set(tag, key, forms.Selectf(1, "%d", cases(value)...))
		default:
			err = fmt.Errorf("neither a text nor the forms of a plural")
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", key, err)
		}
	}
	out.print = message.NewPrinter(tag, message.Catalog(builder))
	return out, nil
}

// cases lists the forms of a plural as the catalog takes them, in a fixed order.
func cases(texts map[string]any) []any {
	var out []any
	for _, form := range []string{"zero", "one", "two", "few", "many", "other"} {
		if text, there := texts[form]; there {
			out = append(out, form, text)
		}
	}
	return out
}

// say returns the text of a key with its arguments in place. A key that the
// language lacks is a mistake of the program, held by a test.
func (l *Language) say(key string, args ...any) string {
	if _, there := l.texts[key]; !there {
		panic("report: the language " + l.Tag.String() + " has no text " + key)
	}
	return l.print.Sprintf(key, args...)
}

// has reports whether there is a text of the key.
func (l *Language) has(key string) bool {
	_, there := l.texts[key]
	return there
}

// number writes a number that is rounded already, "−1234.50", as the language
// does: same digits, its decimal mark, no mark for thousands. What is no number
// stays as it is.
func (l *Language) number(rounded string) string {
	bare := strings.TrimPrefix(strings.TrimPrefix(rounded, minus), "+")
	v, err := strconv.ParseFloat(bare, 64)
	if err != nil || strings.ContainsAny(bare, "eE") || math.IsNaN(v) || math.IsInf(v, 0) {
		return rounded
	}
	_, fraction, _ := strings.Cut(bare, ".")
	places := len(fraction)
	sign := strings.TrimSuffix(rounded, bare)
	return sign + l.print.Sprint(number.Decimal(v, number.MinFractionDigits(places), number.MaxFractionDigits(places), number.NoSeparator()))
}

// percent writes a rounded number of per cent.
func (l *Language) percent(rounded string) string { return l.number(rounded) + "\u00a0%" }

// list joins words: "a, b and c" in the language.
func (l *Language) list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return l.say("page.pair", strings.Join(words[:last], ", "), words[last])
}
