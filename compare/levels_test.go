package compare

import (
	"math"
	"testing"
)

// The parts of each figure add up to its variance. Where every block has its own
// setup and neither drift nor doubt is added, that is the sum of the two levels'.
func TestPartsAndLevelsAddUp(t *testing.T) {
	in := benchInput(111)
	got, err := Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	c := &got[0]
	for _, m := range []Metric{Band, PeakTorque, PeakPower} {
		f := c.Figure(m)
		o := f.Origins
		sum := o.Scatter() + o.Weather + o.Loss
		if !(math.Abs(sum/(f.SE*f.SE)-1) < 1e-9) {
			t.Errorf("figure %d: parts add up to %g, the variance is %g", m, sum, f.SE*f.SE)
		}
		levels := 0.0
		for _, l := range []LevelScatter{f.BaselineScatter, f.CandidateScatter} {
			levels += l.Setup + l.Block + l.Pull
			if !(l.DF > 0) {
				t.Errorf("figure %d: a level has %g degrees of freedom", m, l.DF)
			}
		}
		scatter := o.Setup + o.Block + o.Pull
		if !(scatter >= levels*(1-1e-9)) {
			t.Errorf("figure %d: the gain scatters by %g, its levels by %g", m, scatter, levels)
		}
	}
}
