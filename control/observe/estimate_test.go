package observe

import (
	"math"
	"testing"
)

// A correction must not carry a state out of its bounds, nor a variance to
// nothing.
func TestStateBounds(t *testing.T) {
	for _, sign := range []float64{-1, 1} {
		f := midRoast(t)
		for i := range f.x {
			if i != iProbe {
				c := sign * 0.9 * math.Sqrt(f.cov[i][i]*f.cov[iProbe][iProbe])
				f.cov[i][iProbe], f.cov[iProbe][i] = c, c
			}
		}
		f.cov[iReaction][iReaction], f.cov[iReaction][iProbe], f.cov[iProbe][iReaction] = 1e4, sign*19.9, sign*19.9
		for i, v := range map[int]float64{iMoisture: 4, iLnTau: 4, iLnHeat: 4, iDisturb: 4, iDry: 4} {
			f.cov[i][i] = v
			f.cov[i][iProbe], f.cov[iProbe][i] = sign*0.3, sign*0.3
		}
		f.cov[iStart][iStart], f.cov[iStart][iProbe], f.cov[iProbe][iStart] = 0, 0, 0
		f.Update(f.x[iProbe] + 2)
		hi := sign > 0
		for _, c := range []struct {
			i           int
			low, high   float64
			description string
		}{
			{iMoisture, 0, 0.25, "moisture"}, {iDry, 0.86, 1, "dry fraction"}, {iReaction, 0, 232, "reaction heat"},
			{iLnTau, -0.8, 0.7, "ln tau"}, {iLnHeat, -0.7, 0.7, "ln heat"}, {iDisturb, -0.15, 0.15, "disturbance"},
		} {
			want := c.low
			if hi {
				want = c.high
			}
			if f.x[c.i] != want {
				t.Errorf("%s is %g after a correction far past its bound, want %g", c.description, f.x[c.i], want)
			}
		}
		if v := f.cov[iStart][iStart]; v != 1e-14 {
			t.Errorf("a variance of zero became %g, want the floor 1e-14", v)
		}
	}
}
