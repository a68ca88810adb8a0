package web

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"testing"

	"fairpull/internal/lab"
)

// claimable is the demo campaign without the pull whose oil was too cold, judged: the
// built-in policy lets it be claimed.
func claimable(t testing.TB, s *site) {
	t.Helper()
	if err := s.w.Exclude(t.Context(), demoID, "8", "oil too cold", 0, bert.Who); err != nil {
		t.Fatal(err)
	}
	judge(t, s)
}

// labKeys are the keys of an invented lab, as files.
type labKeys struct{ approver, record lab.KeyFile }

func makeKeys(t testing.TB, s *site) labKeys {
	t.Helper()
	dir := t.TempDir()
	file := func(name string) lab.KeyFile {
		return lab.KeyFile{Path: filepath.Join(dir, name), Passphrase: "five words that do not rhyme"}
	}
	keeper := file("keeper.key")
	k := labKeys{file("approver.key"), file("record.key")}
	for _, one := range []lab.NewKey{
		{File: keeper, Name: "Kim Keeper", Purpose: "keys"},
		{File: k.approver, Name: "Ada Approver", Purpose: "approval", Keeper: keeper},
		{File: k.record, Name: "lab.example/record", Purpose: "record", Keeper: keeper},
	} {
		if _, err := s.w.AddKey(t.Context(), one, bert); err != nil {
			t.Fatal(err)
		}
	}
	return k
}

// published takes a draft from its review on to the record, in the terminal.
func (k labKeys) published(t testing.TB, s *site, number string) {
	t.Helper()
	if _, err := s.w.SignClaim(t.Context(), number, k.approver, "test", ""); err != nil {
		t.Fatal(err)
	}
	if _, err := s.w.PublishClaim(t.Context(), number, k.record, "", lab.Author{Who: "Ada Approver"}); err != nil {
		t.Fatal(err)
	}
}

// post is a form that is taken and leads somewhere.
func (s *site) leads(path string, form url.Values, to string) {
	s.t.Helper()
	if a := s.do(s.client(), http.MethodPost, path, form); a.status != http.StatusSeeOther || a.header.Get("Location") != to {
		s.t.Fatalf("POST %s: %d to %q, want %q\n%.3000s", path, a.status, a.header.Get("Location"), to, a.body)
	}
}

// A claim from its draft to the record and to its end, on pages: what the policy
// refuses, who may not review, that signing is the terminal's, what can be taken along.
func TestClaimPages(t *testing.T) {
	s := open(t, nil)
	s.get("/claims").says(t, "There is no claim yet", "bracketed = true", "fairpull claim --policy")
	draft := url.Values{"campaign": {demoID}, "by": {"Dora Drafter"}, "not_covered": {"Sidecars.\n\nTrailers."}}
	refuse := func(want string, path string, form url.Values) {
		t.Helper()
		if a := s.do(s.client(), http.MethodPost, path, form); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, want) {
			t.Errorf("%s: %d, want %q in\n%.3000s", path, a.status, want, a.body)
		}
	}
	refuse("no result that rests on its latest data", "/claims", draft)
	judge(t, s)
	refuse("the failed check procedure is open", "/claims", draft)
	claimable(t, s)
	s.get(campaignPath).says(t, `href="/claims/new?campaign=`+demoID+`"`, `/steps"`)
	s.get("/claims/new?campaign="+demoID).says(t, "Intake and cam kit", `name="deviations"`)
	refuse("certif", "/claims", url.Values{"campaign": {demoID}, "by": {"Dora Drafter"}, "title": {"Certified gain"}})
	s.leads("/claims", draft, "/claims/C-0001?done=drafted")
	page := s.get("/claims/C-0001?done=drafted")
	page.says(t, "The claim is drafted", "A draft by Dora Drafter", "at least 5.0", "Sidecars.", "Trailers.", "(changed)", "K-218", "One specimen", `id="curves"`, "I have looked it through", "The dossier is made with the first signature")
	page.saysNot(t, "--sign", "dossier.zip")
	refuse("Dora Drafter drafted claim C-0001", "/claims/C-0001/review", url.Values{"by": {" dora drafter"}})
	s.leads("/claims/C-0001/review", url.Values{"by": {"Rita Reviewer"}, "why": {"figures compared"}}, "/claims/C-0001?done=reviewed")
	s.get("/claims/C-0001").says(t, "Reviewed by Rita Reviewer", "fairpull claim C-0001 --sign --key approver.key --workspace ", "figures compared", "A private key is never given to this server")
	keys := makeKeys(t, s)
	if a := s.do(s.client(), http.MethodGet, "/claims/C-0001/files/dossier.zip", nil); a.status != http.StatusUnprocessableEntity {
		t.Errorf("a dossier before the signature: %d", a.status)
	}
	keys.published(t, s, "C-0001")
	page = s.get("/claims/C-0001")
	page.says(t, "Published", "Leaf 0 of the record lab.example/record", "Signed by Ada Approver", "claim-C-0001.zip", "takes its place")
	page.saysNot(t, "I have looked it through", "<pre tabindex")
	s.get("/").says(t, "Signed", `<a href="/claims/C-0001">C-0001</a> published`)
	s.get("/?claim=published").says(t, "Intake and cam kit")
	s.get("/?claim=draft").says(t, "No campaign has all of that")
	s.get("/claims?state=published").says(t, "C-0001")
	s.get("/claims?state=draft").says(t, "No claim is in that state")
	claimDocuments(t, s)
	refuse("C-0001", "/claims", url.Values{"campaign": {demoID}, "amends": {"C-0001"}, "by": {"Dora Drafter"}})
	s.get("/claims/new?amends=C-0001").says(t, "takes the place of C-0001", "Sidecars.")
	s.leads("/claims", url.Values{"amends": {"C-0001"}, "by": {"Dora Drafter"}, "why": {"a slip in the parts"}}, "/claims/C-0002?done=drafted")
	s.get("/claims/C-0002").says(t, "It amends", "C-0001")
	refuse("for a reason", "/claims/C-0001/withdraw", url.Values{"by": {"Ada Approver"}})
	s.leads("/claims/C-0001/withdraw", url.Values{"by": {"Ada Approver"}, "why": {"a leak was found"}}, "/claims/C-0001?done=withdrawn")
	page = s.get("/claims/C-0001")
	page.says(t, "no longer to be used", "a leak was found")
	page.saysNot(t, "What comes next")
	s.get("/").says(t, "Judged")
	for _, path := range []string{"/claims/C-0099", "/claims/C-0001/files/x.exe", "/claims/new?campaign=none", "/claims/..%2fx"} {
		if a := s.do(s.client(), http.MethodGet, path, nil); a.status != http.StatusNotFound {
			t.Errorf("%s: %d", path, a.status)
		}
	}
	if a := s.do(s.client(), http.MethodGet, "/claims/new", nil); a.status != http.StatusBadRequest {
		t.Errorf("a draft of nothing: %d", a.status)
	}
}

// claimDocuments are taken along: each is what it says it is, and the dossier verifies.
func claimDocuments(t *testing.T, s *site) {
	t.Helper()
	for file, begins := range map[string]string{
		"sheet.html": "<!DOCTYPE html>", "sheet.pdf": "%PDF-", "sheet.svg?language=de": "<?xml", "sheet.png": "\x89PNG", "test-report.html": "<!DOCTYPE html>", "test-report.pdf": "%PDF-",
		"claim.json": "{", "dossier.zip": "PK",
	} {
		a := s.get("/claims/C-0001/files/" + file)
		if !strings.HasPrefix(strings.TrimSpace(a.body), begins) || !strings.Contains(a.header.Get("Content-Disposition"), `attachment; filename="claim-C-0001`) || !strings.Contains(a.header.Get("Content-Security-Policy"), "sandbox") {
			t.Errorf("%s: %q, %q", file, a.body[:min(40, len(a.body))], a.header)
		}
	}
	s.get("/claims/C-0001/files/sheet.html?language=fr").says(t, `lang="fr"`)
	for _, query := range []string{"language=xx", "paper=b5"} {
		if a := s.do(s.client(), http.MethodGet, "/claims/C-0001/files/sheet.html?"+query, nil); a.status != http.StatusBadRequest {
			t.Errorf("%s: %d", query, a.status)
		}
	}
	if a := s.get("/claims/C-0001/charts/gain-1.json"); !json.Valid([]byte(a.body)) {
		t.Errorf("the gain chart: %.200s", a.body)
	}
	dossier := s.get("/claims/C-0001/files/dossier.zip").body
	if _, err := zip.NewReader(bytes.NewReader([]byte(dossier)), int64(len(dossier))); err != nil {
		t.Fatal(err)
	}
	place := filepath.Join(t.TempDir(), "claim.zip")
	if err := lab.WriteFile(place, []byte(dossier), false); err != nil {
		t.Fatal(err)
	}
	if v, err := lab.VerifyDossier(t.Context(), place, lab.DossierTrust{}, "test"); err != nil || !v.Verified {
		t.Errorf("the dossier that was taken along: %+v, %v", v, err)
	}
}

// What test reports say is kept for the lab and for a claim, until it is signed.
func TestDetailsPages(t *testing.T) {
	s := open(t, nil)
	claimable(t, s)
	s.leads("/claims/details", url.Values{"laboratory": {"Example Lab"}, "address": {"1 Example Road"}, "by": {"Anna Test"}}, "/claims/details?done=details")
	s.leads("/claims/details", url.Values{"laboratory": {"Example Lab"}, "address": {"1 Example Road"}, "by": {"Anna Test"}}, "/claims/details?done=details-same")
	s.get("/claims/details").says(t, `value="Example Lab"`)
	s.leads("/claims", url.Values{"campaign": {demoID}, "by": {"Dora Drafter"}}, "/claims/C-0001?done=drafted")
	s.get("/claims/C-0001").says(t, "not stated:", "7.8.2.1 e: customer")
	s.get("/claims/C-0001/details").says(t, `placeholder="Example Lab"`, `name="customer"`)
	form := url.Values{"customer": {`<b>"Parts"</b>`}, "received": {"2031-05-14"}, "by": {"Anna Test"}}
	s.leads("/claims/C-0001/details", form, "/claims/C-0001?done=details")
	page := s.get("/claims/C-0001")
	page.says(t, "7.8.2.1 g: condition")
	page.saysNot(t, "7.8.2.1 e: customer;", "<b>")
	s.get("/claims/C-0001/details").says(t, "&lt;b&gt;")
	s.get("/claims/C-0001/files/test-report.html").says(t, "Example Lab", "&lt;b&gt;&#34;Parts&#34;&lt;/b&gt;", "2031-05-14")
	form.Set("received", "in May")
	if a := s.do(s.client(), http.MethodPost, "/claims/C-0001/details", form); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "is not written as") {
		t.Errorf("a day that is none: %d\n%.2000s", a.status, a.body)
	}
	s.leads("/claims/C-0001/review", url.Values{"by": {"Rita Reviewer"}}, "/claims/C-0001?done=reviewed")
	makeKeys(t, s).published(t, s, "C-0001")
	s.get("/claims/C-0001/details").says(t, "fixed in its dossier", "readonly")
	form.Set("received", "2031-05-14")
	if a := s.do(s.client(), http.MethodPost, "/claims/C-0001/details", form); a.status != http.StatusUnprocessableEntity {
		t.Errorf("after the signature: %d", a.status)
	}
}

// Which published claims cover a combination, on a page and for programs; what is held
// neutral breaks no cover.
func TestCoversPages(t *testing.T) {
	s := open(t, nil)
	claimable(t, s)
	s.get("/covers?ask=yes&parts=exhaust+%3D+X-650-2").says(t, "No claim is published")
	s.leads("/claims", url.Values{"campaign": {demoID}, "by": {"Dora Drafter"}}, "/claims/C-0001?done=drafted")
	s.leads("/claims/C-0001/review", url.Values{"by": {"Rita Reviewer"}}, "/claims/C-0001?done=reviewed")
	makeKeys(t, s).published(t, s, "C-0001")
	s.get("/covers?like=C-0001").says(t, "camshaft = K-218", "calibration = K-218 r3")
	tested := url.Values{"ask": {"yes"}, "parts": {"camshaft = K-218\r\nintake = K-218 F\r\nexhaust = X-650-2"}, "settings": {"calibration = K-218 r3\nfuel = E10 98, batch 7"}}
	page := s.get("/covers?" + tested.Encode())
	page.says(t, "Claim C-0001 covers it", "at least 5.0")
	page.saysNot(t, "✗")
	with := url.Values{"ask": {"yes"}, "parts": {tested.Get("parts") + "\nmirror = M-1"}, "settings": tested["settings"]}
	s.get("/covers?"+with.Encode()).says(t, "does not cover it", "✗ mirror: M-1 is asked about, and none was tested", "the nearest that was tested")
	s.leads("/covers/neutral", url.Values{"function": {"mirror"}, "why": {"it stands in no air that matters"}, "by": {"Anna Test"}}, "/covers?done=neutral#neutral")
	s.get("/covers?"+with.Encode()).says(t, "covers it", "held neutral: it stands in no air that matters")
	var answer struct {
		Format  string
		Covered []string
	}
	if err := json.Unmarshal([]byte(s.get("/covers.json?"+with.Encode()).body), &answer); err != nil || answer.Format != "fairpull.covers/1" || len(answer.Covered) != 1 {
		t.Errorf("%+v, %v", answer, err)
	}
	s.leads("/covers/neutral", url.Values{"function": {"mirror"}, "why": {"looked into again"}, "end": {"yes"}}, "/covers?done=not-neutral#neutral")
	for query, want := range map[string]string{"ask=yes": "nothing is asked about", "ask=yes&parts=exhaust": "is no part", "ask=yes&parts=a+%3D+b&settings=x": "is no setting"} {
		if a := s.do(s.client(), http.MethodGet, "/covers?"+query, nil); a.status != http.StatusUnprocessableEntity || !strings.Contains(strings.ToLower(a.body), want) {
			t.Errorf("%s: %d\n%.2000s", query, a.status, a.body)
		}
	}
	if a := s.do(s.client(), http.MethodPost, "/covers/neutral", url.Values{"function": {"mirror"}}); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "for a reason") {
		t.Errorf("neutral for no reason: %d", a.status)
	}
}

// A campaign as a ladder, with charts to take along.
func TestStepsPage(t *testing.T) {
	s := open(t, nil)
	page := s.get(campaignPath + "/steps")
	page.says(t, "Step 1", "intake and cam kit", "<svg", "Each interval holds for the contrast", "/steps/charts/steps.svg")
	if a := s.get(campaignPath + "/steps/charts/steps.svg"); !strings.HasPrefix(strings.TrimSpace(a.body), "<?xml") {
		t.Errorf("%.100s", a.body)
	}
	s.get(campaignPath+"/steps/charts/steps.csv").says(t, "contrast,gain [%],low [%],high [%],at_least [%]", "B intake and cam kit over A as delivered,6.3")
	if a := s.get(campaignPath + "/steps/charts/gain-1.json"); !json.Valid([]byte(a.body)) {
		t.Errorf("the step's gain: %.200s", a.body)
	}
	s.get(campaignPath+"/steps?order=B").says(t, "Step 1")
	if a := s.do(s.client(), http.MethodGet, campaignPath+"/steps?order=Z", nil); a.status != http.StatusUnprocessableEntity || !strings.Contains(a.body, "has no candidate") {
		t.Errorf("another ladder: %d\n%.2000s", a.status, a.body)
	}
}

// With accounts, who signed in drafts and reviews, whatever the form says; a viewer is
// offered nothing that would be refused.
func TestClaimsByRole(t *testing.T) {
	s := guarded(t, nil)
	claimable(t, s)
	engineer, approver, viewer := s.as("engineer"), s.as("approver"), s.as("viewer")
	if a := s.do(engineer, http.MethodPost, "/claims", url.Values{"campaign": {demoID}, "by": {"Somebody Else"}}); a.status != http.StatusSeeOther {
		t.Fatalf("%d\n%.2000s", a.status, a.body)
	}
	a := s.do(viewer, http.MethodGet, "/claims/C-0001", nil)
	a.says(t, "A draft by engineer", "Reviewing a claim needs the role engineer")
	a.saysNot(t, "<button class=\"main\">", "Somebody Else")
	for _, c := range []struct {
		who  *http.Client
		path string
		want int
	}{
		{viewer, "/claims/C-0001/review", http.StatusForbidden}, {engineer, "/claims/C-0001/withdraw", http.StatusForbidden},
		{engineer, "/claims/C-0001/review", http.StatusUnprocessableEntity}, {approver, "/claims/C-0001/review", http.StatusSeeOther},
		{viewer, "/covers/neutral", http.StatusForbidden}, {viewer, "/claims/details", http.StatusForbidden}, {viewer, "/claims", http.StatusForbidden},
	} {
		if a := s.do(c.who, http.MethodPost, c.path, url.Values{"by": {"Rita Reviewer"}, "why": {"x"}}); a.status != c.want {
			t.Errorf("%s: %d, want %d", c.path, a.status, c.want)
		}
	}
	page := s.do(viewer, http.MethodGet, "/claims/C-0001", nil)
	page.says(t, "Reviewed by approver", "fairpull claim C-0001 --sign --key approver.key")
	page.saysNot(t, "--workspace")
}
