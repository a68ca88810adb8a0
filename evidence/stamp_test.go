package evidence

import (
	"bytes"
	"context"
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/asn1"
	"errors"
	"io"
	"math/big"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/digitorus/timestamp"
)

// service is a time-stamping service for tests.
type service struct {
	roots *x509.CertPool
	cert  *x509.Certificate
	key   crypto.Signer
}

// newService makes a root and a certificate below it. Spoil may change the latter.
func newService(t testing.TB, spoil func(*x509.Certificate)) service {
	t.Helper()
	rootKey, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	ok(t, err)
	root := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "Invented root"}, NotBefore: day(1).AddDate(-6, 0, 0),
		NotAfter: day(1).AddDate(99, 0, 0), IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, root, root, rootKey.Public(), rootKey)
	ok(t, err)
	root, err = x509.ParseCertificate(der)
	ok(t, err)
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	ok(t, err)
	cert := &x509.Certificate{
		SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: "Invented time stamps"}, NotBefore: day(1).AddDate(-6, 0, 0),
		NotAfter: day(1).AddDate(90, 0, 0), KeyUsage: x509.KeyUsageDigitalSignature,
		ExtraExtensions: []pkix.Extension{usage(t, true, asn1.ObjectIdentifier{1, 3, 6, 1, 5, 5, 7, 3, 8})},
	}
	if spoil != nil {
		spoil(cert)
	}
	der, err = x509.CreateCertificate(rand.Reader, cert, root, key.Public(), rootKey)
	ok(t, err)
	cert, err = x509.ParseCertificate(der)
	ok(t, err)
	roots := x509.NewCertPool()
	roots.AddCert(root)
	return service{roots, cert, key}
}

// usage returns the extension that says what a certificate is for.
func usage(t testing.TB, critical bool, purposes ...asn1.ObjectIdentifier) pkix.Extension {
	t.Helper()
	value, err := asn1.Marshal(purposes)
	ok(t, err)
	return pkix.Extension{Id: asn1.ObjectIdentifier{2, 5, 29, 37}, Critical: critical, Value: value}
}

// stamp answers for a digest at a time.
func (s service) stamp(t testing.TB, of Digest, at time.Time, nonce *big.Int) []byte {
	t.Helper()
	reply, err := (&timestamp.Timestamp{
		HashAlgorithm: crypto.SHA256, HashedMessage: of[:], Time: at, Policy: asn1.ObjectIdentifier{1, 2, 3},
		Accuracy: time.Second, Nonce: nonce, AddTSACertificate: true,
	}).CreateResponseWithOpts(s.cert, s.key, crypto.SHA256)
	ok(t, err)
	return reply
}

// token is the time stamp of stamp.
func (s service) token(t testing.TB, of Digest, at time.Time) []byte {
	t.Helper()
	answer, err := timestamp.ParseResponse(s.stamp(t, of, at, nil))
	ok(t, err)
	return answer.RawToken
}

// openSSL is the time stamp in testdata/stamp, made by openssl ts with the script
// beside it.
func openSSL(t testing.TB) (token []byte, of Digest, roots *x509.CertPool) {
	t.Helper()
	read := func(name string) []byte {
		data, err := os.ReadFile(filepath.Join("testdata", "stamp", name))
		ok(t, err)
		return data
	}
	roots = x509.NewCertPool()
	if !roots.AppendCertsFromPEM(read("root.pem")) {
		t.Fatal("no root")
	}
	return read("token.der"), OfBytes(read("message.txt")), roots
}

// A time stamp of OpenSSL's is verified, and holds for its message and root alone. What
// it says is what openssl ts -reply -text prints of it.
func TestStampByOpenSSL(t *testing.T) {
	token, of, roots := openSSL(t)
	stamp, err := VerifyStamp(token, of, roots)
	if err != nil || !stamp.Trusted || stamp.By != "CN=Invented time stamps" || stamp.Serial != "2" || stamp.Accuracy != time.Second || stamp.At != time.Date(2026, 11, 25, 4, 17, 44, 0, time.UTC) {
		t.Errorf("%+v, %v", stamp, err)
	}
	if stamp, err := VerifyStamp(token, of, nil); err != nil || stamp.Trusted {
		t.Errorf("without a root: %+v, %v", stamp, err)
	}
	if _, err := VerifyStamp(token, OfBytes([]byte("other")), roots); !errors.Is(err, ErrStamp) {
		t.Errorf("other bytes: %v", err)
	}
	if _, err := VerifyStamp(token, of, newService(t, nil).roots); !errors.Is(err, ErrStamp) {
		t.Errorf("another root: %v", err)
	}
}

// A changed byte breaks a time stamp or does not touch what it says: certificates that
// it carries beside its own are signed by nobody here.
func TestStampEveryByte(t *testing.T) {
	token, of, roots := openSSL(t)
	want, err := VerifyStamp(token, of, roots)
	ok(t, err)
	for i := range token {
		token[i] ^= 0x41
		if got, err := VerifyStamp(token, of, roots); err == nil && got != want {
			t.Errorf("byte %d changed and the time stamp says %+v", i, got)
		}
		token[i] ^= 0x41
	}
}

// OpenSSL understands this package's request, and this package OpenSSL's answer.
func TestStampServiceOpenSSL(t *testing.T) {
	if _, err := exec.LookPath("openssl"); err != nil {
		t.Skip("openssl is not installed")
	}
	folder := t.TempDir()
	r, err := NewStampRequest(OfBytes([]byte("x")))
	ok(t, err)
	ok(t, os.WriteFile(filepath.Join(folder, "q"), r.Encode(), 0o600))
	out, err := exec.Command("openssl", "ts", "-query", "-in", filepath.Join(folder, "q"), "-text").CombinedOutput()
	for _, want := range []string{"Version: 1", "Hash Algorithm: sha256", "Certificate required: yes", "Nonce: 0x"} {
		if err != nil || !strings.Contains(string(out), want) {
			t.Errorf("%v, %s does not say %q", err, out, want)
		}
	}
}

// Asked over the net, on loopback.
func TestRequestStamp(t *testing.T) {
	s := newService(t, nil)
	of := OfBytes([]byte("the checkpoint"))
	answer := func(of Digest, q *timestamp.Request) []byte { return s.stamp(t, of, day(3), q.Nonce) }
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		q, err2 := timestamp.ParseRequest(body)
		if err != nil || err2 != nil || r.Method != http.MethodPost || r.Header.Get("Content-Type") != "application/timestamp-query" {
			http.Error(w, "bad", http.StatusBadRequest)
			return
		}
		switch r.URL.Path {
		case "/good":
			_, _ = w.Write(answer(Digest(q.HashedMessage), q))
		case "/other":
			_, _ = w.Write(answer(OfBytes([]byte("another")), q))
		case "/old":
			_, _ = w.Write(answer(Digest(q.HashedMessage), &timestamp.Request{Nonce: big.NewInt(5)}))
		case "/refused":
			reply, err := timestamp.CreateErrorResponse(timestamp.Rejection, timestamp.BadRequest)
			if err != nil {
				t.Error(err)
			}
			_, _ = w.Write(reply)
		case "/long":
			_, _ = w.Write(make([]byte, longestStamp+10))
		case "/garbage":
			_, _ = w.Write([]byte("hello"))
		default:
			http.NotFound(w, r)
		}
	}))
	defer server.Close()
	token, err := RequestStamp(context.Background(), server.Client(), server.URL+"/good", of)
	ok(t, err)
	stamp, err := VerifyStamp(token, of, s.roots)
	if err != nil || !stamp.Trusted || stamp.At != day(3) {
		t.Errorf("%+v, %v", stamp, err)
	}
	for _, path := range []string{"/other", "/old", "/refused", "/long", "/garbage", "/nowhere"} {
		if _, err := RequestStamp(context.Background(), server.Client(), server.URL+path, of); err == nil {
			t.Errorf("%s was taken", path)
		}
	}
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := RequestStamp(ended, server.Client(), server.URL+"/good", of); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// Certificates that are not for time stamps alone, or not valid then: [RFC3161] 2.3.
func TestStampCertificates(t *testing.T) {
	stamping := asn1.ObjectIdentifier{1, 3, 6, 1, 5, 5, 7, 3, 8}
	server := asn1.ObjectIdentifier{1, 3, 6, 1, 5, 5, 7, 3, 1}
	of := OfBytes([]byte("x"))
	for name, spoil := range map[string]func(*x509.Certificate){
		"for servers": func(c *x509.Certificate) { c.ExtraExtensions[0] = usage(t, true, server) },
		"for both":    func(c *x509.Certificate) { c.ExtraExtensions[0] = usage(t, true, stamping, server) },
		"for something": func(c *x509.Certificate) {
			c.ExtraExtensions[0] = usage(t, true, stamping, asn1.ObjectIdentifier{1, 2, 3})
		},
		"not critical": func(c *x509.Certificate) { c.ExtraExtensions[0] = usage(t, false, stamping) },
		"for anything": func(c *x509.Certificate) { c.ExtraExtensions = nil },
	} {
		s := newService(t, spoil)
		if stamp, err := VerifyStamp(s.token(t, of, day(3)), of, s.roots); !errors.Is(err, ErrStamp) {
			t.Errorf("%s: %+v, %v", name, stamp, err)
		}
	}
	service := newService(t, nil)
	for _, at := range []time.Time{service.cert.NotBefore.Add(-time.Hour), service.cert.NotAfter.Add(time.Hour)} {
		if stamp, err := VerifyStamp(service.token(t, of, at), of, service.roots); !errors.Is(err, ErrStamp) {
			t.Errorf("dated %s: %+v, %v", at, stamp, err)
		}
	}
	// Another certificate of the same issuer, number and key is not the one that the
	// signature names: [RFC5035] section 3.
	token := service.token(t, of, day(3))
	twin := service.cert.Raw
	place := bytes.Index(token, twin)
	if place < 0 {
		t.Fatal("the certificate is not in the time stamp")
	}
	forged := bytes.Clone(token)
	forged[place+bytes.Index(twin, []byte("Invented time stamps"))] ^= 1
	if _, err := VerifyStamp(forged, of, nil); !errors.Is(err, ErrStamp) {
		t.Errorf("another certificate: %v", err)
	}
}

func FuzzVerifyStamp(f *testing.F) {
	token, of, roots := openSSL(f)
	want, err := VerifyStamp(token, of, roots)
	ok(f, err)
	f.Add(token)
	f.Add(newService(f, nil).token(f, of, day(3)))
	f.Add([]byte{0x30, 0x80})
	f.Fuzz(func(t *testing.T, data []byte) {
		if got, err := VerifyStamp(data, of, roots); err == nil && got != want {
			t.Errorf("a time stamp that nobody signed: %+v", got)
		}
	})
}

func FuzzStampReply(f *testing.F) {
	s := newService(f, nil)
	of := OfBytes([]byte("x"))
	r, err := NewStampRequest(of)
	ok(f, err)
	f.Add(s.stamp(f, of, day(3), r.nonce))
	f.Add([]byte{0x30, 0x03, 0x02, 0x01, 0x02})
	f.Fuzz(func(t *testing.T, data []byte) {
		token, err := r.Token(data)
		if err != nil {
			return
		}
		if len(token) == 0 || len(token) > len(data) {
			t.Errorf("%d bytes of time stamp in %d", len(token), len(data))
		}
	})
}
