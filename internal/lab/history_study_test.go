package lab

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"fairpull/scatter"
)

// studyOf is an invented study of 91 nodes.
func studyOf(seed float64) Study {
	rows := func(n int, size float64) [][]float64 {
		out := make([][]float64, n)
		for i := range out {
			out[i] = make([]float64, 94)
			for k := range out[i] {
				out[i][k] = size * math.Sin(seed+float64(7*i)+0.1*float64(k))
			}
			out[i][92] = math.NaN()
		}
		return out
	}
	s := Study{Curves: true}
	for rpm := 2000.0; rpm <= 6500; rpm += 50 {
		s.SpeedRPM = append(s.SpeedRPM, rpm)
	}
	s.Setup = scatter.Level{Residuals: rows(5, 0.007), DF: 2, Pulls: 3}
	s.Pull = scatter.Level{Residuals: rows(10, 0.004), DF: 10, Pulls: 1}
	s.DriftPerHour, s.DriftSE, s.DriftScalar = 0.002, 0.001, 2
	s.DriftTakes = scatter.Takes{Setup: 0.5, Pull: 0.1}
	return s
}

func TestStudyComesBack(t *testing.T) {
	want := studyOf(1)
	data, err := encodeStudy(want)
	if err != nil {
		t.Fatal(err)
	}
	got, err := decodeStudy(data)
	if err != nil {
		t.Fatal(err)
	}
	for name, pair := range map[string][2]scatter.Level{"setup": {got.Setup, want.Setup}, "block": {got.Block, want.Block}, "pull": {got.Pull, want.Pull}} {
		if len(pair[0].Residuals) != len(pair[1].Residuals) || pair[0].DF != pair[1].DF || pair[0].Pulls != pair[1].Pulls {
			t.Fatalf("%s: %+v became %+v", name, pair[1], pair[0])
		}
		for i, row := range pair[1].Residuals {
			for k, v := range row {
				if back := pair[0].Residuals[i][k]; math.IsNaN(v) != math.IsNaN(back) || !(math.IsNaN(v) || math.Abs(back-v) <= 5.01e-7*math.Abs(v)) {
					t.Errorf("%s row %d column %d: %v became %v", name, i, k, v, back)
				}
			}
		}
	}
	if !got.Curves || got.DriftPerHour != want.DriftPerHour || got.DriftSE != want.DriftSE || got.DriftTakes != want.DriftTakes || got.DriftScalar != 2 {
		t.Errorf("drift and kind came back as %+v", got)
	}
	if again, err := encodeStudy(got); err != nil || !bytes.Equal(again, data) {
		t.Errorf("written again it differs: %v", err)
	}
}

func TestStudyRefuses(t *testing.T) {
	good, err := encodeStudy(studyOf(1))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ from, to, says string }{
		{studyFormat, "fairpull.scatter/2", "this program reads"},
		{`"df":2`, `"df":-2`, "degrees of freedom"},
		{`"df":2`, `"df":2000`, "cannot carry"},
		{`"pulls":3`, `"pulls":0`, "pulls behind"},
		{`"speed_rpm":[2000`, `"speed_rpm":[7000`, "do not increase"},
		{`"residuals_ppm":[[`, `"residuals_ppm":[[null,`, "columns"},
		{`"residuals_ppm":[[`, `"residuals_ppm":["x",[`, "not a list"},
		{`"residuals_ppm":[[`, `"residuals_ppm":[[1e999,`, "not a list"},
		{`"scalar":2`, `"scalar":7`, "scalar"},
		{`{`, `[`, "study"},
	} {
		bad := strings.Replace(string(good), c.from, c.to, 1)
		if _, err := decodeStudy([]byte(bad)); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s for %s: %v, want an error with %q", c.to, c.from, err, c.says)
		}
	}
	if _, err := encodeStudy(Study{Study: scatter.Study{Pull: scatter.Level{Residuals: [][]float64{{math.Inf(1)}}}}}); err == nil {
		t.Error("an infinite residual was written")
	}
}

// Whatever is read can be pooled, and is the same when it is written and read
// again.
func FuzzStudy(f *testing.F) {
	good, err := encodeStudy(studyOf(1))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add([]byte(`{"format":"fairpull.scatter/1","speed_rpm":[1,2],"pull":{"df":1,"pulls":1,"residuals_ppm":[[1,null,null,2,3]]}}`))
	f.Add([]byte(`{"format":"fairpull.scatter/1","speed_rpm":[1000,2000],"setup":{"df":0.5,"pulls":2,"residuals_ppm":[[1, 2 ,3,null,5e3]]}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := decodeStudy(data)
		if err != nil {
			return
		}
		if err := s.Validate(); err != nil {
			t.Fatal(err)
		}
		once, err := encodeStudy(s)
		if err != nil {
			t.Fatal(err)
		}
		back, err := decodeStudy(once)
		if err != nil {
			t.Fatalf("%v in %s", err, once)
		}
		if twice, err := encodeStudy(back); err != nil || !bytes.Equal(once, twice) {
			t.Fatalf("%v\n%s\n%s", err, once, twice)
		}
	})
}

// BenchmarkStudies reads 200 studies of 15 rows and 94 columns, the longest
// history that is pooled.
func BenchmarkStudies(b *testing.B) {
	var all [][]byte
	for i := range 200 {
		data, err := encodeStudy(studyOf(float64(i)))
		if err != nil {
			b.Fatal(err)
		}
		all = append(all, data)
	}
	b.SetBytes(int64(200 * len(all[0])))
	b.ReportAllocs()
	for b.Loop() {
		for _, data := range all {
			if _, err := decodeStudy(data); err != nil {
				b.Fatal(err)
			}
		}
	}
}
