package web

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"

	"fairpull/report"
)

//go:embed base overview campaign signin problem history standard pull logtext measuring explain plan sheet vehicles dynos dyno calibrate trail recipe claims claim draft details covers steps
//go:embed script/app.js script/charts.css script/vendor/uplot/uPlot.min.css
var content embed.FS

// assets are the files that pages fetch. Each has its content's digest in its
// name, so a browser keeps it for good and never shows an old one.
type assets struct {
	names map[string]string // app.css → app-1f2e3d4c.css
	files map[string][]byte // by the name with the digest
}

// styleSheets are joined to app.css in this order.
var styleSheets = []string{"base/base.css", "script/vendor/uplot/uPlot.min.css", "script/charts.css", "overview/page.css", "campaign/page.css", "pull/page.css", "measuring/page.css", "explain/page.css", "plan/page.css", "dyno/page.css", "claims/page.css"}

func loadAssets() (*assets, error) {
	a := &assets{names: map[string]string{}, files: map[string][]byte{}}
	style := report.Style()
	for _, name := range styleSheets {
		data, err := content.ReadFile(name)
		if err != nil {
			return nil, err
		}
		style += "\n" + string(data)
	}
	a.add("app.css", []byte(style))
	for name, file := range map[string]string{"app.js": "script/app.js", "icon.svg": "base/icon.svg"} {
		data, err := content.ReadFile(file)
		if err != nil {
			return nil, err
		}
		a.add(name, data)
	}
	return a, nil
}

func (a *assets) add(name string, data []byte) {
	sum := sha256.Sum256(data)
	ending := path.Ext(name)
	hashed := strings.TrimSuffix(name, ending) + "-" + hex.EncodeToString(sum[:6]) + ending
	a.names[name], a.files[hashed] = hashed, data
}

// path returns where a page finds an asset.
func (a *assets) path(name string) (string, error) {
	hashed, known := a.names[name]
	if !known {
		return "", fmt.Errorf("asset %s: %w", name, fs.ErrNotExist)
	}
	return "/assets/" + hashed, nil
}

func (a *assets) serve(w http.ResponseWriter, r *http.Request) {
	data, found := a.files[r.PathValue("file")]
	if !found {
		http.NotFound(w, r)
		return
	}
	kind := mime.TypeByExtension(path.Ext(r.PathValue("file")))
	switch path.Ext(r.PathValue("file")) {
	case ".js":
		kind = "text/javascript; charset=utf-8"
	case ".css":
		kind = "text/css; charset=utf-8"
	case ".svg":
		kind = "image/svg+xml"
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(data) // a browser that went away needs no answer
}
