package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestManual runs every "$ fairpull …" of the README and of docs/ in a folder
// of its own and compares what it prints with what the page shows.
func TestManual(t *testing.T) {
	pages, err := filepath.Glob(filepath.Join(repository(t), "docs", "*.md"))
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, page := range append(pages, filepath.Join(repository(t), "README.md")) {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(filepath.Base(page), func(t *testing.T) {
			t.Chdir(t.TempDir())
			ownWorkspace(t)
			for _, example := range examples(string(text)) {
				found++
				code, out, errs := run(t, splitWords(example.command)...)
				if code != exitDone {
					t.Errorf("%s: exit %d: %s", example.command, code, errs)
				}
				if got, want := strings.TrimRight(out, "\n"), strings.TrimRight(example.output, "\n"); !agrees(got, want) {
					t.Errorf("%s prints\n%s\n\nand the page shows\n%s", example.command, got, want)
				}
			}
		})
	}
	if found == 0 {
		t.Error("no example was found: the test looks in the wrong place")
	}
}

type example struct{ command, output string }

// examples finds fenced blocks whose first line begins "$ fairpull ".
func examples(text string) []example {
	var out []example
	for i, block := range strings.Split(text, "```") {
		if i%2 == 0 {
			continue
		}
		_, body, _ := strings.Cut(block, "\n")
		for _, part := range strings.Split("\n"+body, "\n$ fairpull ")[1:] {
			command, output, _ := strings.Cut(part, "\n")
			out = append(out, example{command, output})
		}
	}
	return out
}

// agrees compares output with what a page shows; a line "…" on the page stands
// for any number of lines, and an empty output for one that is not shown.
func agrees(got, want string) bool {
	if want == "" {
		return true
	}
	got = "\n" + got + "\n"
	parts := strings.Split("\n"+want+"\n", "\n…\n")
	for i, part := range parts {
		at := strings.Index(got, part)
		if at < 0 || i == 0 && at != 0 || i == len(parts)-1 && !strings.HasSuffix(got, part) {
			return false
		}
		got = got[at+len(part):]
	}
	return true
}

// splitWords splits a command line at blanks, with double quotes kept together.
func splitWords(line string) []string {
	var words []string
	word, inWord, quoted := "", false, false
	for _, r := range line {
		switch {
		case r == '"':
			quoted, inWord = !quoted, true
		case r == ' ' && !quoted:
			if inWord {
				words = append(words, word)
			}
			word, inWord = "", false
		default:
			word, inWord = word+string(r), true
		}
	}
	if inWord {
		words = append(words, word)
	}
	return words
}
