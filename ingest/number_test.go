package ingest

import (
	"errors"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

// hardNumbers are decimal numbers that lie near the middle between two float64,
// or at the edges of the format: 2⁵³ and its neighbours, the least normal and
// subnormal number, the number that once sent PHP and Java into an endless loop
// (2.2250738585072012e-308), and cases of V. Paxson, A program for testing IEEE
// decimal-binary conversion (1991), table 3.
var hardNumbers = []string{
	"0", "-0", "+0", "0.0", ".5", "5.", "1", "-1", "0.1", "0.2", "0.3", "1.005", "2.675",
	"9007199254740991", "9007199254740992", "9007199254740993", "9007199254740994",
	"900719925474099.3", "0.9007199254740993", "123456789012345", "1234567890123456", "12345678901234567", "123456789012345678", "1234567890123456789", "12345678901234567890",
	"0.000000000000000000001", "0.0000000000000000000001", "0.00000000000000000000001",
	"00000000000000000000000000001.5",
	"2.2250738585072012e-308", "2.2250738585072014e-308", "4.9406564584124654e-324", "1.7976931348623157e308",
	"5e-20", "67e14", "985e15", "7693e-42", "55895e-16", "996622e-44", "7038531e-32", "60419369e-46", "702990899e-20",
	"6930161142e-48", "25933168707e-13", "596428896559e20",
	"3e-324", "2e-324", "1e-12345", "1E+2", "1e000001", "1e-0002", "6.02214076e23",
}

// TestPlainNumberIsNearest holds both readers against strconv.ParseFloat, which
// rounds to nearest by its own, independent algorithms.
func TestPlainNumberIsNearest(t *testing.T) {
	plain := 0
	check := func(text string) {
		want, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		if got, whole, fraction, end := plainNumber([]byte(text+"\n"), 0, '.'); end == len(text) {
			plain++
			if math.Float64bits(got) != math.Float64bits(want) {
				t.Errorf("plainNumber(%q) = %x, strconv has %x", text, got, want)
			}
			digits := strings.TrimLeft(text, "+-")
			before, after, _ := strings.Cut(digits, ".")
			if whole != len(before) || fraction != len(after) {
				t.Errorf("plainNumber(%q) counts %d and %d digits", text, whole, fraction)
			}
		} else if end != 0 && !strings.ContainsAny(text, "eE") {
			t.Errorf("plainNumber(%q) stops at %d", text, end)
		}
		m := marks{mark: '.', sure: true}
		if got, err := m.readNumber([]byte(text)); err != nil || math.Float64bits(got) != math.Float64bits(want) {
			t.Errorf("readNumber(%q) = %x, %v; strconv has %x", text, got, err, want)
		}
	}
	for _, text := range hardNumbers {
		check(text)
		if text[0] != '-' && text[0] != '+' {
			check("-" + text)
		}
	}
	random := rand.New(rand.NewPCG(3, 4))
	for range 200_000 {
		value := math.Ldexp(random.Float64()-0.5, random.IntN(80)-40)
		check(strconv.FormatFloat(value, 'f', random.IntN(18), 64))
		check(strconv.FormatInt(random.Int64N(1<<random.IntN(62)+1), 10))
	}
	for range 20_000 { // every float64, as short as it can be and in 17 digits
		value := math.Float64frombits(random.Uint64())
		if math.IsNaN(value) || math.IsInf(value, 0) {
			continue
		}
		check(strconv.FormatFloat(value, 'g', -1, 64))
		check(strconv.FormatFloat(value, 'e', 16, 64))
	}
	if plain < 200_000 {
		t.Errorf("only %d numbers took the plain path", plain)
	}
}

// TestReadNumberMarks follows columns cell by cell: what the number is and what
// is then known of the decimal mark.
func TestReadNumberMarks(t *testing.T) {
	type cell struct {
		text string
		want float64 // NaN: refused
		mark byte
		sure bool
	}
	none := math.NaN()
	for _, column := range [][]cell{
		{{"12", 12, 0, false}, {"1.5", 1.5, '.', true}, {"1,234", 1234, '.', true}, {"1,5", none, '.', true}},
		{{"12", 12, 0, false}, {"1,5", 1.5, ',', true}, {"1.234", 1234, ',', true}, {"1.234,5", 1234.5, ',', true}, {"1.5", none, ',', true}},
		{{"1,234", 1.234, ',', false}, {"2,345", 2.345, ',', false}, {"0,345", 0.345, ',', true}},
		{{"1.234", 1.234, '.', false}, {"1,234", none, '.', false}},
		{{"1234.567", 1234.567, '.', true}}, {{"0.123", 0.123, '.', true}}, {{".123", 0.123, '.', true}},
		{{"-1.234", -1.234, '.', false}}, {{"1.234e0", 1.234, '.', true}},
		{{"1,234,567", 1234567, '.', true}}, {{"1.234.567", 1234567, ',', true}},
		{{"1,234,567.25", 1234567.25, '.', true}}, {{"1.234.567,25", 1234567.25, ',', true}},
		{{"1 234 567,25", 1234567.25, ',', true}}, {{"1'234.5", 1234.5, '.', true}}, {{"12 345", 12345, 0, false}},
		{{"1\u00a0234,5", 1234.5, ',', true}}, {{"1\u202f234.5", 1234.5, '.', true}}, {{"\u221212.5", -12.5, '.', true}},
		{{"1 234.567", 1234.567, '.', true}},
	} {
		var m marks
		for _, c := range column {
			got, err := m.readNumber([]byte(c.text))
			if math.IsNaN(c.want) != (err != nil) || err == nil && got != c.want {
				t.Errorf("%q in %v: got %v, %v; want %v", c.text, column, got, err, c.want)
			}
			if m.mark != c.mark || m.sure != c.sure {
				t.Errorf("after %q in %v: mark %q, sure %v; want %q, %v", c.text, column, m.mark, m.sure, c.mark, c.sure)
			}
		}
	}
}

// TestReadNumberTurns holds that a mark taken for the decimal mark is given up
// when a later cell leaves one reading only.
func TestReadNumberTurns(t *testing.T) {
	for _, later := range []string{"1.234,5", "12,5", "1.234.567", "0,125"} {
		var m marks
		if got, err := m.readNumber([]byte("1.234")); got != 1.234 || err != nil {
			t.Fatal(got, err)
		}
		if _, err := m.readNumber([]byte(later)); err != errWrongMark {
			t.Errorf("%q after 1.234: %v", later, err)
		}
		if got, err := m.readNumber([]byte("1.234")); got != 1234 || err != nil {
			t.Errorf("1.234 after %q: %v, %v; want 1234", later, got, err)
		}
	}
}

func TestReadNumberRefuses(t *testing.T) {
	for _, text := range []string{
		"-", "+", ".", ",", "1e", "e5", "1e+", "--1", "1-", "1..2", "1.2.3", "12.345.67", "1234,567.5", "1,23,456.5",
		"0x10", "1_000", "1 2", "1  234", "1 234'567", "12 km/h", "1.5%", "abc", "1.5.", "1,,5", "1 83O.5", "1,5 234", "½", "٣",
		strings.Repeat("1", longestNumber+1),
	} {
		var m marks
		if got, err := m.readNumber([]byte(text)); !errors.Is(err, ErrNotNumber) {
			t.Errorf("%q: got %v, %v; want ErrNotNumber", text, got, err)
		}
	}
	for _, text := range []string{"NaN", "nan", "-nan", "Inf", "-inf", "+Infinity", "INFINITY", "1e309", "1e12345", "-1e400", "1.#INF", "1.#QNAN", "1.#IND00"} {
		var m marks
		if got, err := m.readNumber([]byte(text)); !errors.Is(err, ErrNotFinite) {
			t.Errorf("%q: got %v, %v; want ErrNotFinite", text, got, err)
		}
	}
}

// FuzzFloat holds both readers against strconv.ParseFloat on whatever text.
func FuzzFloat(f *testing.F) {
	for _, text := range hardNumbers {
		f.Add(text)
	}
	f.Add("1,234.5")
	f.Add("0x1p-2")
	f.Fuzz(func(t *testing.T, text string) {
		if text == "" || strings.ContainsAny(text, "\n\x00") {
			return
		}
		want, wantErr := strconv.ParseFloat(text, 64)
		got, _, _, end := plainNumber([]byte(text+"\n"), 0, '.')
		if end == len(text) && (wantErr != nil || math.Float64bits(got) != math.Float64bits(want)) {
			t.Errorf("plainNumber(%q) = %v; strconv has %v, %v", text, got, want, wantErr)
		}
		m := marks{mark: '.', sure: true}
		got, err := m.readNumber([]byte(text))
		if err == nil && (math.IsNaN(got) || math.IsInf(got, 0)) {
			t.Errorf("readNumber(%q) = %v", text, got)
		}
		plainText := strings.Trim(text, "0123456789.eE+-") == ""
		if plainText && len(text) <= 24 && wantErr == nil && (err != nil || math.Float64bits(got) != math.Float64bits(want)) {
			t.Errorf("readNumber(%q) = %v, %v; strconv has %v", text, got, err, want)
		}
		if plainText && wantErr != nil && err == nil {
			t.Errorf("readNumber(%q) = %v; strconv refuses it: %v", text, got, wantErr)
		}
	})
}
