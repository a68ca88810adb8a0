//go:build slow

package web

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// The bundle is what its scripts give, byte for byte.
func TestBundleIsReproducible(t *testing.T) {
	out := filepath.Join(t.TempDir(), "app.js")
	command := exec.CommandContext(t.Context(), "go", "run", "-C", filepath.Join("..", "..", "tools"), "./bundle", "-out", out)
	if said, err := command.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	made, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	kept, err := os.ReadFile("script/app.js")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(made, kept) {
		t.Errorf("%d bytes are made, %d are kept, and they differ", len(made), len(kept))
	}
}
