package lab

import (
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/report"
)

// cautions returns what a verification is careful about, a line each.
func cautions(v *report.Verification) string {
	var lines []string
	for _, f := range v.Findings {
		if f.Outcome == report.Caution {
			lines = append(lines, f.Part+" "+f.Where+": "+f.What)
		}
	}
	return strings.Join(lines, "\n")
}

// A lab that signs files which two programs read differently, leaves the audit trail
// out, or puts something beside what is looked at.
func TestDossiersOfAnotherForm(t *testing.T) {
	_, keys, number, whole := publishedDossier(t)
	for _, c := range []struct {
		what, says string
		fails      bool
		forge      func(files map[string][]byte)
	}{
		{"a sentence twice", "twice", true, func(files map[string][]byte) {
			files[dossierClaim] = replaced(t, files[dossierClaim], `  "sentence": `, "  \"sentence\": \"Fifty per cent more.\",\n  \"sentence\": ")
		}},
		{"a verdict twice, in another case", "twice", true, func(files map[string][]byte) {
			files[dossierResult] = replaced(t, files[dossierResult], `"verdict": `, `"Verdict": "loss shown", "verdict": `)
			rebound(t, files)
		}},
		{"something after its end", "its one right form", true, func(files map[string][]byte) {
			files[dossierClaim] = append(slices.Clone(files[dossierClaim]), "{\"sentence\": \"Fifty per cent more.\"}\n"...)
		}},
		{"something after the settings' end", "cannot be derived", true, func(files map[string][]byte) {
			files[dossierSettings] = append(slices.Clone(files[dossierSettings]), "{}"...)
		}},
		{"a word of certification", "certifies nothing", true, func(files map[string][]byte) {
			files[dossierClaim] = replaced(t, files[dossierClaim], `"cautions": [`, `"cautions": [ "A certi\u00adfied result.",`)
		}},
		{"no audit trail", "audit trail is missing", true, func(files map[string][]byte) { delete(files, dossierTrail) }},
		{"an audit trail of others", "does not have that", true, func(files map[string][]byte) {
			files[dossierTrail] = []byte(`{"format":"` + report.TrailFormat + `","changes":[]}`)
		}},
		{"a file that nobody looked at", "nothing was looked at", false, func(files map[string][]byte) { files["award.pdf"] = []byte("best") }},
		{"a study that nobody borrowed", "nothing was looked at", false, func(files map[string][]byte) { files["history/7.json"] = []byte("{}") }},
	} {
		files := maps.Clone(whole)
		c.forge(files)
		v := verify(t, forged(t, keys, number, files, "Dora Drafter", keys.approver, keys.record), DossierTrust{})
		said := cautions(v)
		if c.fails {
			said = faults(v)
		}
		if v.Verified == c.fails || !strings.Contains(said, c.says) {
			t.Errorf("%s: verified %v, said:\n%s\nwant %q", c.what, v.Verified, said, c.says)
		}
	}
}

// A claim whose words another version is said to have chosen is shown in the words of
// the program that verifies, and a sign makes another figure.
func TestSentenceInThisProgramsWords(t *testing.T) {
	_, keys, number, files := publishedDossier(t)
	files[dossierClaim] = replaced(t, files[dossierClaim], "more torque", "more top speed")
	files[dossierProgram] = replaced(t, files[dossierProgram], `"version": "1.0"`, `"version": "0.9"`)
	v := verify(t, forged(t, keys, number, files, "Dora Drafter", keys.approver, keys.record), DossierTrust{})
	if strings.Contains(v.Sentence, "top speed") || v.Verified && (!strings.Contains(v.Sentence, "more torque") || !strings.Contains(cautions(v), "more top speed")) {
		t.Errorf("verified %v as %q:\n%s\n%s", v.Verified, v.Sentence, faults(v), cautions(v))
	}
	if sameFigures("from −1.2 % to 3 %", "from 1.2 % to 3 %") || sameFigures("-5", "5") || !sameFigures("at least 5.1 %", "no less than 5.1 %") {
		t.Error("a sign makes another figure, and words make none")
	}
}

// A claim that its policy would not allow under this program's method, and was allowed
// under an older one, is a change of method and no failure.
func TestPolicyUnderAnotherMethod(t *testing.T) {
	v := &verification{}
	v.differs(true, dossierClaim, "its own policy does not allow it: %s", "x")
	if got := v.done(); got.Findings[0].Outcome != report.Caution || !got.MethodChanged {
		t.Errorf("%+v", got)
	}
}

// What is brought along to trust by says something, or is refused: it is never left out.
func TestTrustSaysSomething(t *testing.T) {
	empty := filepath.Join(t.TempDir(), "keys.json")
	text, err := new(evidence.Keyring).Encode()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(empty, text, 0o600); err != nil {
		t.Fatal(err)
	}
	for what, trust := range map[string]DossierTrust{
		"zeros": {Founder: strings.Repeat("00", 32)}, "no fingerprint": {Founder: "zz"}, "no keys": {KeysFile: empty}, "no file": {KeysFile: empty + "x"},
	} {
		if _, err := trust.read(); err == nil {
			t.Errorf("%s: it was taken", what)
		}
	}
}

// Dates that do not fit: a claim that is signed after today, pulls from after the claim.
func TestDatesThatDoNotFit(t *testing.T) {
	made := time.Now().Add(72 * time.Hour)
	v := &verification{seal: &evidence.Seal{Statement: evidence.Statement{Made: made}}}
	v.dated()
	v.measured(&Analysis{Campaign: &campaign.Campaign{Pulls: []campaign.Pull{{Name: "7", Started: made}}}}, campaign.Claim{ClaimHead: campaign.ClaimHead{Drafted: made.Add(-time.Hour)}})
	if said := cautions(&v.Verification); !strings.Contains(said, "still to come") || !strings.Contains(said, "pull 7 is dated") {
		t.Errorf("said: %s", said)
	}
	near := &verification{seal: &evidence.Seal{Statement: evidence.Statement{Made: time.Now()}}}
	near.dated()
	if len(near.Findings) > 0 {
		t.Errorf("of today: %+v", near.Findings)
	}
}
