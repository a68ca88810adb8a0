package evidence

import (
	"bytes"
	"context"
	"crypto"
	"crypto/rand"
	"crypto/sha1"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/asn1"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net/http"
	"slices"
	"time"

	"github.com/digitorus/pkcs7"
	"github.com/digitorus/timestamp"
)

// A time stamp [RFC3161] is another party's signed word that a digest existed at a
// time. It is worth what that party's certificate is worth to whoever verifies.

// ErrStamp says that a time stamp does not hold.
var ErrStamp = errors.New("the time stamp does not hold")

// longestStamp bounds a time stamp with its certificates, in bytes.
const longestStamp = 64 << 10

// StampRequest is what a time-stamping service is asked. Make one with
// [NewStampRequest].
type StampRequest struct {
	of    Digest
	nonce *big.Int
	der   []byte
}

// NewStampRequest asks for a stamp on a digest, with a fresh nonce and with the
// service's certificate in the answer.
func NewStampRequest(of Digest) (*StampRequest, error) {
	var random [16]byte
	if _, err := rand.Read(random[:]); err != nil {
		return nil, fmt.Errorf("ask for a time stamp: %w", err)
	}
	r := &StampRequest{of: of, nonce: new(big.Int).SetBytes(random[:])}
	der, err := (&timestamp.Request{
		HashAlgorithm: crypto.SHA256, HashedMessage: of[:], Certificates: true, Nonce: r.nonce,
	}).Marshal()
	if err != nil {
		return nil, fmt.Errorf("ask for a time stamp: %w", err)
	}
	r.der = der
	return r, nil
}

// Encode returns the request in DER: the body of a POST with the content type
// application/timestamp-query.
func (r *StampRequest) Encode() []byte { return bytes.Clone(r.der) }

// Token returns the time stamp in the service's answer, which is in DER with the
// content type application/timestamp-reply. An answer that refuses, that is about
// another digest or that is another request's is [ErrStamp]. Whether the service is
// trusted is asked with [VerifyStamp].
func (r *StampRequest) Token(reply []byte) ([]byte, error) {
	if len(reply) > longestStamp {
		return nil, fmt.Errorf("%w: the answer is longer than %d bytes", ErrStamp, longestStamp)
	}
	var answer *timestamp.Timestamp
	err := calmly(func() (err error) {
		answer, err = timestamp.ParseResponse(reply)
		return err
	})
	switch {
	case err != nil:
		return nil, fmt.Errorf("%w: %w", ErrStamp, err)
	case answer.HashAlgorithm != crypto.SHA256 || !bytes.Equal(answer.HashedMessage, r.of[:]):
		return nil, fmt.Errorf("%w: the answer is about another digest", ErrStamp)
	case answer.Nonce == nil || answer.Nonce.Cmp(r.nonce) != 0:
		return nil, fmt.Errorf("%w: the answer is to another request", ErrStamp)
	}
	return answer.RawToken, nil
}

// RequestStamp asks the service at a URL for a stamp on a digest and returns the
// time stamp. It waits as long as ctx and client allow.
func RequestStamp(ctx context.Context, client *http.Client, url string, of Digest) ([]byte, error) {
	r, err := NewStampRequest(of)
	if err != nil {
		return nil, err
	}
	q, err := http.NewRequestWithContext(ctx, http.MethodPost, url, bytes.NewReader(r.der))
	if err != nil {
		return nil, fmt.Errorf("ask for a time stamp: %w", err)
	}
	q.Header.Set("Content-Type", "application/timestamp-query")
	answer, err := client.Do(q)
	if err != nil {
		return nil, fmt.Errorf("ask for a time stamp: %w", err)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("ask for a time stamp: %s answers %s", url, answer.Status)
	}
	reply, err := io.ReadAll(io.LimitReader(answer.Body, longestStamp+1))
	if err != nil {
		return nil, fmt.Errorf("ask for a time stamp: %w", err)
	}
	return r.Token(reply)
}

// Stamp is what a time stamp says.
type Stamp struct {
	Of       Digest
	At       time.Time // UTC
	Accuracy time.Duration
	By       string // the subject of the service's certificate
	Serial   string
	// Trusted is true where the certificate leads to a root that was given.
	Trusted bool
}

// VerifyStamp returns what a time stamp says, after verifying that it is about the
// digest and signed by the certificate it carries, which must be made for time
// stamps and nothing else and be bound into the signature. Roots are the
// certificates that whoever verifies trusts; with nil the chain is not looked at
// and Trusted is false. Anything that does not hold is [ErrStamp].
func VerifyStamp(token []byte, of Digest, roots *x509.CertPool) (Stamp, error) {
	var stamp Stamp
	if len(token) > longestStamp {
		return stamp, fmt.Errorf("%w: it is longer than %d bytes", ErrStamp, longestStamp)
	}
	err := calmly(func() (err error) {
		stamp, err = verifyStamp(token, of, roots)
		return err
	})
	if err != nil {
		return Stamp{}, fmt.Errorf("%w: %w", ErrStamp, err)
	}
	return stamp, nil
}

func verifyStamp(token []byte, of Digest, roots *x509.CertPool) (Stamp, error) {
	said, err := timestamp.Parse(token)
	if err != nil {
		return Stamp{}, err
	}
	if said.HashAlgorithm != crypto.SHA256 || !bytes.Equal(said.HashedMessage, of[:]) {
		return Stamp{}, errors.New("it is about other bytes")
	}
	signed, err := pkcs7.Parse(token)
	if err != nil {
		return Stamp{}, err
	}
	signer := signed.GetOnlySigner()
	if signer == nil {
		return Stamp{}, errors.New("it does not carry the one certificate that signed it")
	}
	if err := signed.Verify(); err != nil {
		return Stamp{}, err
	}
	if err := stampsOnly(signer); err != nil {
		return Stamp{}, err
	}
	if err := bound(signed, signer); err != nil {
		return Stamp{}, err
	}
	stamp := Stamp{
		Of: of, At: said.Time.UTC(), Accuracy: said.Accuracy,
		By: signer.Subject.String(), Serial: said.SerialNumber.Text(16),
	}
	if said.Time.Before(signer.NotBefore) || said.Time.After(signer.NotAfter) {
		return Stamp{}, fmt.Errorf("it is dated %s, when the certificate was not valid", stamp.At.Format(time.RFC3339))
	}
	if roots == nil {
		return stamp, nil
	}
	between := x509.NewCertPool()
	for _, c := range signed.Certificates {
		between.AddCert(c)
	}
	_, err = signer.Verify(x509.VerifyOptions{
		Roots: roots, Intermediates: between, CurrentTime: said.Time,
		KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageTimeStamping},
	})
	if err != nil {
		return Stamp{}, fmt.Errorf("its certificate leads to no trusted root: %w", err)
	}
	stamp.Trusted = true
	return stamp, nil
}

// stampsOnly refuses a certificate that is not for time stamps alone, marked
// critical: [RFC3161] section 2.3.
func stampsOnly(c *x509.Certificate) error {
	usage := asn1.ObjectIdentifier{2, 5, 29, 37}
	critical := slices.ContainsFunc(c.Extensions, func(e pkix.Extension) bool { return e.Id.Equal(usage) && e.Critical })
	if len(c.ExtKeyUsage) != 1 || c.ExtKeyUsage[0] != x509.ExtKeyUsageTimeStamping || len(c.UnknownExtKeyUsage) > 0 || !critical {
		return errors.New("its certificate is not made for time stamps alone")
	}
	return nil
}

// The signed attributes that bind the certificate into the signature: [RFC2634]
// section 5.4 by SHA-1, [RFC5035] section 3 by any hash, SHA-256 unless named.
var (
	signingCertificate   = asn1.ObjectIdentifier{1, 2, 840, 113549, 1, 9, 16, 2, 12}
	signingCertificateV2 = asn1.ObjectIdentifier{1, 2, 840, 113549, 1, 9, 16, 2, 47}
	oidSHA256            = asn1.ObjectIdentifier{2, 16, 840, 1, 101, 3, 4, 2, 1}
	oidSHA384            = asn1.ObjectIdentifier{2, 16, 840, 1, 101, 3, 4, 2, 2}
	oidSHA512            = asn1.ObjectIdentifier{2, 16, 840, 1, 101, 3, 4, 2, 3}
)

// certificateList is the value of either attribute; what follows the first
// certificate's id is not looked at.
type certificateList struct {
	Certificates []asn1.RawValue
	Policies     asn1.RawValue `asn1:"optional"`
}

// bound refuses a time stamp whose signature does not name the certificate, as
// [RFC3161] section 2.4.2 wants it; otherwise another certificate of the same issuer
// and number could be put in its place.
func bound(signed *pkcs7.PKCS7, c *x509.Certificate) error {
	var list certificateList
	if err := signed.UnmarshalSignedAttribute(signingCertificateV2, &list); err == nil && len(list.Certificates) > 0 {
		return boundV2(list.Certificates[0], c)
	}
	list = certificateList{}
	if err := signed.UnmarshalSignedAttribute(signingCertificate, &list); err != nil || len(list.Certificates) == 0 {
		return errors.New("its signature does not name its certificate")
	}
	var id struct {
		Hash   []byte
		Issuer asn1.RawValue `asn1:"optional"`
	}
	sum := sha1.Sum(c.Raw)
	if _, err := asn1.Unmarshal(list.Certificates[0].FullBytes, &id); err != nil || !bytes.Equal(id.Hash, sum[:]) {
		return errors.New("its signature names another certificate")
	}
	return nil
}

func boundV2(first asn1.RawValue, c *x509.Certificate) error {
	wrong := errors.New("its signature names another certificate")
	var id struct {
		Algorithm pkix.AlgorithmIdentifier `asn1:"optional"`
		Hash      []byte
		Issuer    asn1.RawValue `asn1:"optional"`
	}
	if _, err := asn1.Unmarshal(first.FullBytes, &id); err != nil {
		return wrong
	}
	hash := crypto.SHA256
	switch a := id.Algorithm.Algorithm; {
	case len(a) == 0 || a.Equal(oidSHA256):
	case a.Equal(oidSHA384):
		hash = crypto.SHA384
	case a.Equal(oidSHA512):
		hash = crypto.SHA512
	default:
		return errors.New("its signature names its certificate by an unknown hash")
	}
	h := hash.New()
	h.Write(c.Raw)
	if !bytes.Equal(id.Hash, h.Sum(nil)) {
		return wrong
	}
	return nil
}

// calmly runs parse and turns a panic into an error: the parser of signed messages
// reads lengths that a stranger wrote, and must not end the program.
func calmly(parse func() error) (err error) {
	defer func() {
		if trouble := recover(); trouble != nil {
			err = fmt.Errorf("it cannot be read (%v)", trouble)
		}
	}()
	return parse()
}
