// Command bundle joins the scripts of the pages into one file. It is run from the
// root of the repository whenever a script was changed:
//
//	go run -C tools ./bundle
//
// The file carries the digest of what it was made of, which a test compares.
package main

import (
	"crypto/sha256"
	"encoding/hex"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/evanw/esbuild/pkg/api"
)

func main() {
	folder := flag.String("scripts", "../internal/web/script", "folder of the scripts")
	out := flag.String("out", "", "file to write; empty: app.js in that folder")
	flag.Parse()
	if err := bundle(*folder, *out); err != nil {
		fmt.Fprintln(os.Stderr, "bundle:", err)
		os.Exit(1)
	}
}

func bundle(folder, out string) error {
	if out == "" {
		out = filepath.Join(folder, "app.js")
	}
	folder, err := filepath.Abs(folder)
	if err != nil {
		return err
	}
	digest, err := sources(folder)
	if err != nil {
		return err
	}
	licence, err := os.ReadFile(filepath.Join(folder, "vendor", "uplot", "LICENSE"))
	if err != nil {
		return err
	}
	banner := "/* sources " + digest + " */\n/*! With uPlot 1.6.32.\n" + string(licence) + "*/"
	result := api.Build(api.BuildOptions{
		EntryPoints: []string{filepath.Join(folder, "src", "main.js")}, AbsWorkingDir: folder,
		Bundle: true, Format: api.FormatESModule, Target: api.ES2022,
		MinifyWhitespace: true, MinifyIdentifiers: true, MinifySyntax: true,
		LegalComments: api.LegalCommentsInline, Charset: api.CharsetUTF8,
		Banner: map[string]string{"js": banner},
	})
	for _, e := range result.Errors {
		return fmt.Errorf("%s", e.Text)
	}
	return os.WriteFile(out, result.OutputFiles[0].Contents, 0o644)
}

// sources returns one digest of all scripts below src and vendor: of each file's
// path and content, in the order of their paths.
func sources(folder string) (string, error) {
	sum := sha256.New()
	for _, part := range []string{"src", "vendor"} {
		err := filepath.WalkDir(filepath.Join(folder, part), func(path string, entry fs.DirEntry, err error) error {
			if err != nil || entry.IsDir() || !strings.HasSuffix(path, ".js") {
				return err
			}
			data, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			name, err := filepath.Rel(folder, path)
			if err != nil {
				return err
			}
			fmt.Fprintf(sum, "%s %d\n", filepath.ToSlash(name), len(data))
			sum.Write(data)
			return nil
		})
		if err != nil {
			return "", err
		}
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}
