package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"fairpull/internal/lab"
)

const password = "four words that differ"

// guarded is a site that people sign in to, with an account of every role, named
// as the role.
func guarded(t *testing.T, change func(*Options)) *site {
	s := open(t, func(o *Options) {
		o.Accounts, o.By = true, ""
		if change != nil {
			change(o)
		}
	})
	for _, role := range lab.Roles {
		if err := s.w.AddAccount(t.Context(), string(role), role, password, bert); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

// signedIn returns a browser that is signed in.
func (s *site) as(name string) *http.Client {
	s.t.Helper()
	c := s.client()
	a := s.do(c, http.MethodPost, "/sign-in", url.Values{"name": {name}, "password": {password}, "back": {campaignPath}})
	if a.status != http.StatusSeeOther || a.header.Get("Location") != campaignPath {
		s.t.Fatalf("sign in as %s: %d, to %q\n%s", name, a.status, a.header.Get("Location"), a.body)
	}
	return c
}

// Without a session no route that has a role answers with anything.
func TestEverythingAsksWhoIsThere(t *testing.T) {
	s := guarded(t, nil)
	for _, row := range s.table() {
		method, path, _ := strings.Cut(row.pattern, " ")
		path = strings.NewReplacer("{id}", demoID, "{file}", "gain.json", "{chart}", "gain-1.json", "{$}", "", "{pull}", "1", "{dyno}", "cell-1", "{vehicle}", "twin650-03", "{claim}", "C-0001").Replace(path)
		form := url.Values(nil)
		if method == http.MethodPost {
			form = excludeForm
		}
		a := s.do(s.client(), method, path, form)
		page := method == http.MethodGet && a.status == http.StatusSeeOther && strings.HasPrefix(a.header.Get("Location"), "/sign-in?back=")
		if row.role != "" && !page && a.status != http.StatusUnauthorized {
			t.Errorf("%s: %d", row.pattern, a.status)
		}
		a.saysNot(t, "Intake and cam", "twin650-03")
		if a := s.do(s.client(), method, path, form, "Accept", "application/json"); row.role != "" && a.status != http.StatusUnauthorized {
			t.Errorf("%s for a program: %d", row.pattern, a.status)
		}
	}
	if s.do(s.client(), http.MethodGet, "/nowhere", nil).status != http.StatusSeeOther {
		t.Error("a page that is not there tells so to a stranger")
	}
}

// Each route lets in the roles from its own on, and no other.
func TestRolesOfRoutes(t *testing.T) {
	s := guarded(t, nil)
	rank := map[lab.Role]int{}
	for i, role := range lab.Roles {
		rank[role] = i
	}
	for _, role := range lab.Roles {
		c := s.as(string(role))
		for _, row := range s.table() {
			method, path, _ := strings.Cut(row.pattern, " ")
			if row.role == "" || path == "/events" {
				continue
			}
			path = strings.NewReplacer("{id}", "none", "{file}", "none", "{chart}", "none", "{$}", "", "{pull}", "none", "{dyno}", "none", "{vehicle}", "none").Replace(path)
			form := url.Values(nil)
			if method == http.MethodPost {
				form = url.Values{}
			}
			got := s.do(c, method, path, form).status
			if allowed := rank[role] >= rank[row.role]; allowed == (got == http.StatusForbidden) || got == http.StatusUnauthorized {
				t.Errorf("%s as %s: %d", row.pattern, role, got)
			}
		}
	}
}

func TestViewerChangesNothing(t *testing.T) {
	s := guarded(t, nil)
	before := s.lastChange()
	c := s.as("viewer")
	s.do(c, http.MethodGet, campaignPath, nil).saysNot(t, "/exclude", "/results")
	for _, path := range []string{"/exclude", "/restore", "/results"} {
		if a := s.do(c, http.MethodPost, campaignPath+path, excludeForm); a.status != http.StatusForbidden {
			t.Errorf("%s: %d", path, a.status)
		}
	}
	if after := s.lastChange(); after != before {
		t.Errorf("change %d after %d", after, before)
	}
	technician := s.as("technician")
	if a := s.do(technician, http.MethodPost, campaignPath+"/exclude", excludeForm); a.status != http.StatusSeeOther {
		t.Errorf("a technician: %d %s", a.status, a.body)
	}
}

func TestSignInCookie(t *testing.T) {
	for _, encrypted := range []bool{false, true} {
		s := guarded(t, func(o *Options) { o.BehindProxy = encrypted })
		a := s.do(s.client(), http.MethodPost, "/sign-in", url.Values{"name": {"viewer"}, "password": {password}})
		cookie := a.header.Get("Set-Cookie")
		for _, want := range []string{"HttpOnly", "SameSite=Strict", "Path=/"} {
			if !strings.Contains(cookie, want) {
				t.Errorf("the cookie %q lacks %s", cookie, want)
			}
		}
		if secure := strings.HasPrefix(cookie, "__Host-session=") && strings.Contains(cookie, "; Secure"); secure != encrypted {
			t.Errorf("encrypted %v: cookie %q", encrypted, cookie)
		}
		if hsts := a.header.Get("Strict-Transport-Security") != ""; hsts != encrypted {
			t.Errorf("encrypted %v: Strict-Transport-Security %v", encrypted, hsts)
		}
	}
}

// A token that somebody put into the browser before is worth nothing after.
func TestSessionIsNotFixed(t *testing.T) {
	s := guarded(t, nil)
	for _, planted := range []string{"planted", strings.Repeat("A", 43)} {
		a := s.do(s.client(), http.MethodPost, "/sign-in", url.Values{"name": {"viewer"}, "password": {password}}, "Cookie", "session="+planted)
		if cookie := a.header.Get("Set-Cookie"); a.status != http.StatusSeeOther || strings.Contains(cookie, planted) || cookie == "" {
			t.Errorf("%d, cookie %q", a.status, cookie)
		}
		if a := s.do(s.client(), http.MethodGet, "/", nil, "Cookie", "session="+planted); a.status != http.StatusSeeOther {
			t.Errorf("the planted token: %d", a.status)
		}
	}
	first := s.as("viewer")
	old := first.Jar.Cookies(mustParse(t, s.http.URL))[0].Value
	if a := s.do(first, http.MethodPost, "/sign-out", url.Values{}); a.status != http.StatusSeeOther {
		t.Fatalf("sign out: %d", a.status)
	}
	if a := s.do(s.client(), http.MethodGet, "/", nil, "Cookie", "session="+old); a.status != http.StatusSeeOther {
		t.Errorf("a token after signing out: %d", a.status)
	}
}

// An answer that is still being made when its session is signed out does not bring the
// session back.
func TestSignedOutStaysOut(t *testing.T) {
	s := guarded(t, nil)
	c := s.as("viewer")
	token := c.Jar.Cookies(mustParse(t, s.http.URL))[0].Value
	begun, signedOut := make(chan struct{}), make(chan struct{})
	slow := s.sessions.load("GET /slow", http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		close(begun)
		<-signedOut
		w.WriteHeader(http.StatusOK)
	}))
	answered := make(chan struct{})
	go func() {
		defer close(answered)
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/slow", http.NoBody)
		r.AddCookie(&http.Cookie{Name: s.sessions.Cookie.Name, Value: token})
		slow.ServeHTTP(httptest.NewRecorder(), r)
	}()
	<-begun
	if a := s.do(c, http.MethodPost, "/sign-out", url.Values{}); a.status != http.StatusSeeOther {
		t.Fatalf("sign out: %d", a.status)
	}
	close(signedOut)
	<-answered
	if a := s.do(s.client(), http.MethodGet, "/", nil, "Cookie", "session="+token); a.status != http.StatusSeeOther {
		t.Errorf("the token after signing out: %d", a.status)
	}
}

func mustParse(t *testing.T, text string) *url.URL {
	t.Helper()
	u, err := url.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// Whoever loses a role, the password or the account is out at once.
func TestSessionEndsWithTheAccount(t *testing.T) {
	s := guarded(t, nil)
	for name, change := range map[string]func() error{
		"viewer":     func() error { return s.w.SetRole(t.Context(), "viewer", lab.Technician, bert) },
		"technician": func() error { return s.w.SetPassword(t.Context(), "technician", password+"!", bert) },
		"engineer":   func() error { return s.w.CloseAccount(t.Context(), "engineer", bert) },
	} {
		c := s.as(name)
		if a := s.do(c, http.MethodGet, "/", nil); a.status != http.StatusOK {
			t.Fatalf("%s: %d", name, a.status)
		}
		if err := change(); err != nil {
			t.Fatal(err)
		}
		if a := s.do(c, http.MethodGet, "/", nil); a.status != http.StatusSeeOther {
			t.Errorf("%s after the change: %d", name, a.status)
		}
	}
	if a := s.do(s.client(), http.MethodPost, "/sign-in", url.Values{"name": {"engineer"}, "password": {password}}); a.status != http.StatusUnauthorized {
		t.Errorf("a closed account: %d", a.status)
	}
}

func TestSessionsExpire(t *testing.T) {
	s := guarded(t, nil)
	if s.sessions.Lifetime != 12*time.Hour || s.sessions.IdleTimeout != 90*time.Minute {
		t.Errorf("sessions last %v, %v idle", s.sessions.Lifetime, s.sessions.IdleTimeout)
	}
	s.sessions.IdleTimeout = 150 * time.Millisecond
	c := s.as("viewer")
	if a := s.do(c, http.MethodGet, "/", nil); a.status != http.StatusOK {
		t.Fatalf("at first: %d", a.status)
	}
	time.Sleep(300 * time.Millisecond)
	if a := s.do(c, http.MethodGet, "/", nil); a.status != http.StatusSeeOther {
		t.Errorf("after a break: %d", a.status)
	}
}

// Guessing is slowed down for one name and from one address, and the answer does
// not tell whether the name is known.
func TestGuessingIsSlowedDown(t *testing.T) {
	s := guarded(t, nil)
	guess := func(name, word string) answer {
		return s.do(s.client(), http.MethodPost, "/sign-in", url.Values{"name": {name}, "password": {word}})
	}
	known, unknown := guess("viewer", "wrong"), guess("nobody", "wrong")
	if known.status != http.StatusUnauthorized || unknown.status != http.StatusUnauthorized ||
		strings.ReplaceAll(known.body, "viewer", "nobody") != unknown.body {
		t.Errorf("a known name %d, an unknown one %d, or the pages differ", known.status, unknown.status)
	}
	for range triesOfName - 1 {
		guess("viewer", "wrong")
	}
	a := guess("viewer", password)
	if a.status != http.StatusTooManyRequests || a.header.Get("Retry-After") == "" {
		t.Errorf("the right password after %d wrong ones: %d, Retry-After %q", triesOfName, a.status, a.header.Get("Retry-After"))
	}
	if a := guess("technician", password); a.status != http.StatusSeeOther {
		t.Errorf("another name meanwhile: %d", a.status)
	}
	if log := s.log.String(); strings.Contains(log, password) || strings.Contains(log, "wrong") {
		t.Error("a password is in the log")
	}
}

func TestThrottle(t *testing.T) {
	now := time.Date(2031, 5, 14, 9, 0, 0, 0, time.UTC)
	h := newThrottle(func() time.Time { return now })
	for i := range triesOfName {
		if wait := h.wait("anna", "192.0.2.1"); wait != 0 {
			t.Fatalf("try %d waits %v", i+1, wait)
		}
	}
	if wait := h.wait("anna", "192.0.2.2"); wait != triesWithin {
		t.Errorf("one name from another address waits %v", wait)
	}
	now = now.Add(triesWithin)
	if wait := h.wait("anna", "192.0.2.1"); wait != 0 {
		t.Errorf("after %v: waits %v", triesWithin, wait)
	}
	h.forget("anna", "192.0.2.1")
	if len(h.tries) != 0 {
		t.Errorf("kept after a success: %v", h.tries)
	}
	for i := range triesOfAddress {
		if wait := h.wait("name"+string(rune('a'+i%26))+string(rune('a'+i/26)), "192.0.2.3"); wait != 0 {
			t.Fatalf("name %d waits %v", i, wait)
		}
	}
	if wait := h.wait("another", "192.0.2.3"); wait == 0 {
		t.Error("one address tries any number of names")
	}
	// Who has one address of version 6 has all of its network.
	for i := range triesOfAddress {
		if wait := h.wait("six"+string(rune('a'+i)), fmt.Sprintf("2001:db8::%x", i+1)); wait != 0 {
			t.Fatalf("address %d waits %v", i, wait)
		}
	}
	if wait := h.wait("seven", "2001:DB8:0:0:ffff::1"); wait == 0 {
		t.Error("one network of version 6 tries any number of names")
	}
	if wait := h.wait("seven", "2001:db8:0:1::1"); wait != 0 {
		t.Errorf("another network waits %v", wait)
	}
	for i := range 2 * throttleEntries {
		h.wait(strings.Repeat("x", i%50)+string(rune(0x4e00+i)), "192.0.2."+string(rune(0x4e00+i)))
	}
	if len(h.tries) > throttleEntries {
		t.Errorf("%d entries are kept", len(h.tries))
	}
}

func TestAddressBehindProxy(t *testing.T) {
	s := guarded(t, func(o *Options) { o.BehindProxy = true })
	for header, want := range map[string]string{
		"203.0.113.9": "203.0.113.9", "10.0.0.1, 203.0.113.9": "203.0.113.9", "spoofed, 203.0.113.9": "203.0.113.9", "no address": "192.0.2.1", "": "192.0.2.1",
	} {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "/", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.RemoteAddr = "192.0.2.1:4711"
		r.Header.Set("X-Forwarded-For", header)
		if got := s.addressOf(r); got != want {
			t.Errorf("%q: %s, want %s", header, got, want)
		}
	}
}
