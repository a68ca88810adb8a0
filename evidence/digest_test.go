package evidence

import (
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"pgregory.net/rapid"
)

// Messages and digests of the SHA-256 examples that NIST publishes beside
// [FIPS180-4] ("SHA256.pdf", one and two blocks); the empty message and the
// million letters a are those of RFC 6234 and NIST's SHAVS (from memory).
func TestDigestPublished(t *testing.T) {
	for _, row := range []struct{ name, message, want string }{
		{"one block", "abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
		{"two blocks", "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
		{"empty", "", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
		{"a million a", strings.Repeat("a", 1_000_000), "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"},
	} {
		got, n, err := Of(strings.NewReader(row.message))
		if err != nil || n != int64(len(row.message)) || got.Hex() != row.want {
			t.Errorf("%s: got %s of %d bytes, %v; published is %s", row.name, got.Hex(), n, err, row.want)
		}
		if whole := OfBytes([]byte(row.message)); whole != got {
			t.Errorf("%s: OfBytes gives %v, Of gives %v", row.name, whole, got)
		}
	}
}

func TestParseRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := OfBytes(rapid.SliceOf(rapid.Byte()).Draw(t, "content"))
		back, err := Parse(d.String())
		if err != nil || back != d {
			t.Fatalf("%v came back as %v, %v", d, back, err)
		}
		back, err = ParseHex(d.Hex())
		if err != nil || back != d {
			t.Fatalf("%s came back as %v, %v", d.Hex(), back, err)
		}
	})
}

func TestParseRefuses(t *testing.T) {
	good := OfBytes([]byte("abc"))
	for _, text := range []string{
		"", "sha256:", good.Hex(), "sha512:" + good.Hex(), "SHA256:" + good.Hex(),
		"sha256:" + strings.ToUpper(good.Hex()), good.String() + "0", good.String()[:70],
		"sha256:" + strings.Repeat("g", 64), " " + good.String(),
	} {
		if d, err := Parse(text); !errors.Is(err, ErrDigest) || !d.IsZero() {
			t.Errorf("%q: got %v, %v; want ErrDigest", text, d, err)
		}
	}
}

func TestOfPassesReadErrorsOn(t *testing.T) {
	broken := errors.New("cable pulled")
	d, n, err := Of(io.MultiReader(strings.NewReader("abc"), iotest.ErrReader(broken)))
	if !errors.Is(err, broken) || n != 3 || !d.IsZero() {
		t.Errorf("got %v of %d bytes, %v; want no digest and the reader's error", d, n, err)
	}
}
