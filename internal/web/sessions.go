package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"

	"fairpull/internal/lab"
)

// How long a person stays signed in: at most a working day, and not over a long
// break. Sessions are kept in memory: they end when the server does.
const (
	sessionLife = 12 * time.Hour
	sessionIdle = 90 * time.Minute
)

// What a session holds.
const (
	sessionName   = "name"   // of the account
	sessionChange = "change" // of the account, when it signed in
)

// sessions knows who is signed in by a cookie that says nothing by itself.
type sessions struct{ *scs.SessionManager }

func newSessions(o Options) *sessions {
	m := scs.New()
	m.Lifetime, m.IdleTimeout, m.HashTokenInStore = sessionLife, sessionIdle, true
	m.Cookie.Name = "session"
	if o.TLS != nil || o.BehindProxy {
		m.Cookie.Name, m.Cookie.Secure = "__Host-session", true
	}
	m.Cookie.HttpOnly, m.Cookie.SameSite, m.Cookie.Path = true, http.SameSiteStrictMode, "/"
	m.Store = &endingStore{Store: m.Store, ended: map[string]time.Time{}}
	return &sessions{m}
}

// endingStore keeps sessions that stay ended: an answer that was still being made when
// its session was signed out would otherwise keep the session anew.
type endingStore struct {
	scs.Store
	mu    sync.Mutex
	ended map[string]time.Time // tokens, with when the last request of theirs is long gone
}

// Delete ends a session for good.
func (e *endingStore) Delete(token string) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	now := time.Now()
	for other, until := range e.ended {
		if now.After(until) {
			delete(e.ended, other)
		}
	}
	e.ended[token] = now.Add(sessionLife)
	return e.Store.Delete(token)
}

// Commit keeps what a session holds, unless it has ended.
func (e *endingStore) Commit(token string, b []byte, expiry time.Time) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	if _, ended := e.ended[token]; ended {
		return nil
	}
	return e.Store.Commit(token, b, expiry)
}

// load finds the session of a request. Answers are held back until the session
// is saved, which a stream of events cannot wait for: it only reads.
func (s *sessions) load(pattern string, next http.Handler) http.Handler {
	if pattern != "GET /events" {
		return s.LoadAndSave(next)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		token := ""
		if cookie, err := r.Cookie(s.Cookie.Name); err == nil {
			token = cookie.Value
		}
		ctx, err := s.Load(r.Context(), token)
		if err != nil {
			http.Error(w, "The session cannot be read.", http.StatusInternalServerError)
			return
		}
		next.ServeHTTP(w, r.WithContext(ctx))
	})
}

// signedIn returns the account of a request; nil where nobody is signed in, or
// where the account was changed since.
func (s *Server) signedIn(r *http.Request) (*lab.Account, error) {
	name := s.sessions.GetString(r.Context(), sessionName)
	if name == "" {
		return nil, nil
	}
	account, err := s.desk.Account(r.Context(), name)
	if errors.Is(err, lab.ErrUnknown) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if since, ok := s.sessions.Get(r.Context(), sessionChange).(int64); !ok || since != account.Change || !account.Open {
		return nil, nil
	}
	return &account, nil
}

// noLongerSignedIn reports whether a stream has outlived the session or the
// account that it was opened with.
func (s *Server) noLongerSignedIn(r *http.Request) (bool, error) {
	if !s.o.Accounts {
		return false, nil
	}
	cookie, err := r.Cookie(s.sessions.Cookie.Name)
	if err != nil {
		return true, nil
	}
	ctx, err := s.sessions.Load(context.WithoutCancel(r.Context()), cookie.Value)
	if err != nil {
		return true, err
	}
	who, err := s.signedIn(r.WithContext(ctx))
	return who == nil, err
}

type accountKey struct{}

func withAccount(r *http.Request, who lab.Account) *http.Request {
	return r.WithContext(context.WithValue(r.Context(), accountKey{}, who))
}

// accountOf returns who asks, where people sign in.
func accountOf(r *http.Request) (lab.Account, bool) {
	who, ok := r.Context().Value(accountKey{}).(lab.Account)
	return who, ok
}

// askToSignIn sends a person to sign in, and a program away.
func (s *Server) askToSignIn(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodGet && strings.Contains(r.Header.Get("Accept"), "text/html") {
		http.Redirect(w, r, "/sign-in?"+url.Values{"back": {r.URL.RequestURI()}}.Encode(), http.StatusSeeOther)
		return
	}
	http.Error(w, "Sign in first. Nothing was done.", http.StatusUnauthorized)
}
