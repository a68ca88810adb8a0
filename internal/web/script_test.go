package web

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The bundle carries the digest of the scripts that it was made of: one that was
// changed without bundling anew is found here.
func TestBundleIsOfTheseScripts(t *testing.T) {
	sum := sha256.New()
	for _, part := range []string{"src", "vendor"} {
		err := filepath.WalkDir(filepath.Join("script", part), func(path string, entry fs.DirEntry, err error) error {
			if err != nil || entry.IsDir() || !strings.HasSuffix(path, ".js") {
				return err
			}
			data, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			fmt.Fprintf(sum, "%s %d\n", strings.TrimPrefix(filepath.ToSlash(path), "script/"), len(data))
			sum.Write(data)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	bundle, err := os.ReadFile("script/app.js")
	if err != nil {
		t.Fatal(err)
	}
	want := "/* sources " + hex.EncodeToString(sum.Sum(nil)) + " */"
	first, _, _ := strings.Cut(string(bundle), "\n")
	if first != want {
		t.Errorf("app.js begins with %s, and its scripts are %s\n  Bundle them anew: go run -C tools ./bundle", first, want)
	}
	if !strings.Contains(string(bundle), "Leon Sorokin") {
		t.Error("the bundle lacks the licence of the library in it")
	}
}
