package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// excludePull takes a pull of a campaign folder out of its analysis.
func excludePull(t *testing.T, folder, name, cause string) {
	t.Helper()
	file := filepath.Join(folder, "pulls.csv")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	for i := range lines {
		switch {
		case i == 0:
			lines[i] += ",excluded"
		case strings.HasPrefix(lines[i], name+","):
			lines[i] += "," + cause
		default:
			lines[i] += ","
		}
	}
	if err := os.WriteFile(file, []byte(strings.Join(lines, "\n")+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
}

// makeKeys makes keeper.key, approver.key and record.key for the default workspace,
// and sets their passphrase in the environment.
func makeKeys(t *testing.T) {
	t.Helper()
	t.Setenv(passphraseEnv, "five words that do not rhyme")
	t.Setenv(keeperPassphraseEnv, "five words that do not rhyme")
	mustRun(t, "key", "new", "keeper.key", "--for", "keys", "--name", "Kim Keeper")
	mustRun(t, "key", "new", "approver.key", "--name", "Ada Approver", "--keeper", "keeper.key")
	mustRun(t, "key", "new", "record.key", "--for", "record", "--name", "lab.example/record", "--keeper", "keeper.key")
}

// A claim's whole way by command line: what the policy refuses, who may not review or
// sign, the record, the dossier, its verification by a stranger, and what comes after.
func TestClaimByCommandLine(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "one")
	mustRun(t, "import", "one")
	fails(t, "fairpull judge "+demoID, "claim", demoID, "--by", "Dora")
	mustRun(t, "judge", demoID)
	fails(t, "the failed check procedure is open", "claim", demoID, "--by", "Dora")
	excludePull(t, "one", "8", "oil too cold")
	mustRun(t, "import", "one", "--supersede", "--why", "pull 8 was too cold")
	mustRun(t, "judge", demoID)
	fails(t, "key new keeper.key", "key", "list")
	makeKeys(t)
	out := mustRun(t, "claim", demoID, "--by", "Dora", "--not-covered", "Sidecars.")
	for _, want := range []string{"Claim C-0001", "A draft by Dora", "at least 5.0 %", "One specimen", "Pull 8 (A) is not used", "Sidecars.", "Local law decides"} {
		if !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("the draft has no %q:\n%s", want, out)
		}
	}
	fails(t, "cannot become signed", "claim", "C-0001", "--sign", "--key", "approver.key")
	fails(t, "somebody else reviews it", "claim", "C-0001", "--review", "--by", "dora")
	mustRun(t, "claim", "C-0001", "--review", "--by", "Rita")
	fails(t, "belongs to a claim that was signed", "dossier", "C-0001")
	mustRun(t, "claim", "C-0001", "--sign", "--key", "approver.key")
	fails(t, "is not the key that signs the record", "claim", "C-0001", "--publish", "--key", "approver.key")
	mustRun(t, "claim", "C-0001", "--publish", "--key", "record.key")
	var claim struct {
		Format, State, Record string
		Index                 *int
		Claimed               struct {
			AtLeast float64 `json:"at_least_pct"`
		}
		Signed []struct{ By, As, Key string }
	}
	if err := json.Unmarshal([]byte(mustRun(t, "claim", "C-0001", "--json")), &claim); err != nil {
		t.Fatal(err)
	}
	if claim.Format != "fairpull.claim/1" || claim.State != "published" || claim.Record != "lab.example/record" || claim.Index == nil || len(claim.Signed) != 1 || !(claim.Claimed.AtLeast > 5 && claim.Claimed.AtLeast < 5.1) {
		t.Errorf("%+v", claim)
	}
	if out := mustRun(t, "claim", "--list"); !strings.Contains(out, "C-0001  published") {
		t.Errorf("the list:\n%s", out)
	}
	mustRun(t, "doctor")
	verifiedElsewhere(t)
	coversByCommandLine(t)
	if out := mustRun(t, "key", "revoke", claim.Signed[0].Key, "--compromised", "--why", "lost with a laptop", "--keeper", "keeper.key"); !strings.Contains(out, "It signed C-0001.") {
		t.Errorf("revoking the key of a published claim says:\n%s", out)
	}
	fails(t, "for a reason", "claim", "C-0001", "--withdraw")
	mustRun(t, "claim", "C-0001", "--withdraw", "--why", "the rig was out of order")
	if _, _, errs := run(t, "dossier", "C-0001", "--out", "later.zip"); !strings.Contains(errs, "no longer to be used: the rig was out of order") {
		t.Errorf("a withdrawn claim's dossier: %s", errs)
	}
	mustRun(t, "doctor")
}

// coversByCommandLine asks which parts the claim C-0001 covers.
func coversByCommandLine(t *testing.T) {
	t.Helper()
	bike := "components = [{ function = \"camshaft\", part = \"K-218\" }, { function = \"intake\", part = \"K-218 F\" }, { function = \"exhaust\", part = \"X-650-2\" }]\n" +
		"settings = { calibration = \"K-218 r3\", fuel = \"E10 98, batch 7\" }\n"
	if err := os.WriteFile("bike.toml", []byte(bike), 0o644); err != nil {
		t.Fatal(err)
	}
	if out := mustRun(t, "covers", "--from", "bike.toml"); !strings.HasPrefix(out, "Claim C-0001 covers it:") || !strings.Contains(out, "at least 5.0 %") {
		t.Errorf("the parts that were tested:\n%s", out)
	}
	out := mustRun(t, "covers", "--from", "bike.toml", "--component", "mirror=M-2")
	if !strings.Contains(out, "does not cover it; it is the nearest") || !strings.Contains(out, "✗ mirror: M-2 is asked about") {
		t.Errorf("a part more:\n%s", out)
	}
	mustRun(t, "covers", "--neutral", "mirror", "--why", "it stands in no air that matters")
	if out := mustRun(t, "covers", "--show-neutral"); !strings.Contains(out, "no air that matters") {
		t.Errorf("what is neutral:\n%s", out)
	}
	var answer struct {
		Format  string
		Covered []string
		Claims  []struct{ Neutral []struct{ Why string } }
	}
	if err := json.Unmarshal([]byte(mustRun(t, "covers", "--from", "bike.toml", "--component", "mirror=M-2", "--json")), &answer); err != nil {
		t.Fatal(err)
	}
	if answer.Format != "fairpull.covers/1" || len(answer.Covered) != 1 || answer.Claims[0].Neutral[0].Why != "it stands in no air that matters" {
		t.Errorf("%+v", answer)
	}
}

// fails carries out a command that must not succeed and says so.
func fails(t *testing.T, says string, args ...string) {
	t.Helper()
	code, out, errs := run(t, args...)
	if code == exitDone || !strings.Contains(errs, says) {
		t.Errorf("fairpull %s: exit %d, says %q; want %q\n%s", strings.Join(args, " "), code, errs, says, out)
	}
}

// verifiedElsewhere verifies the dossier of C-0001 without any workspace.
func verifiedElsewhere(t *testing.T) {
	t.Helper()
	out := mustRun(t, "dossier", "C-0001")
	_, founder, found := strings.Cut(strings.TrimSpace(out), "--founder ")
	if !found {
		t.Fatalf("the dossier names no founder:\n%s", out)
	}
	t.Setenv(workspaceEnv, filepath.Join(t.TempDir(), "nowhere"))
	code, out, errs := run(t, "verify", "claim-C-0001.zip", "--founder", founder, "--record", "lab.example/record")
	if code != exitDone || !strings.HasPrefix(out, "Verified: claim-C-0001.zip, claim C-0001") || !strings.Contains(out, "derived again to the last digit") {
		t.Errorf("exit %d: %s\n%s", code, errs, out)
	}
	data, err := os.ReadFile("claim-C-0001.zip")
	if err != nil {
		t.Fatal(err)
	}
	data[len(data)/2] ^= 1
	if err := os.WriteFile("changed.zip", data, 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs = run(t, "verify", "changed.zip")
	if code != exitUnverified || !strings.HasPrefix(out, "NOT VERIFIED") || !strings.Contains(errs, "does not verify") {
		t.Errorf("a changed byte: exit %d: %s\n%s", code, errs, out)
	}
	var v struct {
		Format   string
		Verified *bool
		Findings []struct{ Outcome, Part, What string }
	}
	code, out, _ = run(t, "verify", "changed.zip", "--json")
	if err := json.Unmarshal([]byte(out), &v); err != nil || code != exitUnverified || v.Format != "fairpull.verification/1" || v.Verified == nil || *v.Verified || len(v.Findings) == 0 {
		t.Errorf("exit %d, %v: %s", code, err, out)
	}
	if code, _, _ := run(t, "verify", "nothing.zip"); code != exitCouldNot {
		t.Errorf("what is not there: exit %d", code)
	}
	t.Setenv(workspaceEnv, "")
}

// The private key is its owner's: a file of mode 0600, never in the workspace, never
// in the argument list, and opened by its passphrase alone.
func TestKeysByCommandLine(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "init", "our-lab")
	t.Setenv(passphraseEnv, "five words that do not rhyme")
	t.Setenv(keeperPassphraseEnv, "five words that do not rhyme")
	lab := []string{"--workspace", "our-lab"}
	do := func(args ...string) []string { return append(args, lab...) }
	fails(t, "within the workspace", do("key", "new", "our-lab/keys/keeper.key", "--for", "keys", "--name", "Kim")...)
	fails(t, "begins with the keeper's", do("key", "new", "ada.key", "--name", "Ada", "--keeper", "keeper.key")...)
	mustRun(t, do("key", "new", "keys/keeper.key", "--for", "keys", "--name", "Kim")...)
	for file, mode := range map[string]os.FileMode{"keys": 0o700, "keys/keeper.key": 0o600} {
		if info, err := os.Stat(file); err != nil || info.Mode().Perm() != mode {
			t.Errorf("%s has the mode %v, %v; want %v", file, info.Mode().Perm(), err, mode)
		}
	}
	mustRun(t, do("key", "new", "keys/ada.key", "--name", "Ada", "--keeper", "keys/keeper.key")...)
	out := mustRun(t, do("key", "list")...)
	id := ""
	for _, line := range strings.Split(out, "\n") {
		if fields := strings.Fields(line); len(fields) > 2 && fields[1] == "Ada" {
			id = fields[0]
		}
	}
	mustRun(t, do("key", "new", "keys/record.key", "--for", "record", "--name", "lab.example/record", "--keeper", "keys/keeper.key")...)
	fails(t, "a lab has one record", do("key", "new", "keys/r2.key", "--for", "record", "--name", "lab.example/other", "--keeper", "keys/keeper.key")...)
	fails(t, "for a reason", do("key", "revoke", id, "--keeper", "keys/keeper.key")...)
	mustRun(t, do("key", "rotate", id, "--new", "keys/ada-2.key", "--why", "two years old", "--keeper", "keys/keeper.key")...)
	if out := mustRun(t, do("key", "list")...); !strings.Contains(out, "replaced by") || strings.Count(out, "Ada") != 2 {
		t.Errorf("after the rotation:\n%s", out)
	}
	t.Setenv(newPassphraseEnv, "other five words that do not")
	mustRun(t, "key", "passphrase", "keys/keeper.key")
	fails(t, "does not open", do("key", "new", "keys/bert.key", "--name", "Bert", "--keeper", "keys/keeper.key")...)
	if err := os.WriteFile("pass", []byte("other five words that do not\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	mustRun(t, do("key", "revoke", id, "--why", "lost with a laptop", "--compromised", "--keeper", "keys/keeper.key", "--keeper-passphrase-file", "pass")...)
	if out := mustRun(t, do("key", "list")...); !strings.Contains(out, "compromised") || !strings.Contains(out, "lost with a laptop") {
		t.Errorf("after the revocation:\n%s", out)
	}
	if out := mustRun(t, do("key", "list", "--json")...); !strings.Contains(out, "fairpull.keys/1") || strings.Contains(out, "secret") {
		t.Errorf("the list as a file:\n%s", out)
	}
}

func TestClaimVerbsRefuse(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"claim"}, "0 arguments"},
		{[]string{"claim", "C-0001", "--review", "--sign"}, "one step at a time"},
		{[]string{"claim", "my-campaign", "--review"}, "not the number of a claim"},
		{[]string{"claim", "C-0001", "--amend"}, "for a reason"},
		{[]string{"claim", "C-0001", "--why", "x"}, "none is asked for"},
		{[]string{"claim", "C-0001", "--sign", "--time-stamp", "http://127.0.0.1:1"}, "belongs to --publish"},
		{[]string{"claim", "C-0001", "--list"}, "stand alone"},
		{[]string{"claim", "--policy", "p.toml"}, "for a reason"},
		{[]string{"claim", "C-0001", "--sign"}, "no key is named"},
		{[]string{"covers"}, "no part is named"},
		{[]string{"covers", "exhaust=X"}, "takes no arguments"},
		{[]string{"covers", "--component", "X"}, "is FUNCTION=PART"},
		{[]string{"covers", "--setting", "=a"}, "is KEY=VALUE"},
		{[]string{"covers", "--neutral", "mirror"}, "--why is missing"},
		{[]string{"covers", "--neutral", "mirror", "--component", "a=b"}, "stand alone"},
		{[]string{"covers", "--component", "a=b", "--why", "c"}, "is the reason for"},
		{[]string{"dossier"}, "takes the number"},
		{[]string{"verify"}, "takes a dossier"},
		{[]string{"key", "make"}, "no verb"},
		{[]string{"key", "new", "a.key"}, "--name is missing"},
		{[]string{"key", "rotate", "0123", "--keeper", "k"}, "one of --new and --public"},
	} {
		if line, _ := refused(t, c.args...); !strings.Contains(line, c.says) {
			t.Errorf("fairpull %s says %q, want %q", strings.Join(c.args, " "), line, c.says)
		}
	}
}

// A policy is shown as the file that it is set by.
func TestPolicyByCommandLine(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "init", "our-lab")
	text := mustRun(t, "claim", "--show-policy", "--workspace", "our-lab")
	if !strings.Contains(text, "setups = 3") || strings.Contains(text, "best") {
		t.Errorf("the built-in policy:\n%s", text)
	}
	text = strings.Replace(text, "setups = 3", "setups = 5", 1)
	if err := os.WriteFile("policy.toml", []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	mustRun(t, "claim", "--policy", "policy.toml", "--why", "our lawyer asks for five", "--workspace", "our-lab")
	if out := mustRun(t, "claim", "--policy", "policy.toml", "--why", "again", "--workspace", "our-lab"); !strings.Contains(out, "nothing was changed") {
		t.Errorf("the same again: %s", out)
	}
	if got := mustRun(t, "claim", "--show-policy", "--workspace", "our-lab"); got != text {
		t.Errorf("shown is\n%s\nand set was\n%s", got, text)
	}
}
