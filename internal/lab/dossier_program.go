package lab

import (
	"os"
	"runtime"
	"runtime/debug"

	"fairpull/evidence"
)

// programJSON says which program made a dossier.
type programJSON struct {
	Format     string            `json:"format"`
	Version    string            `json:"version"`
	Method     int               `json:"method"`
	Go         string            `json:"go"`
	System     string            `json:"system"`
	Executable string            `json:"executable,omitempty"` // digest of the program's file
	Build      map[string]string `json:"build,omitempty"`
	Modules    []moduleJSON      `json:"modules,omitempty"`
}

type moduleJSON struct {
	Path    string `json:"path"`
	Version string `json:"version"`
	Sum     string `json:"sum,omitempty"`
}

const programFormat = "fairpull.program/1"

// programOf says which program this is: its version, how it was built and of what.
func programOf(version string) (programJSON, error) {
	p := programJSON{
		Format: programFormat, Version: version, Method: Method, Go: runtime.Version(),
		System: runtime.GOOS + "/" + runtime.GOARCH, Executable: executableDigest(),
	}
	info, known := debug.ReadBuildInfo()
	if !known {
		return p, nil
	}
	for _, s := range info.Settings {
		switch s.Key {
		case "CGO_ENABLED", "GOAMD64", "GOARM64", "vcs.revision", "vcs.time", "vcs.modified", "-trimpath":
			if p.Build == nil {
				p.Build = map[string]string{}
			}
			p.Build[s.Key] = s.Value
		}
	}
	for _, m := range info.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		p.Modules = append(p.Modules, moduleJSON{m.Path, m.Version, m.Sum})
	}
	return p, nil
}

// executableDigest returns the digest of the program's own file; empty where it
// cannot be read.
func executableDigest() string {
	path, err := os.Executable()
	if err != nil {
		return ""
	}
	file, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer file.Close() // it was only read
	digest, _, err := evidence.Of(file)
	if err != nil {
		return ""
	}
	return digest.String()
}
