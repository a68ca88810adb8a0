package cli

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/internal/web"
)

// serveFlags are what serve can be told.
type serveFlags struct {
	listen, cert, key string
	behindProxy       bool
	quiet, asJSON     bool
	watch             []string
}

const defaultListen = "127.0.0.1:7474"

func serveCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Open the workspace in a browser",
		Long: `Serve the workspace as pages for a browser, until the command is interrupted.
By default they are for this machine alone and nobody signs in. Any other address
needs accounts (fairpull account add), and TLS: a certificate with --cert and
--key, or a proxy of the lab's that ends it, with --behind-proxy.

--watch names a folder that a rig's logger writes to: whoever may measure can then
have the server take what comes into it, on the page at the rig. No other folder of
this machine is ever read.`,
		Example: "  fairpull serve\n  fairpull serve --listen 127.0.0.1:8080 --workspace our-lab --watch my-campaign/logs",
		Args:    exactly(0, "serve takes no arguments", "fairpull serve"),
	}
	var f serveFlags
	cmd.Flags().StringVar(&f.listen, "listen", defaultListen, "address and port to answer on; port 0 takes a free one")
	cmd.Flags().StringVar(&f.cert, "cert", "", "the server's certificate, a PEM file with the chain")
	cmd.Flags().StringVar(&f.key, "key", "", "the certificate's key, a PEM file")
	cmd.Flags().BoolVar(&f.behindProxy, "behind-proxy", false, "a proxy ends TLS before this server and names the client in X-Forwarded-For")
	cmd.Flags().StringArrayVar(&f.watch, "watch", nil, "a folder of logs that may be watched from the page at the rig (may be repeated)")
	cmd.Flags().BoolVar(&f.quiet, "quiet", false, "log only what goes wrong")
	cmd.Flags().BoolVar(&f.asJSON, "log-json", false, "log as JSON, one object a line")
	open, by := withWorkspace(cmd), byFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		who, err := by()
		if err != nil {
			return err
		}
		o := web.Options{Version: Version, By: who, BehindProxy: f.behindProxy, Log: logger(cmd, f)}
		if err := f.check(&o); err != nil {
			return err
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			o.Workspace = w
			return serve(ctx, cmd, f.listen, o)
		})
	}
	return cmd
}

// check reads the certificate and refuses what would not be safe.
func (f serveFlags) check(o *web.Options) error {
	const try = "fairpull serve --listen 127.0.0.1:7474"
	if _, _, err := net.SplitHostPort(f.listen); err != nil {
		return &usageError{fmt.Errorf("--listen takes an address and a port, and %q is none", f.listen), try}
	}
	if (f.cert == "") != (f.key == "") {
		return &usageError{errors.New("--cert and --key go together"), "fairpull serve --cert lab.pem --key lab.key"}
	}
	if f.cert != "" && f.behindProxy {
		return &usageError{errors.New("TLS ends either here (--cert) or at a proxy (--behind-proxy)"), try}
	}
	local := web.Loopback(f.listen)
	if !local && f.cert == "" && !f.behindProxy {
		return &usageError{fmt.Errorf("%s is reached from other machines, and passwords would cross the network in the clear: give --cert and --key, or --behind-proxy", f.listen), try}
	}
	folders, err := watchable(f.watch)
	if err != nil {
		return err
	}
	o.Watch = folders
	o.Accounts = !local || f.cert != "" || f.behindProxy
	if f.cert == "" {
		return nil
	}
	certificate, err := tls.LoadX509KeyPair(f.cert, f.key)
	if err != nil {
		return fmt.Errorf("the certificate: %w", err)
	}
	o.TLS = &tls.Config{Certificates: []tls.Certificate{certificate}, MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}}
	return nil
}

// watchable returns the folders by their whole paths, each once, and refuses what is
// none.
func watchable(names []string) ([]string, error) {
	var folders []string
	for _, name := range names {
		info, err := os.Stat(name)
		switch {
		case err != nil:
			return nil, fmt.Errorf("--watch %s: %w.\n  Is the share mounted? Name a folder that is there", name, err)
		case !info.IsDir():
			return nil, fmt.Errorf("--watch %s is a file, and a folder is watched.\n  Name the folder that the rig's logger writes to", name)
		}
		whole, err := filepath.Abs(name)
		if err != nil {
			return nil, err
		}
		if !slices.Contains(folders, whole) {
			folders = append(folders, whole)
		}
	}
	return folders, nil
}

func logger(cmd *cobra.Command, f serveFlags) *slog.Logger {
	o := &slog.HandlerOptions{Level: slog.LevelInfo}
	if f.quiet {
		o.Level = slog.LevelWarn
	}
	if f.asJSON {
		return slog.New(slog.NewJSONHandler(cmd.ErrOrStderr(), o))
	}
	return slog.New(slog.NewTextHandler(cmd.ErrOrStderr(), o))
}

func serve(ctx context.Context, cmd *cobra.Command, listen string, o web.Options) error {
	if o.Accounts {
		if err := someAccount(ctx, o.Workspace); err != nil {
			return err
		}
	}
	server, err := web.New(o)
	if err != nil {
		return err
	}
	listener, err := new(net.ListenConfig).Listen(ctx, "tcp", listen)
	if err != nil {
		return fmt.Errorf("%s cannot be listened on: %w.\n  Another program may be there: try another port, as in --listen 127.0.0.1:7475", listen, err)
	}
	scheme := "http"
	if o.TLS != nil {
		scheme = "https"
	}
	fmt.Fprintf(cmd.OutOrStdout(), "The workspace %s is at %s://%s/ – end with Ctrl-C.\n", o.Workspace.Place(), scheme, listener.Addr())
	return server.Serve(ctx, listener)
}

// someAccount refuses to serve pages that nobody could sign in to.
func someAccount(ctx context.Context, w *lab.Workspace) error {
	accounts, err := w.Accounts(ctx)
	if err != nil {
		return err
	}
	for _, a := range accounts {
		if a.Open {
			return nil
		}
	}
	return errors.New("nobody could sign in: the workspace has no account.\n  To make one: fairpull account add NAME --role engineer")
}
