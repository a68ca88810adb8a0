package scatter

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// Dyestuff, yields of five preparations of each of six batches (O. L. Davies (ed.),
// Statistical Methods in Research and Production, 1947), as R's package lme4 has it;
// expected values by R, testdata/laboratories.R.
func TestLaboratoriesOnDyestuff(t *testing.T) {
	values := [][]float64{
		{1545, 1440, 1440, 1520, 1580}, {1540, 1555, 1490, 1560, 1495}, {1595, 1550, 1605, 1510, 1560},
		{1445, 1440, 1595, 1465, 1545}, {1595, 1630, 1515, 1635, 1625}, {1520, 1455, 1450, 1480, 1445},
	}
	l, err := CompareLaboratories(values)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", l.Mean, 1527.5, 1e-9)
	near(t, "s_r", l.Repeatability, 49.51009998, 1e-9)
	near(t, "s_L", l.Between, 42.00059523, 1e-9)
	near(t, "s_R", l.Reproducibility, 64.92534174, 1e-9)
	near(t, "r", l.RepeatabilityLimit, 2.8*49.51009998, 1e-9)
	for i, want := range []float64{-0.4738890379, 0.01053086751, 0.7687533281, -0.621321183, 1.526975789, -1.211049763} {
		near(t, fmt.Sprint("h of ", i), l.H[i], want, 1e-8)
	}
	for i, want := range []float64{1.27342908, 0.6721683575, 0.7671214165, 1.387641232, 1.009894951, 0.626623338} {
		near(t, fmt.Sprint("k of ", i), l.K[i], want, 1e-9)
	}
	if len(l.Flags) != 0 || l.Values != 30 || l.RepeatabilityDF != 24 {
		t.Errorf("%+v", l)
	}
	var cells, variances []float64
	for _, v := range values {
		m, s := MeanVariance(v)
		cells, variances = append(cells, m), append(variances, s)
	}
	c, worst := largestShare(variances)
	near(t, "Cochran", c, 0.3209246983, 1e-9)
	near(t, "without the two highest", withoutPair(cells, []int{2, 4}), 0.1519540434, 1e-9)
	near(t, "without the two lowest", withoutPair(cells, []int{3, 5}), 0.4615845273, 1e-9)
	if worst != 3 {
		t.Errorf("the largest spread is that of %d", worst)
	}
}

// Critical values of ISO 5725-2 by scipy from the closed forms; those that were known
// from memory of the standard's tables agree.
func TestLaboratoryLimits(t *testing.T) {
	var c struct{ Expected [][]float64 }
	controlCase(t, "iso5725_2_critical", &c)
	for _, r := range c.Expected {
		p, n := int(r[0]), int(r[1])
		for i, got := range []float64{
			CochranLimit(p, n, 0.05), CochranLimit(p, n, 0.01), GrubbsLimit(p, 0.05), GrubbsLimit(p, 0.01),
			MandelHLimit(p, 0.05), MandelHLimit(p, 0.01), MandelKLimit(p, n, 0.05), MandelKLimit(p, n, 0.01),
		} {
			if !(math.Abs(got-r[i+2]) <= 0.0015) {
				t.Errorf("p %d, n %d, column %d: %v, want %v", p, n, i+3, got, r[i+2])
			}
		}
	}
	if len(c.Expected) != 28 {
		t.Fatalf("%d rows", len(c.Expected))
	}
	// ASTM E691, eight laboratories, three values, at 0.5 %: h 2.15, k 2.06; printed with
	// more digits by R's package ILS 0.2, with Cochran's limit at 5 %.
	near(t, "h", MandelHLimit(8, 0.005), 2.152492, 1e-6)
	near(t, "k", MandelKLimit(8, 3, 0.005), 2.06084, 1e-5)
	near(t, "Cochran", CochranLimit(8, 3, 0.05), 0.5156875, 1e-6)
}

// Limits of the double test: ISO 5725-2, table 5, from memory.
func TestGrubbsDoubleLimit(t *testing.T) {
	for p, want := range map[int][2]float64{ // at 5 %, at 1 %
		5: {0.0090, 0.0018}, 6: {0.0349, 0.0116}, 7: {0.0708, 0.0308}, 8: {0.1101, 0.0563}, 10: {0.1864, 0.1150},
	} {
		near(t, fmt.Sprintf("p %d at 5 %%", p), GrubbsDoubleLimit(p, 0.05), want[0], 0.03)
		near(t, fmt.Sprintf("p %d at 1 %%", p), GrubbsDoubleLimit(p, 0.01), want[1], 0.06)
	}
	if GrubbsDoubleLimit(3, 0.05) != 0 || GrubbsDoubleLimit(101, 0.05) != 0 {
		t.Error("a limit where the test is not for")
	}
}

// The example of the NIST/SEMATECH e-Handbook, 1.3.5.17.1 (from memory): eight masses,
// the last far off; G = 2.4687. Each value stands for a laboratory's mean.
func TestGrubbsOnMasses(t *testing.T) {
	var values [][]float64
	for _, m := range []float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57} {
		values = append(values, []float64{m - 0.1, m + 0.1})
	}
	l, err := CompareLaboratories(values)
	if err != nil {
		t.Fatal(err)
	}
	found := map[Test]Flag{}
	for _, f := range l.Flags {
		found[f.Test] = f
	}
	g, ok := found[GrubbsTest]
	if !ok || !g.Outlier || len(g.Laboratories) != 1 || g.Laboratories[0] != 7 {
		t.Fatalf("flags %+v", l.Flags)
	}
	near(t, "G", g.Statistic, 2.4687, 1e-4)
	if _, ok := found[GrubbsDoubleTest]; ok {
		t.Error("the double test was asked though the single one found an outlier")
	}
	if h, ok := found[MandelH]; !ok || h.Laboratories[0] != 7 {
		t.Errorf("flags %+v", l.Flags)
	}
}

// Two laboratories that hide one another are found by the double test; one that
// scatters ten times as much by Cochran's and by k; nothing is dropped.
func TestLaboratoryFlags(t *testing.T) {
	base := [][]float64{{10.0, 10.1}, {10.1, 10.2}, {9.95, 10.05}, {10.05, 10.1}, {10.0, 10.05}, {10.1, 10.05}, {9.95, 10.0}, {10.02, 10.12}}
	pair := append([][]float64{}, base...)
	pair[2], pair[5] = []float64{12.0, 12.1}, []float64{12.1, 12.05}
	l, err := CompareLaboratories(pair)
	if err != nil {
		t.Fatal(err)
	}
	double := false
	for _, f := range l.Flags {
		if f.Test == GrubbsDoubleTest {
			double = f.Outlier && f.Laboratories[0] == 2 && f.Laboratories[1] == 5
		}
	}
	if !double || l.Count != 8 || l.Values != 16 {
		t.Errorf("flags %+v", l.Flags)
	}
	wide := append([][]float64{}, base...)
	wide[4] = []float64{9.5, 10.6}
	if l, err = CompareLaboratories(wide); err != nil {
		t.Fatal(err)
	}
	tests := map[Test]bool{}
	for _, f := range l.Flags {
		tests[f.Test] = f.Laboratories[0] == 4
	}
	if !tests[CochranTest] || !tests[MandelK] {
		t.Errorf("flags %+v", l.Flags)
	}
}

func TestLaboratoriesRefuse(t *testing.T) {
	for want, values := range map[string][][]float64{
		"2 laboratories": {{1, 2}, {2, 3}},
		"one value in":   {{1}, {2}, {3}},
		"is empty":       {{1, 2}, {}, {3}},
		"holds NaN":      {{1, 2}, {math.NaN(), 1}, {3, 4}},
		"no value diff":  {{1, 1}, {2, 2}, {3, 3}},
	} {
		if _, err := CompareLaboratories(values); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: error %v, want %q", values, err, want)
		}
	}
	// Unequal numbers: n̄ of ISO 5725-2, 7.4.5.2, by hand: (9 − 29/9)/2 = 2.8889.
	l, err := CompareLaboratories([][]float64{{1, 2}, {3, 4, 5}, {6, 7, 8, 9}})
	if err != nil {
		t.Fatal(err)
	}
	between, within, _ := OneWay([][]float64{{1, 2}, {3, 4, 5}, {6, 7, 8, 9}})
	near(t, "s_L²", l.Between*l.Between, (between.Value()-within.Value())/((9-29.0/9)/2), 1e-12)
}
