package web

import (
	"bytes"
	"compress/gzip"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"fairpull/internal/lab"
)

const campaignPath = "/campaigns/" + demoID

// lastChange says whether something was written.
func (s *site) lastChange() int64 {
	s.t.Helper()
	seq, err := s.desk.LastChange(s.t.Context())
	if err != nil {
		s.t.Fatal(err)
	}
	return seq
}

var excludeForm = url.Values{"pull": {"1"}, "cause": {"strap slipped"}, "version": {"1"}}

// Every answer, an error too, says that nothing but this server's own files may
// act in the page and that no other page may frame it.
func TestHeadersOnEveryAnswer(t *testing.T) {
	s := open(t, nil)
	c := s.client()
	for _, path := range []string{"/", campaignPath, "/campaigns/none", "/nowhere", "/healthz", "/assets/none.js", campaignPath + "/files/curves.csv"} {
		h := s.do(c, http.MethodGet, path, nil).header
		policy := h.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'none'", "frame-ancestors 'none'"} {
			if !strings.Contains(policy, want) {
				t.Errorf("%s: policy %q lacks %s", path, policy, want)
			}
		}
		if strings.Contains(policy, "unsafe") && !strings.Contains(policy, "sandbox") {
			t.Errorf("%s: policy %q", path, policy)
		}
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin",
			"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin"} {
			if got := h.Get(name); got != want {
				t.Errorf("%s: %s is %q, want %q", path, name, got, want)
			}
		}
	}
}

// inline finds what the content policy would block: script or style within the
// page.
var inline = regexp.MustCompile(`(?i)<script(?:[^>]*)>[^<]|<style|<[^>]+\s(?:on[a-z]+|style)\s*=|javascript:`)

func TestNoInlineScriptOrStyle(t *testing.T) {
	s := open(t, nil)
	c := s.client()
	for _, path := range []string{"/", "/?words=intake", campaignPath, campaignPath + "?confidence=0.9", "/nowhere"} {
		if found := inline.FindString(s.do(c, http.MethodGet, path, nil).body); found != "" {
			t.Errorf("%s holds %q", path, found)
		}
	}
}

// A site whose name was pointed at this machine reads nothing through its
// visitor's browser (DNS rebinding), and changes nothing.
func TestForeignHostIsRefused(t *testing.T) {
	s := open(t, nil)
	c := s.client()
	for _, host := range []string{"attacker.example", "attacker.example:7474", "127.0.0.1.attacker.example", "localhost.attacker.example", "10.0.0.7:7474", "[2001:db8::1]:7474", "0.0.0.0"} {
		a := s.do(c, http.MethodGet, campaignPath, nil, "Host", host)
		if a.status != http.StatusMisdirectedRequest || strings.Contains(a.body, "Intake") {
			t.Errorf("host %s: %d %.100s", host, a.status, a.body)
		}
		if a := s.do(c, http.MethodPost, campaignPath+"/exclude", excludeForm, "Host", host); a.status != http.StatusMisdirectedRequest {
			t.Errorf("host %s, a change: %d", host, a.status)
		}
	}
	for _, host := range []string{"localhost", "localhost:7474", "127.0.0.1:7474", "127.0.0.2", "[::1]:7474", "[::1]"} {
		if a := s.do(c, http.MethodGet, "/", nil, "Host", host); a.status != http.StatusOK {
			t.Errorf("host %s: %d", host, a.status)
		}
	}
	if seq := s.lastChange(); seq != 1 {
		t.Errorf("something was written: change %d", seq)
	}
}

func TestLoopback(t *testing.T) {
	for address, want := range map[string]bool{
		"127.0.0.1:7474": true, "localhost:7474": true, "[::1]:7474": true, "127.8.8.8:0": true,
		":7474": false, "0.0.0.0:7474": false, "[::]:7474": false, "192.0.2.7:7474": false, "lab.example:7474": false, "7474": false, "": false,
	} {
		if Loopback(address) != want {
			t.Errorf("%q: %v", address, !want)
		}
	}
}

// A page of another site that has the browser send a form changes nothing.
func TestCrossSiteWritesAreRefused(t *testing.T) {
	s := open(t, nil)
	for _, header := range [][]string{
		{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Origin", "https://attacker.example"}, {"Origin", "null"},
	} {
		for _, row := range s.table() {
			method, path, _ := strings.Cut(row.pattern, " ")
			if method != http.MethodPost {
				continue
			}
			path = strings.ReplaceAll(path, "{id}", demoID)
			if a := s.do(s.client(), method, path, excludeForm, header...); a.status != http.StatusForbidden {
				t.Errorf("%s with %v: %d", path, header, a.status)
			}
		}
	}
	if seq := s.lastChange(); seq != 1 {
		t.Errorf("something was written: change %d", seq)
	}
	if a := s.do(s.client(), http.MethodPost, campaignPath+"/exclude", excludeForm, "Sec-Fetch-Site", "same-origin"); a.status != http.StatusSeeOther {
		t.Errorf("the page's own form: %d %s", a.status, a.body)
	}
}

func TestChangesNeedPost(t *testing.T) {
	s := open(t, nil)
	for _, path := range []string{campaignPath + "/exclude?" + excludeForm.Encode(), campaignPath + "/results"} {
		if a := s.do(s.client(), http.MethodGet, path, nil); a.status != http.StatusNotFound && a.status != http.StatusMethodNotAllowed {
			t.Errorf("GET %s: %d", path, a.status)
		}
	}
	if seq := s.lastChange(); seq != 1 {
		t.Errorf("something was written: change %d", seq)
	}
}

// What is longer than a form can be is not read to its end, and a compressed
// body is not blown up.
func TestLargeBodiesAreRefused(t *testing.T) {
	s := open(t, nil)
	form := url.Values{"pull": {"1"}, "version": {"1"}, "cause": {strings.Repeat("x", maxFormBytes)}}
	a := s.do(s.client(), http.MethodPost, campaignPath+"/exclude", form)
	if a.status < 400 || a.status >= 500 {
		t.Errorf("a form of %d bytes: %d", len(form.Encode()), a.status)
	}
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	if _, err := io.WriteString(z, excludeForm.Encode()); err != nil || z.Close() != nil {
		t.Fatal(err)
	}
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, s.http.URL+campaignPath+"/exclude", &packed)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Content-Encoding", "gzip")
	response, err := s.client().Do(r)
	if err != nil {
		t.Fatal(err)
	}
	if response.Body.Close(); response.StatusCode < 400 || response.StatusCode >= 500 {
		t.Errorf("a form that comes compressed: %d", response.StatusCode)
	}
	if got := s.lastChange(); got != 1 {
		t.Errorf("something was written: change %d", got)
	}
}

// Text from files is shown as text, wherever it comes from.
func TestStoredTextIsNeverMarkup(t *testing.T) {
	dir := t.TempDir()
	folder := filepath.Join(dir, "campaign")
	if err := lab.WriteDemo(folder); err != nil {
		t.Fatal(err)
	}
	const attack = `<img src=x onerror=alert(1)>"'><script>alert(2)</script>`
	file := filepath.Join(folder, "campaign.toml")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	quoted := regexp.MustCompile(`(?m)^(title|purpose|name|description) = ".*"$`)
	if n := len(quoted.FindAll(text, -1)); n < 4 {
		t.Fatalf("%d texts to replace", n)
	}
	text = quoted.ReplaceAll(text, []byte(`$1 = '''`+attack+`'''`))
	if err := os.WriteFile(file, text, 0o644); err != nil {
		t.Fatal(err)
	}
	w, err := lab.InitWorkspace(t.Context(), filepath.Join(dir, "lab"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Import(t.Context(), folder, bert, false); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Judge(t.Context(), demoID, lab.JudgeOptions{By: bert, Program: "test", Keep: true}); err != nil {
		t.Fatal(err)
	}
	s := serve(t, w, nil)
	if err := s.w.Exclude(t.Context(), demoID, "1", attack, 0, bert.Who); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"/", campaignPath, campaignPath + "?confidence=0.9"} {
		a := s.get(path)
		a.saysNot(t, "<img src=x", "<script>alert", "onerror=alert(1)>\"")
		a.says(t, "&lt;img src=x onerror=alert(1)&gt;")
	}
	for _, file := range []string{"report.html", "picture.svg"} {
		s.get(campaignPath+"/files/"+file).saysNot(t, "<img src=x", "<script>alert")
	}
	for _, path := range []string{`/?words="><script>alert(2)</script>`, "/?done=<script>alert(2)</script>"} {
		a := s.do(s.client(), http.MethodGet, strings.ReplaceAll(path, " ", "%20"), nil)
		a.saysNot(t, "<script>alert")
	}
}

// An address names what is in the workspace and the program, and no file of the
// machine.
func TestPathsAreConfined(t *testing.T) {
	s := open(t, nil)
	for _, path := range []string{
		"/assets/../../../etc/passwd", "/assets/..%2f..%2fetc%2fpasswd", "/assets/%2e%2e/app.css",
		"/campaigns/..%2f..%2fetc%2fpasswd", "/campaigns/%00", campaignPath + "/files/..%2f..%2fworkspace.db", campaignPath + "/files/workspace.db",
		campaignPath + "/charts/gain-0.json", campaignPath + "/charts/gain-99999999999999999999.json", campaignPath + "/charts/..%2fgain-1.json",
	} {
		a := s.do(s.client(), http.MethodGet, path, nil)
		if a.status == http.StatusMovedPermanently || a.status == http.StatusTemporaryRedirect || a.status == http.StatusPermanentRedirect {
			a = s.do(s.client(), http.MethodGet, a.header.Get("Location"), nil) // the cleaned path
		}
		if a.status != http.StatusNotFound {
			t.Errorf("%s: %d %.200s", path, a.status, a.body)
		}
		a.saysNot(t, "root:", "SQLite")
	}
}

// What is no text reaches no database: PostgreSQL takes neither zero bytes nor bytes
// that are not UTF-8, and would answer with an error of the server's.
func TestWhatIsNoTextIsRefused(t *testing.T) {
	s := open(t, nil)
	for path, want := range map[string]int{
		"/campaigns/a%00": http.StatusNotFound, "/campaigns/%ff": http.StatusNotFound, "/dynos/%c0%80": http.StatusNotFound,
		"/?words=%00": http.StatusBadRequest, "/trail?subject=%ff": http.StatusBadRequest, "/covers?%00=1": http.StatusBadRequest,
	} {
		if a := s.do(s.client(), http.MethodGet, path, nil); a.status != want {
			t.Errorf("%s: %d, want %d", path, a.status, want)
		}
	}
	for _, cause := range []string{"strap\x00slipped", "strap\xffslipped"} {
		form := url.Values{"pull": {"1"}, "version": {"1"}, "cause": {cause}}
		if a := s.do(s.client(), http.MethodPost, campaignPath+"/exclude", form); a.status != http.StatusBadRequest {
			t.Errorf("cause %q: %d", cause, a.status)
		}
	}
	if seq := s.lastChange(); seq != 1 {
		t.Errorf("something was written: change %d", seq)
	}
}

// Going back never leads to another site.
func TestBackToStaysHere(t *testing.T) {
	for place, want := range map[string]string{
		"/campaigns/a?band_low=1&units=us": "/campaigns/a?band_low=1", "/": "/", "/a%2Fb": "/a%2Fb",
		"": "/", "//attacker.example": "/", "///attacker.example": "/", "https://attacker.example/": "/", "javascript:alert(1)": "/",
		`/\attacker.example`: "/", `\\attacker.example`: "/", "attacker.example": "/", "/\x00": "/", "http:attacker.example": "/", "/%5cattacker.example": "/%5cattacker.example",
	} {
		if got := backTo(place, "units"); got != want {
			t.Errorf("%q: %q, want %q", place, got, want)
		}
	}
}
