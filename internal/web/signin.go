package web

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"strings"
	"time"

	"fairpull/internal/lab"
)

// signInView is the page that asks who is there.
type signInView struct {
	frame
	Back    string
	Name    string
	Problem string
}

// maxAccountName bounds what is counted for one name, in bytes.
const maxAccountName = 64

func (s *Server) signInPage(w http.ResponseWriter, r *http.Request) error {
	if !s.o.Accounts {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return nil
	}
	view := signInView{frame: s.frame(r, "Sign in"), Back: backTo(r.URL.Query().Get("back"))}
	return s.page(w, r, http.StatusOK, "signin", view)
}

func (s *Server) signIn(w http.ResponseWriter, r *http.Request) error {
	if !s.o.Accounts {
		return &requestError{http.StatusNotFound, "Nobody signs in here: the pages are for this machine alone."}
	}
	if err := parsed(r); err != nil {
		return err
	}
	name, back := strings.TrimSpace(r.PostFormValue("name")), backTo(r.PostFormValue("back"))
	view := signInView{frame: s.frame(r, "Sign in"), Back: back, Name: name}
	view.Here = "/sign-in"
	if len(name) > maxAccountName {
		view.Name, view.Problem = "", lab.ErrSignIn.Error()
		return s.page(w, r, http.StatusUnauthorized, "signin", view)
	}
	address := s.addressOf(r)
	if wait := s.throttle.wait(name, address); wait > 0 {
		s.o.Log.Warn("sign-in held back", "name", name, "address", address)
		seconds := int(wait/time.Second) + 1
		w.Header().Set("Retry-After", strconv.Itoa(seconds))
		view.Problem = fmt.Sprintf("too many tries; the next one is taken in %d minutes", (seconds+59)/60)
		return s.page(w, r, http.StatusTooManyRequests, "signin", view)
	}
	who, err := s.desk.SignIn(r.Context(), name, r.PostFormValue("password"))
	if errors.Is(err, lab.ErrSignIn) {
		s.o.Log.Warn("sign-in failed", "name", name, "address", address)
		view.Problem = err.Error()
		return s.page(w, r, http.StatusUnauthorized, "signin", view)
	}
	if err != nil {
		return err
	}
	s.throttle.forget(name, address)
	// A session that was there before belongs to nobody known: its token is not
	// taken on.
	if err := s.sessions.RenewToken(r.Context()); err != nil {
		return err
	}
	s.sessions.Put(r.Context(), sessionName, who.Name)
	s.sessions.Put(r.Context(), sessionChange, who.Change)
	s.o.Log.Info("signed in", "name", who.Name, "role", string(who.Role), "address", address)
	http.Redirect(w, r, back, http.StatusSeeOther)
	return nil
}

func (s *Server) signOut(w http.ResponseWriter, r *http.Request) error {
	if err := s.sessions.Destroy(r.Context()); err != nil {
		return err
	}
	w.Header().Set("Clear-Site-Data", `"cache"`)
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
	return nil
}

// addressOf is where a request comes from. Behind a proxy it is the last address
// that the proxy itself added; what stands before that anybody can write.
func (s *Server) addressOf(r *http.Request) string {
	if s.o.BehindProxy {
		chain := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
		if last := strings.TrimSpace(chain[len(chain)-1]); net.ParseIP(last) != nil {
			return last
		}
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}
