package lab

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/asn1"
	"encoding/pem"
	"io"
	"math/big"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/digitorus/timestamp"

	"fairpull/campaign"
	"fairpull/report"
)

// stampService is an invented time-stamping service on the loopback, and its root
// as PEM.
func stampService(t *testing.T) (url string, root []byte) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	usage, err := asn1.Marshal([]asn1.ObjectIdentifier{{1, 3, 6, 1, 5, 5, 7, 3, 8}}) // time stamps alone
	if err != nil {
		t.Fatal(err)
	}
	from, until := time.Now().Add(-time.Hour), time.Now().Add(time.Hour)
	top := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "Invented root"}, NotBefore: from, NotAfter: until, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign}
	service := &x509.Certificate{SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: "Invented time stamps"}, NotBefore: from, NotAfter: until, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtraExtensions: []pkix.Extension{{Id: asn1.ObjectIdentifier{2, 5, 29, 37}, Critical: true, Value: usage}}}
	rootDER, err := x509.CreateCertificate(rand.Reader, top, top, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	der, err := x509.CreateCertificate(rand.Reader, service, top, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		q, err := timestamp.ParseRequest(body)
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		reply, err := (&timestamp.Timestamp{
			HashAlgorithm: crypto.SHA256, HashedMessage: q.HashedMessage, Time: time.Now(), Policy: asn1.ObjectIdentifier{1, 2, 3},
			Nonce: q.Nonce, AddTSACertificate: true,
		}).CreateResponseWithOpts(cert, key, crypto.SHA256)
		if err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "application/timestamp-reply")
		if _, err := w.Write(reply); err != nil {
			t.Error(err)
		}
	}))
	t.Cleanup(server.Close)
	return server.URL, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: rootDER})
}

// A claim is published with a time stamp where a service is named, and not at all
// where that gives none; a stranger who trusts the service sees when it was there.
func TestPublishWithTimeStamp(t *testing.T) {
	w, keys := claimingLab(t)
	number := mustDraft(t, w, "lab-01").Number
	if _, err := w.ReviewClaim(t.Context(), number, rita); err != nil {
		t.Fatal(err)
	}
	if _, err := w.sign(t.Context(), number, keys.approver, "1.0", ""); err != nil {
		t.Fatal(err)
	}
	silent := httptest.NewServer(http.NotFoundHandler())
	defer silent.Close()
	if _, err := w.publish(t.Context(), number, keys.record, silent.URL, rita); err == nil || !strings.Contains(err.Error(), "was not published") {
		t.Errorf("a service that gives none: %v", err)
	}
	if c, err := w.Claim(t.Context(), number); err != nil || c.State() != campaign.ClaimSigned {
		t.Fatalf("after that it is %s, %v", c.State(), err)
	}
	url, root := stampService(t)
	if _, err := w.publish(t.Context(), number, keys.record, url, rita); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	roots, place := filepath.Join(dir, "root.pem"), filepath.Join(dir, "claim.zip")
	if err := os.WriteFile(roots, root, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := w.WriteDossier(t.Context(), number, place); err != nil {
		t.Fatal(err)
	}
	for trust, outcome := range map[DossierTrust]string{{StampRoots: roots}: report.Confirmed, {}: report.Caution} {
		v := verify(t, place, trust)
		stamped := slices.ContainsFunc(v.Findings, func(f report.Finding) bool { return f.Part == "time stamp" && f.Outcome == outcome })
		if !v.Verified || !stamped {
			t.Errorf("with %+v: %s\n%+v", trust, faults(v), v.Findings)
		}
	}
	doctor(t, w)
}
