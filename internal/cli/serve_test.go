package cli

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// heard keeps what a command writes, and lets others read it meanwhile.
type heard struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (h *heard) Write(p []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.Write(p)
}

func (h *heard) String() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.String()
}

var served = regexp.MustCompile(`https?://[0-9.:]+/`)

// whileServing runs serve on a free port, has do use the pages, and interrupts it.
func whileServing(t *testing.T, do func(address string), args ...string) (code int, stdout, stderr string) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var out, errs heard
	ended := make(chan int, 1)
	go func() {
		ended <- Run(ctx, append(args, "--listen", "127.0.0.1:0"), strings.NewReader(""), &out, &errs)
	}()
	for range 1500 {
		if address := served.FindString(out.String()); address != "" {
			do(address)
			break
		}
		select {
		case code := <-ended:
			return code, out.String(), errs.String()
		case <-time.After(20 * time.Millisecond):
		}
	}
	cancel()
	return <-ended, out.String(), errs.String()
}

// serveBriefly runs serve until it answers.
func serveBriefly(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	return whileServing(t, func(string) {}, args...)
}

func fetch(t *testing.T, client *http.Client, address string) (int, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, address, nil)
	if err != nil {
		t.Fatal(err)
	}
	response, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	data, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	return response.StatusCode, string(data)
}

func TestServe(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	mustRun(t, "demo", "--folder", "my-campaign")
	mustRun(t, "import", "my-campaign")
	code, out, errs := whileServing(t, func(address string) {
		if status, body := fetch(t, http.DefaultClient, address); status != http.StatusOK || !strings.Contains(body, "Intake and cam kit") {
			t.Errorf("%s: %d\n%s", address, status, body)
		}
	}, "serve", "--log-json")
	if code != exitDone || !strings.Contains(out, "is at http://127.0.0.1:") || !strings.Contains(errs, `"path":"/"`) || !strings.Contains(errs, "stopping") {
		t.Errorf("exit %d, %q, %q", code, out, errs)
	}
}

// Nothing is served beyond this machine without accounts and encryption.
func TestServeRefusesWhatIsNotSafe(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	if err := os.WriteFile("a-file", nil, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		says string
		args []string
	}{
		{"in the clear", []string{"--listen", "0.0.0.0:0"}}, {"in the clear", []string{"--listen", ":0"}}, {"in the clear", []string{"--listen", "192.0.2.7:0"}},
		{"an address and a port", []string{"--listen", "7474"}}, {"go together", []string{"--cert", "a.pem"}},
		{"either here", []string{"--cert", "a.pem", "--key", "a.key", "--behind-proxy"}},
	} {
		if code, _, errs := run(t, append([]string{"serve"}, c.args...)...); code != exitUsage || !strings.Contains(errs, c.says) {
			t.Errorf("%v: exit %d, %q", c.args, code, errs)
		}
	}
	for _, c := range []struct {
		says string
		args []string
	}{
		{"no account", []string{"--listen", "0.0.0.0:0", "--behind-proxy"}}, {"no account", []string{"--listen", "127.0.0.1:0", "--behind-proxy"}},
		{"certificate", []string{"--cert", "a.pem", "--key", "a.key"}},
		{"share mounted", []string{"--watch", "nowhere"}}, {"is a file", []string{"--watch", "a-file"}},
	} {
		if code, _, errs := run(t, append([]string{"serve"}, c.args...)...); code != exitCouldNot || !strings.Contains(errs, c.says) {
			t.Errorf("%v: exit %d, %q", c.args, code, errs)
		}
	}
}

func TestServePortTaken(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	taken, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	if code, _, errs := run(t, "serve", "--listen", taken.Addr().String()); code != exitCouldNot || !strings.Contains(errs, "try another port") {
		t.Errorf("exit %d, %q", code, errs)
	}
}

// With a certificate the pages are encrypted and ask who is there.
func TestServeTLS(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	pool := certificate(t, "lab.pem", "lab.key")
	if code, _, errs := runWith(t, "four words that differ\n", "account", "add", "anna", "--role", "viewer"); code != exitDone {
		t.Fatalf("account: exit %d, %s", code, errs)
	}
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}}}
	code, out, errs := whileServing(t, func(address string) {
		if status, body := fetch(t, client, address+"campaigns/none"); status != http.StatusUnauthorized || strings.Contains(body, "campaign") {
			t.Errorf("%s: %d %s", address, status, body)
		}
		if status, body := fetch(t, client, address+"sign-in"); status != http.StatusOK || !strings.Contains(body, "Password") {
			t.Errorf("%s: %d %s", address, status, body)
		}
	}, "serve", "--cert", "lab.pem", "--key", "lab.key")
	if code != exitDone || !strings.Contains(out, "https://") {
		t.Errorf("exit %d, %q, %q", code, out, errs)
	}
}

// certificate writes a certificate for this machine and its key, valid for an hour.
func certificate(t *testing.T, certFile, keyFile string) *x509.CertPool {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "lab"}, NotBefore: time.Now().Add(-time.Minute),
		NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	for file, block := range map[string]*pem.Block{certFile: {Type: "CERTIFICATE", Bytes: der}, keyFile: {Type: "PRIVATE KEY", Bytes: secret}} {
		if err := os.WriteFile(filepath.Clean(file), pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(parsed)
	return pool
}

// runWith is run with something on standard input.
func runWith(t *testing.T, stdin string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = Run(context.Background(), args, strings.NewReader(stdin), &out, &errs)
	return code, out.String(), errs.String()
}

func TestAccounts(t *testing.T) {
	t.Chdir(t.TempDir())
	ownWorkspace(t)
	if out := mustRun(t, "account", "list"); !strings.Contains(out, "no account") {
		t.Errorf("at first: %q", out)
	}
	const word = "four words that differ"
	for _, c := range []struct {
		stdin string
		code  int
		says  string
		args  []string
	}{
		{word + "\n", exitDone, "anna may sign in as engineer", []string{"add", "anna", "--role", "engineer"}},
		{word + "\n", exitCouldNot, "already", []string{"add", "anna", "--role", "viewer"}},
		{"short\n", exitCouldNot, "15 characters", []string{"add", "carl", "--role", "viewer"}},
		{word, exitUsage, "--role is viewer", []string{"add", "carl"}},
		{word, exitCouldNot, "slug", []string{"add", "no slug", "--role", "viewer"}},
		{"", exitDone, "has the role viewer", []string{"role", "anna", "--role", "viewer"}},
		{"", exitCouldNot, "account list", []string{"role", "nobody", "--role", "viewer"}},
		{word + "!\n", exitDone, "another password", []string{"password", "anna"}},
		{"", exitDone, "closed", []string{"close", "anna"}},
		{"", exitUsage, "takes one of", nil},
		{"", exitUsage, "takes the name", []string{"close"}},
	} {
		code, out, errs := runWith(t, c.stdin, append([]string{"account"}, c.args...)...)
		if code != c.code || !strings.Contains(out+errs, c.says) {
			t.Errorf("account %v: exit %d, %q, %q", c.args, code, out, errs)
		}
		if strings.Contains(out+errs, word) {
			t.Errorf("account %v: the password is shown", c.args)
		}
	}
	if out := mustRun(t, "account", "list"); !strings.Contains(out, "anna  viewer  no, closed") {
		t.Errorf("at the end: %q", out)
	}
}
