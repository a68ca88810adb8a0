package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// TestHelpExamplesRun runs every example of every verb's help, in order, in a
// folder that has the demo's campaign as my-campaign, without the pull whose oil was
// too cold, one of its logs as pull.csv, and a workspace our-lab; the default
// workspace has the campaign, judged, and keys to sign a claim with.
// "> FILE" keeps what an example prints, as a shell would.
func TestHelpExamplesRun(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "my-campaign")
	log, err := os.ReadFile(filepath.Join("my-campaign", "logs", "pull-001.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("pull.csv", log, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join("my-campaign", "logs", "pull-001.csv"), filepath.Join("my-campaign", "logs", "01.csv")); err != nil {
		t.Fatal(err)
	}
	rows, err := os.ReadFile(filepath.Join("my-campaign", "pulls.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows = []byte(strings.Replace(string(rows), "logs/pull-001.csv", "logs/01.csv", 1))
	if err := os.WriteFile(filepath.Join("my-campaign", "pulls.csv"), rows, 0o644); err != nil {
		t.Fatal(err)
	}
	excludePull(t, "my-campaign", "8", "oil too cold")
	mustRun(t, "init", "our-lab")
	mustRun(t, "import", "my-campaign")
	mustRun(t, "judge", demoID)
	makeKeys(t)
	for _, verb := range newRoot().Commands() {
		lines := strings.Split(strings.TrimSpace(verb.Example), "\n")
		if ours(verb) && len(lines[0]) == 0 {
			t.Errorf("fairpull %s has no example", verb.Name())
		}
		for _, line := range lines {
			if line = strings.TrimSpace(line); line == "" {
				continue
			}
			command, file, _ := strings.Cut(strings.TrimPrefix(line, "fairpull "), " > ")
			runIt := run
			if verb.Name() == "serve" {
				runIt = serveBriefly
			}
			code, out, errs := runIt(t, splitWords(command)...)
			if code != exitDone {
				t.Errorf("%s: exit %d: %s", line, code, errs)
			}
			if file != "" {
				if err := os.WriteFile(file, []byte(out), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}

func ours(verb *cobra.Command) bool { return verb.Name() != "help" && verb.Name() != "completion" }

func TestCompletionForFourShells(t *testing.T) {
	for _, shell := range []string{"bash", "zsh", "fish", "powershell"} {
		if out := mustRun(t, "completion", shell); !strings.Contains(out, "fairpull") {
			t.Errorf("completion %s does not name the program", shell)
		}
	}
	if out := mustRun(t, "__complete", "ga"); !strings.Contains(out, "gain") {
		t.Errorf("completion of \"ga\" gives %q", out)
	}
}
