package web

import (
	"bytes"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"testing"

	"fairpull/internal/lab"
)

// bert is who writes in these tests.
var bert = lab.Author{Who: "Bert Test", Why: "invented scenario"}

// demoID is the id of the built-in campaign.
const demoID = "twin650-intake-cam"

// site is a server of a fresh workspace, as a person's browser sees it.
type site struct {
	*Server
	t    testing.TB
	w    *lab.Workspace
	http *httptest.Server
	log  *bytes.Buffer
}

// open starts a server of a workspace that has the demo campaign.
func open(t testing.TB, change func(*Options)) *site {
	t.Helper()
	dir := t.TempDir()
	w, err := lab.InitWorkspace(t.Context(), filepath.Join(dir, "lab"))
	if err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(dir, "campaign")
	if err := lab.WriteDemo(folder); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Import(t.Context(), folder, bert, false); err != nil {
		t.Fatal(err)
	}
	return serve(t, w, change)
}

func serve(t testing.TB, w *lab.Workspace, change func(*Options)) *site {
	t.Helper()
	o := Options{Workspace: w, Version: "test", By: bert.Who}
	log := new(bytes.Buffer)
	o.Log = slog.New(slog.NewTextHandler(&lockedWriter{w: log}, nil))
	if change != nil {
		change(&o)
	}
	server, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	s := &site{Server: server, t: t, w: w, log: log}
	s.http = httptest.NewServer(server.Handler())
	t.Cleanup(func() {
		server.watch.stop()
		s.http.Close()
		if err := w.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// answer is what came back.
type answer struct {
	status int
	header http.Header
	body   string
}

// client returns a browser without its page: it keeps cookies and follows no
// redirect.
func (s *site) client() *http.Client {
	jar, err := cookiejar.New(nil)
	if err != nil {
		s.t.Fatal(err)
	}
	return &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

// do sends a request; header holds names and values in turn.
func (s *site) do(c *http.Client, method, path string, form url.Values, header ...string) answer {
	s.t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r, err := http.NewRequestWithContext(s.t.Context(), method, s.http.URL+path, body)
	if err != nil {
		s.t.Fatal(err)
	}
	r.Header.Set("Accept", "text/html")
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i+1 < len(header); i += 2 {
		if header[i] == "Host" {
			r.Host = header[i+1]
			continue
		}
		r.Header.Set(header[i], header[i+1])
	}
	response, err := c.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer response.Body.Close()
	data, err := io.ReadAll(response.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return answer{response.StatusCode, response.Header, string(data)}
}

// get fetches a page that has to be there.
func (s *site) get(path string) answer {
	s.t.Helper()
	a := s.do(s.client(), http.MethodGet, path, nil)
	if a.status != http.StatusOK {
		s.t.Fatalf("GET %s: %d\n%s", path, a.status, a.body)
	}
	return a
}

// says fails unless the answer holds every text.
func (a answer) says(t testing.TB, texts ...string) {
	t.Helper()
	for _, text := range texts {
		if !strings.Contains(a.body, text) {
			t.Errorf("the page does not say %q:\n%.3000s", text, a.body)
		}
	}
}

// saysNot fails where the answer holds one of the texts.
func (a answer) saysNot(t testing.TB, texts ...string) {
	t.Helper()
	for _, text := range texts {
		if strings.Contains(a.body, text) {
			t.Errorf("the page says %q", text)
		}
	}
}
