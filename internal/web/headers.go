package web

import (
	"net"
	"net/http"
)

// contentPolicy lets a page use what this server sends and nothing else: no
// script and no style within the page, no frame around it, no form to elsewhere.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// secureHeaders says to the browser what the pages may do. Every answer has them.
func secureHeaders(encrypted bool, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
		if encrypted {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		next.ServeHTTP(w, r)
	})
}

// sameOrigin refuses a write that a page of another site asked the browser for.
func sameOrigin(next http.Handler) http.Handler {
	guard := http.NewCrossOriginProtection()
	guard.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, "A page of another site asked for this change. Nothing was written.", http.StatusForbidden)
	}))
	return guard.Handler(next)
}

// knownHost refuses requests for a name that is not this machine's, where the
// pages are for this machine alone: a site whose name was pointed here could
// otherwise read them through its visitor's browser.
func (s *Server) knownHost(next http.Handler) http.Handler {
	if s.o.Accounts {
		return next // who is not signed in sees nothing, and a cookie belongs to one name
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !ofThisMachine(r.Host) {
			http.Error(w, "These pages are for this machine alone, by the name localhost or 127.0.0.1.", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// ofThisMachine reports whether a request's host, with or without its port, is
// this machine by a name that nobody else can point here.
func ofThisMachine(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	if n := len(name); n > 1 && name[0] == '[' && name[n-1] == ']' {
		name = name[1 : n-1]
	}
	if name == "localhost" {
		return true
	}
	ip := net.ParseIP(name)
	return ip != nil && ip.IsLoopback()
}

// Loopback reports whether an address to listen on is reached from this machine
// alone.
func Loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	return err == nil && host != "" && ofThisMachine(host)
}
