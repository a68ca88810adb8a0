package cli

import (
	"strings"
	"testing"
)

// Campaigns are closed, withdrawn and opened again with a reason; a closed one takes no
// new version, and a withdrawn one is no history.
func TestCampaignStates(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "my-campaign")
	mustRun(t, "import", "my-campaign")
	mustRun(t, "judge", "twin650-intake-cam")
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"--close", "twin650-intake-cam", "--why", "measured to the end"}, "twin650-intake-cam is closed from now on."},
		{[]string{"--close", "twin650-intake-cam", "--why", "again"}, "is closed already: nothing was changed."},
		{[]string{"--state", "closed"}, "twin650-intake-cam"},
		{[]string{"--withdraw", "twin650-intake-cam", "--why", "the strap was loose"}, "is withdrawn from now on."},
	} {
		if out := mustRun(t, append([]string{"campaigns"}, c.args...)...); !strings.Contains(out, c.says) {
			t.Errorf("%v: %q, want %q", c.args, out, c.says)
		}
	}
	if out := mustRun(t, "scatter"); !strings.Contains(out, "No campaign says anything of it yet.") {
		t.Errorf("a withdrawn campaign is history: %s", out)
	}
	if out := mustRun(t, "campaigns", "--reopen", "twin650-intake-cam", "--why", "it was another"); !strings.Contains(out, "is open from now on.") {
		t.Errorf("opened again: %q", out)
	}
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"--close", "twin650-intake-cam"}, exitUsage, "--close needs a reason"},
		{[]string{"--why", "because"}, exitUsage, "--why goes with"},
		{[]string{"--close", "a", "--reopen", "a", "--why", "because"}, exitUsage, "at once"},
		{[]string{"--close", "a", "word", "--why", "because"}, exitUsage, "names its campaign itself"},
		{[]string{"--withdraw", "nobody", "--why", "because"}, exitCouldNot, "fairpull campaigns"},
	} {
		if code, _, errs := run(t, append([]string{"campaigns"}, c.args...)...); code != c.code || !strings.Contains(errs, c.says) {
			t.Errorf("%v: exit code %d, %q; want %d, %q", c.args, code, errs, c.code, c.says)
		}
	}
}
