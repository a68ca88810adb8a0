package fairpull_test

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// allowed lists, for each package, the packages of this module that it may
// import. The order is that of docs/architecture.md: a package may only name
// packages above it, so imports run one way.
var allowed = []struct {
	name    string
	imports string
}{
	{"quantity", ""},
	{"signal", ""},
	{"air", "quantity"},
	{"correction", "air quantity"},
	{"drum", "signal quantity"},
	{"curve", "quantity"},
	{"reduce", "signal drum air correction curve"},
	{"scatter", "curve"},
	{"compare", "curve scatter"},
	{"campaign", "quantity air"},
	{"ingest", "signal quantity campaign"},
	{"simulate", "air curve quantity"},
	{"road", "curve quantity"},
	{"mixture", "signal quantity"},
	{"budget", ""},
	{"evidence", ""},
	{"report/draw", ""},
	{"report", "quantity air correction curve drum reduce compare campaign report/draw"},
	{"internal/store", "quantity air campaign evidence"},
	{"internal/demo", ""},
	{"internal/arrival", ""},
	{"internal/lab", "quantity signal air correction drum curve reduce scatter compare campaign ingest simulate road mixture budget report evidence internal/store internal/demo internal/arrival"},
	{"internal/web", "quantity campaign report internal/lab"},
	{"internal/cli", "quantity campaign report internal/lab internal/web"},
	{"cmd/fairpull", "internal/cli"},
}

// TestImportDirections keeps the rooms apart: science knows no program, and
// nothing imports downwards or sideways.
func TestImportDirections(t *testing.T) {
	rules := map[string][]string{}
	for i, row := range allowed {
		rules[row.name] = strings.Fields(row.imports)
		for _, name := range rules[row.name] {
			if !slices.ContainsFunc(allowed[:i], func(above struct{ name, imports string }) bool { return above.name == name }) {
				t.Errorf("the table itself lets %s import %s, which does not stand above it", row.name, name)
			}
		}
	}
	seen := 0
	for _, file := range goFiles(t) {
		name := filepath.ToSlash(filepath.Dir(file))
		if name == "." {
			continue
		}
		may, known := rules[name]
		if !known {
			t.Errorf("%s: package %s is not in the table of this test; give it a line there and in docs/architecture.md", file, name)
			continue
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, spec := range parsed.Imports {
			path, ours := strings.CutPrefix(strings.Trim(spec.Path.Value, `"`), "fairpull/")
			if !ours {
				continue
			}
			seen++
			if !slices.Contains(may, path) {
				t.Errorf("%s imports %s; package %s may import only: %s", file, path, name, strings.Join(may, ", "))
			}
		}
	}
	if seen == 0 {
		t.Error("no import of this module was seen: the test looks in the wrong place")
	}
}

// goFiles lists the program's Go files, tests left out: a test may reach for a
// package that the program itself must not.
func goFiles(t *testing.T) []string {
	t.Helper()
	return slices.DeleteFunc(allGoFiles(t), func(path string) bool { return strings.HasSuffix(path, "_test.go") })
}

// testFiles lists the files of tests, whatever their build tags.
func testFiles(t *testing.T) []string {
	t.Helper()
	return slices.DeleteFunc(allGoFiles(t), func(path string) bool { return !strings.HasSuffix(path, "_test.go") })
}

func allGoFiles(t *testing.T) []string {
	t.Helper()
	var files []string
	err := filepath.WalkDir(".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if entry.IsDir() && path != "." && (strings.HasPrefix(entry.Name(), ".") || entry.Name() == "testdata" || path == "tools") {
			return filepath.SkipDir
		}
		if strings.HasSuffix(path, ".go") {
			files = append(files, path)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}
