package air

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"testing"

	"fairpull/quantity"
)

// row is one published or computed value of testdata/standards.json. Its source
// and how it was obtained stand in the file and in every failure.
type row struct {
	Quantity  string
	Inputs    map[string]any
	Expected  any
	Unit      string
	Tolerance map[string]float64
	Source    string
	Obtained  string
}

func (r row) in(key string) float64 { return r.Inputs[key].(float64) }

func (r row) expected(key string) float64 {
	if v, ok := r.Expected.(float64); ok {
		return v
	}
	return r.Expected.(map[string]any)[key].(float64)
}

// check compares got with the row's expected value of the key (any key where
// there is one value), at the row's tolerance of that key, else "abs", else
// "rel".
func (r row) check(t *testing.T, key string, got float64) {
	t.Helper()
	want := r.expected(key)
	tolerance, ok := r.Tolerance[key]
	if !ok {
		if tolerance, ok = r.Tolerance["abs"]; !ok {
			tolerance = r.Tolerance["rel"] * math.Abs(want)
		}
	}
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s, %v: %s is %.10g, expected %.10g within %.2g %s (%s; %s)",
			r.Quantity, r.Inputs, key, got, want, tolerance, r.Unit, r.Source, r.Obtained)
	}
}

// rows returns the rows of a quantity; a test that finds none fails.
func rows(t *testing.T, name string) []row {
	t.Helper()
	data, err := os.ReadFile("testdata/standards.json")
	if err != nil {
		t.Fatal(err)
	}
	var all, found []row
	if err := json.Unmarshal(data, &all); err != nil {
		t.Fatal(err)
	}
	for _, r := range all {
		if r.Quantity == name {
			found = append(found, r)
		}
	}
	if len(found) == 0 {
		t.Fatalf("testdata has no row %q", name)
	}
	return found
}

// saturated is SaturationPressure at t °C, which the test knows to be in range.
func saturated(t *testing.T, celsius float64) float64 {
	t.Helper()
	e, err := SaturationPressure(quantity.Celsius(celsius))
	if err != nil {
		t.Fatal(err)
	}
	return float64(e)
}

// state fails the test where a constructor refuses.
func state(t *testing.T) func(State, error) State {
	return func(s State, err error) State {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, expected %.10g within %.2g", what, got, want, tolerance)
	}
}

func name(v ...any) string { return fmt.Sprint(v...) }
