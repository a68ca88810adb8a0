package fairpull_test

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

// TestAcceptanceNamesWhatExists holds docs/acceptance.md to the tree: a test,
// benchmark or fuzz target that it names as a proof is there.
func TestAcceptanceNamesWhatExists(t *testing.T) {
	page, err := os.ReadFile("docs/acceptance.md")
	if err != nil {
		t.Fatal(err)
	}
	there := map[string]bool{}
	declared := regexp.MustCompile(`(?m)^func ((?:Test|Benchmark|Fuzz)\w+)\(`)
	for _, file := range testFiles(t) {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, found := range declared.FindAllStringSubmatch(string(text), -1) {
			there[found[1]] = true
		}
	}
	named := regexp.MustCompile("`((?:Test|Benchmark|Fuzz)[A-Z]\\w*)").FindAllStringSubmatch(string(page), -1)
	if len(named) < 100 {
		t.Errorf("only %d proofs are named: the test looks in the wrong place", len(named))
	}
	for _, name := range named {
		if !there[name[1]] {
			t.Errorf("docs/acceptance.md names %s, which is nowhere in the tree", name[1])
		}
	}
	if strings.Contains(string(page), "``") {
		t.Error("docs/acceptance.md has an empty name")
	}
}
