package lab

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/report"
)

// publishedDossier is the dossier of a published claim, whose campaign borrowed
// another one's scatter, and its files below data/.
func publishedDossier(t testing.TB) (w *Workspace, keys *signers, number string, files map[string][]byte) {
	t.Helper()
	w, keys = claimingLab(t)
	number = mustDraft(t, w, "lab-01").Number
	mustPublish(t, w, keys, number)
	bag, _, err := w.dossier(t.Context(), number)
	if err != nil {
		t.Fatal(err)
	}
	files = map[string][]byte{}
	for _, name := range bag.Payload() {
		data, _ := bag.Data("data/" + name)
		files[name] = bytes.Clone(data)
	}
	return w, keys, number, files
}

func verify(t testing.TB, place string, trust DossierTrust) *report.Verification {
	t.Helper()
	v, err := VerifyDossier(t.Context(), place, trust, "1.0")
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// faults returns what failed, a line each.
func faults(v *report.Verification) string {
	var lines []string
	for _, f := range v.Findings {
		if f.Outcome == report.Failed {
			lines = append(lines, f.Part+" "+f.Where+": "+f.What)
		}
	}
	return strings.Join(lines, "\n")
}

// A dossier verifies as a zip and as a folder, says whose keys it cannot know, and is
// the same bytes again.
func TestDossierVerifies(t *testing.T) {
	w, keys, number, files := publishedDossier(t)
	dir := t.TempDir()
	zip, folder := filepath.Join(dir, "a.zip"), filepath.Join(dir, "claim-"+number)
	for _, place := range []string{zip, folder, filepath.Join(dir, "b.zip")} {
		d, err := w.WriteDossier(t.Context(), number, place)
		if err != nil || d.State != campaign.ClaimPublished {
			t.Fatalf("%+v, %v", d, err)
		}
	}
	a, errA := os.ReadFile(zip)
	b, errB := os.ReadFile(filepath.Join(dir, "b.zip"))
	if errA != nil || errB != nil || !bytes.Equal(a, b) {
		t.Errorf("written twice it differs: %v, %v", errA, errB)
	}
	if _, err := w.WriteDossier(t.Context(), number, zip); err == nil || !strings.Contains(err.Error(), "not replaced") {
		t.Errorf("written over another: %v", err)
	}
	list := filepath.Join(dir, "keys.json")
	text, err := keys.ring.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(list, text, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		place string
		trust DossierTrust
		known bool
	}{
		{zip, DossierTrust{}, false},
		{folder, DossierTrust{}, false},
		{zip, DossierTrust{Founder: keys.ring.Founder().String(), Origin: "lab.example/record"}, true},
		{zip, DossierTrust{Founder: strings.ToUpper(keys.ring.Founder().Hex())}, true},
		{zip, DossierTrust{KeysFile: list}, true},
	} {
		v := verify(t, c.place, c.trust)
		if !v.Verified || v.MethodChanged || v.Number != number || !strings.Contains(v.Sentence, "at least") {
			t.Errorf("%+v: %s", c, faults(v))
		}
		unknown := slices.ContainsFunc(v.Findings, func(f report.Finding) bool { return f.Outcome == report.Caution && f.Part == "keys" })
		if unknown == c.known {
			t.Errorf("%+v: the keys are known: %v, want %v", c.trust, !unknown, c.known)
		}
	}
	other, err := evidence.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	if v := verify(t, zip, DossierTrust{Founder: other.Public().Fingerprint().String()}); v.Verified || v.Sentence != "" || !strings.Contains(faults(v), "keys") {
		t.Errorf("another lab's founder: %+v", v)
	}
	for _, name := range []string{"history.json", "history/1.json", "settings.json", "program.json", "trail.json", "datapackage.json", "campaign/campaign.toml"} {
		if len(files[name]) == 0 {
			t.Errorf("the dossier has no %s", name)
		}
	}
	if text := strings.ToLower(string(slices.Concat(slices.Collect(maps.Values(files))...))); strings.Contains(text, "certified") {
		t.Error("something in the dossier says certified")
	}
}

// forged writes a dossier of the files, sealed by somebody, with all that a forger
// can set right set right: manifests, statement, signature and record.
func forged(t testing.TB, keys *signers, number string, files map[string][]byte, drafter string, signer, record *evidence.PrivateKey) string {
	t.Helper()
	now := time.Now().UTC().Truncate(time.Second)
	bag, err := newBag(number, now, "1.0")
	if err != nil {
		t.Fatal(err)
	}
	if err := fillBag(bag, files); err != nil {
		t.Fatal(err)
	}
	c, err := decodeClaim(files[dossierClaim])
	if err != nil {
		t.Fatal(err)
	}
	statement, err := evidence.NewStatement(bag, number, oneLineOf(c.Title), drafter, now)
	if err != nil {
		t.Fatal(err)
	}
	seal := &evidence.Seal{Statement: statement, Keys: keys.ring}
	if err := seal.Sign(signer, roleOfSigner, now); err != nil {
		seal.Signatures = []evidence.Signature{signedAnyway(t, keys, statement, signer, now)}
	}
	log, err := evidence.OpenRecord("lab.example/record", evidence.NewMemoryRecord())
	if err != nil {
		t.Fatal(err)
	}
	if err := seal.Enter(t.Context(), log, record); err != nil {
		t.Fatal(err)
	}
	text, err := seal.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if err := bag.AddTag(evidence.SealName, text); err != nil {
		t.Fatal(err)
	}
	place := filepath.Join(t.TempDir(), "forged.zip")
	data, err := bag.Zip()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(place, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return place
}

// replaced returns a text with one place in it changed.
func replaced(t testing.TB, data []byte, from, to string) []byte {
	t.Helper()
	if !bytes.Contains(data, []byte(from)) {
		t.Fatalf("there is no %q to change", from)
	}
	return bytes.Replace(data, []byte(from), []byte(to), 1)
}

// signedAnyway is a signature that the rules of a seal refuse, made by hand.
func signedAnyway(t testing.TB, keys *signers, statement evidence.Statement, signer *evidence.PrivateKey, at time.Time) evidence.Signature {
	t.Helper()
	message, err := statement.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	state, _ := keys.ring.Key(signer.Public().ID())
	comment, err := json.Marshal(struct { // the comment's one right form; docs/evidence.md
		By string    `json:"by"`
		As string    `json:"as"`
		At time.Time `json:"at"`
	}{state.Name, roleOfSigner, at})
	if err != nil {
		t.Fatal(err)
	}
	text, err := signer.Sign(message, string(comment))
	if err != nil {
		t.Fatal(err)
	}
	return evidence.Signature{Key: signer.Public().ID(), Text: text}
}

// rebound gives a claim the digest of the result that lies beside it.
func rebound(t testing.TB, files map[string][]byte) {
	t.Helper()
	c, err := decodeClaim(files[dossierClaim])
	if err != nil {
		t.Fatal(err)
	}
	c.Result = evidence.OfBytes(files[dossierResult]).String()
	if files[dossierClaim], err = encodeClaim(c); err != nil {
		t.Fatal(err)
	}
}

// A lab that forges and signs its own dossier, with every checksum, signature and
// proof in order, is found out by deriving again.
func TestForgedDossiers(t *testing.T) {
	_, keys, number, whole := publishedDossier(t)
	var figures struct {
		Comparisons []struct {
			Band struct {
				Gain json.Number `json:"gain_pct"`
			}
		}
	}
	if err := json.Unmarshal(whole[dossierResult], &figures); err != nil {
		t.Fatal(err)
	}
	gain := figures.Comparisons[0].Band.Gain.String()
	stated, err := decodeClaim(whole[dossierClaim])
	if err != nil {
		t.Fatal(err)
	}
	claimText := func(change func(c *campaign.Claim)) func(map[string][]byte) {
		return func(files map[string][]byte) {
			c := stated
			change(&c)
			var err error
			if files[dossierClaim], err = encodeClaim(c); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, c := range []struct {
		what, says string
		forge      func(files map[string][]byte)
	}{
		{"nothing", "", func(map[string][]byte) {}},
		{"a figure of the result", "gain_pct", func(files map[string][]byte) {
			files[dossierResult] = replaced(t, files[dossierResult], `"gain_pct": `+gain, `"gain_pct": 19.9`)
			rebound(t, files)
		}},
		{"a figure of the claim", "at_least_pct", claimText(func(c *campaign.Claim) { c.Claimed.AtLeastPct += 0.2 })},
		{"the sentence", "sentence", claimText(func(c *campaign.Claim) { c.Sentence = strings.Replace(c.Sentence, "at least ", "at least 1", 1) })},
		{"the sentence's words", "sentence", claimText(func(c *campaign.Claim) { c.Sentence = strings.Replace(c.Sentence, "torque", "power", 1) })},
		{"a part", "tested", claimText(func(c *campaign.Claim) {
			c.Tested.Components = slices.Clone(c.Tested.Components)
			c.Tested.Components[0].Part = "X-1"
		})},
		{"what is not covered", "not_covered", claimText(func(c *campaign.Claim) { c.NotCovered = nil })},
		{"the verdict", "verdict", claimText(func(c *campaign.Claim) { c.Verdict = "loss shown" })},
		{"the policy", "its own policy does not allow it", claimText(func(c *campaign.Claim) { c.Policy.Setups = 9 })},
		{"the drafter", "the signed statement says by", claimText(func(c *campaign.Claim) { c.DraftedBy = "Somebody Else" })},
		{"a swapped log", "derived again", func(files map[string][]byte) {
			files["campaign/logs/pull-004.csv"] = files["campaign/logs/pull-001.csv"]
		}},
		{"a log of another campaign's scale", "figures", func(files map[string][]byte) {
			files["campaign/logs/pull-004.csv"] = []byte("time [s],drum_speed [rad/s]\n0,1\n")
		}},
		{"the campaign", "derived again", func(files map[string][]byte) {
			files["campaign/campaign.toml"] = replaced(t, files["campaign/campaign.toml"], "confidence = 0.95", "confidence = 0.8")
		}},
		{"a missing log", "cannot be derived again", func(files map[string][]byte) { delete(files, "campaign/logs/pull-003.csv") }},
		{"a borrowed study", "derived again", func(files map[string][]byte) {
			files["history/1.json"] = bytes.ReplaceAll(files["history/1.json"], []byte(`"df":2`), []byte(`"df":200`))
		}},
		{"a study left out", "is missing", func(files map[string][]byte) { delete(files, "history/1.json") }},
		{"the index of the studies", "does not list", func(files map[string][]byte) {
			files[dossierHistory] = replaced(t, files[dossierHistory], `"campaign": "lab-00"`, `"campaign": "lab-99"`)
		}},
		{"a limit", "limit", func(files map[string][]byte) {
			files[dossierSettings] = replaced(t, files[dossierSettings], `"minimum_setups":`, `"minimum_setups":1`)
		}},
		{"a later method", "knows 1 to 1", func(files map[string][]byte) {
			files[dossierSettings] = replaced(t, files[dossierSettings], `"method":1`, `"method":2`)
		}},
		{"a table", "tables/figures.csv", func(files map[string][]byte) {
			files["tables/figures.csv"] = replaced(t, files["tables/figures.csv"], gain, "19.9")
		}},
		{"the schema", "datapackage.json", func(files map[string][]byte) {
			files[dossierPackage] = replaced(t, files[dossierPackage], "N·m", "lbf·ft")
		}},
		{"the report", "this very program", func(files map[string][]byte) {
			files["documents/report.html"] = replaced(t, files["documents/report.html"], "Gain shown", "Huge gain shown")
		}},
		{"another document", "this very program", func(files map[string][]byte) { files["documents/award.html"] = []byte("<p>best</p>") }},
		{"no review", "its way was", func(files map[string][]byte) {
			var s statesJSON
			if err := json.Unmarshal(files[dossierStates], &s); err != nil {
				t.Fatal(err)
			}
			s.States = slices.Delete(s.States, 1, 2)
			files[dossierStates], _ = indentedJSON(s)
		}},
		{"who reviewed", "drafted and reviewed it", func(files map[string][]byte) {
			files[dossierStates] = replaced(t, files[dossierStates], "Rita Reviewer", "dora  drafter")
		}},
		{"who signed, as the states say", "names others", func(files map[string][]byte) {
			files[dossierStates] = replaced(t, files[dossierStates], "Ada Approver", "Somebody Else")
		}},
	} {
		files := maps.Clone(whole)
		c.forge(files)
		v := verify(t, forged(t, keys, number, files, "Dora Drafter", keys.approver, keys.record), DossierTrust{Founder: keys.ring.Founder().String()})
		same := maps.EqualFunc(files, whole, bytes.Equal)
		if v.Verified != same || c.says != "" && !strings.Contains(faults(v), c.says) {
			t.Errorf("%s: verified %v, failed:\n%s\nwant %q among it", c.what, v.Verified, faults(v), c.says)
		}
	}
}

// Who signs: not the drafter, not under another spelling, and not a key that the lab
// does not know.
func TestDossierOfOtherSigners(t *testing.T) {
	_, keys, number, files := publishedDossier(t)
	founder := DossierTrust{Founder: keys.ring.Founder().String()}
	stranger := newSigners(t)
	if v := verify(t, forged(t, stranger, number, files, "Dora Drafter", stranger.approver, stranger.record), founder); v.Verified || !strings.Contains(faults(v), "the lab's with") {
		t.Errorf("another lab's keys: %s", faults(v))
	}
	// The test report names the key that signed; without it, as in dossiers of earlier
	// versions, a stranger's keys fit throughout.
	if v := verify(t, forged(t, stranger, number, files, "Dora Drafter", stranger.approver, stranger.record), DossierTrust{}); v.Verified || !strings.Contains(faults(v), "test-report") {
		t.Errorf("the test report names another key: %s", faults(v))
	}
	plain := maps.Clone(files)
	for _, name := range []string{dossierDetails, documentsFolder + "test-report.html", documentsFolder + "test-report.pdf"} {
		delete(plain, name)
	}
	if v := verify(t, forged(t, stranger, number, plain, "Dora Drafter", stranger.approver, stranger.record), DossierTrust{}); !v.Verified ||
		!slices.ContainsFunc(v.Findings, func(f report.Finding) bool { return f.Outcome == report.Caution && strings.Contains(f.What, "compare") }) {
		t.Errorf("without a fingerprint the keys must be doubted: %+v", v.Findings)
	}
	// The drafter's own key, with the drafter renamed in the statement alone, and in
	// both under another spelling.
	if v := verify(t, forged(t, keys, number, files, "Nobody", keys.dora, keys.record), founder); v.Verified {
		t.Error("the drafter signed under the name of nobody, and it verified")
	}
	own := maps.Clone(files)
	c, err := decodeClaim(files[dossierClaim])
	if err != nil {
		t.Fatal(err)
	}
	c.DraftedBy = "DORA  drafter"
	if own[dossierClaim], err = encodeClaim(c); err != nil {
		t.Fatal(err)
	}
	v := verify(t, forged(t, keys, number, own, c.DraftedBy, keys.dora, keys.record), founder)
	if v.Verified || !strings.Contains(faults(v), "drafted it and cannot sign it too") {
		t.Errorf("the drafter signed under another spelling:\n%s", faults(v))
	}
}

// A figure that another method found is no tampering: it is said with its size.
func TestMethodChanged(t *testing.T) {
	_, keys, number, files := publishedDossier(t)
	var result struct {
		Comparisons []struct {
			Band struct {
				Gain json.Number `json:"gain_pct"`
			}
		}
	}
	if err := json.Unmarshal(files[dossierResult], &result); err != nil {
		t.Fatal(err)
	}
	gain := result.Comparisons[0].Band.Gain
	other := json.Number("7.123456")
	files[dossierResult] = replaced(t, files[dossierResult], gain.String(), other.String())
	tables, err := dossierTables(number, files[dossierResult])
	if err != nil {
		t.Fatal(err)
	}
	maps.Copy(files, tables)
	rebound(t, files)
	files[dossierClaim] = replaced(t, files[dossierClaim], gain.String(), other.String())
	place := forged(t, keys, number, files, "Dora Drafter", keys.approver, keys.record)
	if v := verify(t, place, DossierTrust{}); v.Verified {
		t.Error("under the same method it verified")
	}
	bag, err := evidence.OpenBag(place)
	if err != nil {
		t.Fatal(err)
	}
	later := &verification{program: "2.0", method: Method + 1}
	v, err := later.bag(t.Context(), bag, evidence.Trust{})
	if err != nil {
		t.Fatal(err)
	}
	said := slices.ContainsFunc(v.Findings, func(f report.Finding) bool {
		return f.Outcome == report.Caution && strings.Contains(f.What, "method changed") && strings.Contains(f.What, "gain_pct") && strings.Contains(f.What, "(by ")
	})
	if !v.MethodChanged || !said {
		t.Errorf("method changed %v: %+v", v.MethodChanged, v.Findings)
	}
	if !v.Verified {
		t.Errorf("a change of method failed:\n%s", faults(v))
	}
}

// Every file of the payload, changed by one byte, makes the dossier fail: the bytes
// are signed. (Package evidence has the changes byte by byte.)
func TestEveryFileIsSealed(t *testing.T) {
	w, _, number, _ := publishedDossier(t)
	dir := filepath.Join(t.TempDir(), "claim-"+number)
	if _, err := w.WriteDossier(t.Context(), number, dir); err != nil {
		t.Fatal(err)
	}
	names, err := filepath.Glob(filepath.Join(dir, "data", "*"))
	if err != nil || len(names) < 10 {
		t.Fatalf("%d files, %v", len(names), err)
	}
	for _, name := range append(names, filepath.Join(dir, "seal.json"), filepath.Join(dir, "bag-info.txt")) {
		whole, err := os.ReadFile(name)
		if err != nil {
			continue // a folder
		}
		changed := bytes.Clone(whole)
		changed[len(changed)/2] ^= 1
		if err := os.WriteFile(name, changed, 0o600); err != nil {
			t.Fatal(err)
		}
		if v := verify(t, dir, DossierTrust{}); v.Verified {
			t.Errorf("%s with another byte verified", name)
		}
		if err := os.WriteFile(name, whole, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if v := verify(t, dir, DossierTrust{}); !v.Verified {
		t.Errorf("put back it does not verify:\n%s", faults(v))
	}
}

// What is no dossier is a finding, and what is not there an error.
func TestVerifyWhatIsNone(t *testing.T) {
	dir := t.TempDir()
	junk := filepath.Join(dir, "junk.zip")
	if err := os.WriteFile(junk, []byte("PK\x03\x04 nothing"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, place := range []string{junk, dir} {
		if v := verify(t, place, DossierTrust{}); v.Verified || len(v.Findings) == 0 {
			t.Errorf("%s: %+v", place, v)
		}
	}
	if _, err := VerifyDossier(t.Context(), filepath.Join(dir, "none.zip"), DossierTrust{}, "1.0"); err == nil {
		t.Error("a dossier that is not there was verified")
	}
	for _, trust := range []DossierTrust{{Founder: "abc"}, {KeysFile: junk}, {StampRoots: junk}, {KeysFile: filepath.Join(dir, "none")}} {
		if _, err := VerifyDossier(t.Context(), junk, trust, "1.0"); err == nil {
			t.Errorf("%+v was taken", trust)
		}
	}
}

// The tables say what their published schema says of them, as Table Schema has it:
// header in the order of the fields, cells of their types, keys that are unique.
func TestTablesHaveTheirSchema(t *testing.T) {
	_, _, _, files := publishedDossier(t)
	var p packageJSON
	if err := json.Unmarshal(files[dossierPackage], &p); err != nil || len(p.Resources) != len(tables) {
		t.Fatalf("%+v, %v", p, err)
	}
	for _, r := range p.Resources {
		text := files[r.Path]
		if len(text) != r.Bytes || evidence.OfBytes(text).String() != r.Hash {
			t.Errorf("%s has %d bytes, the schema says %d", r.Path, len(text), r.Bytes)
		}
		checkTable(t, r, text)
	}
}

// checkTable holds a table against its schema.
func checkTable(t *testing.T, r resourceJSON, text []byte) {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", r.Path, len(rows), err)
	}
	seen := map[string]bool{}
	for n, row := range rows {
		key := ""
		for i, f := range r.Schema.Fields {
			cell := row[i]
			if n == 0 {
				if cell != f.Name {
					t.Errorf("%s: column %d is %q, the schema says %q", r.Path, i, cell, f.Name)
				}
				continue
			}
			if slices.Contains(r.Schema.PrimaryKey, f.Name) {
				key += cell + "\x00"
			}
			_, number := strconv.ParseFloat(cell, 64)
			if cell != "" && (f.Type == "number" && number != nil || f.Type == "boolean" && cell != "true" && cell != "false") {
				t.Errorf("%s, row %d: %s is %q and no %s", r.Path, n, f.Name, cell, f.Type)
			}
		}
		if key != "" && seen[key] {
			t.Errorf("%s, row %d: its key %q is there twice", r.Path, n, key)
		}
		seen[key] = true
	}
}

// The dossier of nine pulls: docs/performance.md.
func BenchmarkVerifyDossier(b *testing.B) {
	w, keys := claimingLab(b)
	s := claimScenario(2)
	s.Plan.Order = "ABA"
	putScenario(b, w, s)
	mustJudge(b, w, s.ID, true)
	number := mustDraft(b, w, s.ID).Number
	mustPublish(b, w, keys, number)
	place := filepath.Join(b.TempDir(), "claim.zip")
	if _, err := w.WriteDossier(b.Context(), number, place); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if v := verify(b, place, DossierTrust{}); !v.Verified {
			b.Fatal(faults(v))
		}
	}
}
