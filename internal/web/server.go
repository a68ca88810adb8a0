// Package web is the workspace in a browser: pages that are made on the server
// and work without script, small islands of script on top. It computes nothing:
// a handler reads the request, calls package lab, fills a view and writes it.
package web

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"github.com/klauspost/compress/gzhttp"

	"fairpull/internal/lab"
)

// Options say how the pages are served.
type Options struct {
	Workspace *lab.Workspace
	Version   string       // of the program
	By        string       // who writes, for the audit trail, where nobody signs in
	Log       *slog.Logger // nil: nothing is logged
	// Accounts has every page ask who is there. Without it the pages are for the
	// user of this machine alone, and only names of this machine are answered.
	Accounts bool
	// BehindProxy says that a proxy of the lab ends TLS before this server: cookies
	// are for encrypted connections only, though this server does not see one.
	BehindProxy bool
	// TLS is the server's certificate; nil: none.
	TLS *tls.Config
	// Watch are the folders that whoever may measure can have watched for logs;
	// nil: none.
	Watch []string
}

// Server serves the pages of one workspace.
type Server struct {
	o        Options
	desk     *lab.Desk
	assets   *assets
	pages    *templates
	sessions *sessions
	throttle *throttle
	metrics  *metrics
	watch    *watcher
	rig      *lab.Measuring
	held     heldFiles
	reading  chan struct{} // one for each file that is being read
	grace    time.Duration // for what is in hand when the server ends
	handler  http.Handler
}

// Limits of a request. A page is a few hundred bytes of form; the routes that take
// files have limits of their own.
const (
	maxHeaderBytes = 32 << 10
	maxFormBytes   = 64 << 10
	readTimeout    = 15 * time.Second
	writeTimeout   = 60 * time.Second
	idleTimeout    = 2 * time.Minute
	graceTime      = 10 * time.Second
)

// New returns a server of the pages. The workspace stays the caller's to close,
// once Serve has returned.
func New(o Options) (*Server, error) {
	if o.Workspace == nil {
		return nil, errors.New("there is no workspace to serve")
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	assets, err := loadAssets()
	if err != nil {
		return nil, err
	}
	pages, err := loadTemplates(assets)
	if err != nil {
		return nil, err
	}
	s := &Server{o: o, desk: lab.NewDesk(o.Workspace), assets: assets, pages: pages, throttle: newThrottle(time.Now)}
	s.sessions = newSessions(o)
	s.watch = newWatcher(s.desk, o.Log)
	s.rig = lab.NewMeasuring(s.desk, s.watch.tell, func(id string, err error) { o.Log.Error("watching a folder ended", "campaign", id, "error", err) })
	s.reading, s.grace = make(chan struct{}, maxUploads), graceTime
	s.metrics = newMetrics(s)
	s.handler, err = s.handlers()
	return s, err
}

// Handler returns the pages as one handler.
func (s *Server) Handler() http.Handler { return s.handler }

// handlers puts what every request passes through before the routes, outermost
// first: log and metrics, headers, the name of the host, writes from other
// sites, compression. The size of a body is bounded by its route.
func (s *Server) handlers() (http.Handler, error) {
	compress, err := gzhttp.NewWrapper(gzhttp.MinSize(1024), gzhttp.ExceptContentTypes([]string{
		"text/event-stream", "image/png", "application/pdf",
	}))
	if err != nil {
		return nil, err
	}
	var h http.Handler = s.routes()
	h = compress(h)
	h = sameOrigin(h)
	h = s.knownHost(h)
	h = secureHeaders(s.encrypted(), h)
	return s.observe(h), nil
}

// encrypted reports whether people reach the pages by HTTPS.
func (s *Server) encrypted() bool { return s.o.TLS != nil || s.o.BehindProxy }

// limitBody bounds what may be sent to a route, in bytes; 0: as much as a form has.
func limitBody(most int64, next http.Handler) http.Handler {
	if most == 0 {
		most = maxFormBytes
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, most)
		next.ServeHTTP(w, r)
	})
}

// Serve answers on the listener until ctx ends, then lets what is being answered
// come to its end.
func (s *Server) Serve(ctx context.Context, listener net.Listener) error {
	if s.o.TLS != nil {
		listener = tls.NewListener(listener, s.o.TLS)
	}
	server := &http.Server{
		Handler: s.handler, ReadTimeout: readTimeout, WriteTimeout: writeTimeout, IdleTimeout: idleTimeout,
		MaxHeaderBytes: maxHeaderBytes, ErrorLog: slog.NewLogLogger(s.o.Log.Handler(), slog.LevelWarn),
		BaseContext: func(net.Listener) context.Context { return context.WithoutCancel(ctx) },
	}
	// Streams of events have no end of their own.
	server.RegisterOnShutdown(s.watch.stop)
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	select {
	case err := <-served:
		s.watch.stop()
		return errors.Join(err, s.rig.Close(context.WithoutCancel(ctx)))
	case <-ctx.Done():
	}
	s.o.Log.Info("stopping")
	err := s.finish(context.WithoutCancel(ctx), server)
	if served := <-served; !errors.Is(served, http.ErrServerClosed) {
		err = errors.Join(err, served)
	}
	return err
}

// finish keeps what came in: forms are answered, and then files in hand are taken. Each
// has its own time, so that a client that is slow takes none from the rig.
func (s *Server) finish(ctx context.Context, server *http.Server) error {
	answering, cancel := context.WithTimeout(ctx, s.grace)
	defer cancel()
	err := server.Shutdown(answering)
	if errors.Is(err, context.DeadlineExceeded) {
		err = errors.Join(fmt.Errorf("what was still being sent or answered after %v was broken off; look whether it was kept before it is sent again", s.grace), server.Close())
	}
	taking, cancel := context.WithTimeout(ctx, s.grace)
	defer cancel()
	return errors.Join(err, s.rig.Close(taking))
}
