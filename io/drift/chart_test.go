package drift

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The worked example of the NIST/SEMATECH e-Handbook of Statistical Methods,
// 6.3.2.2: flow rates of ten batches; mean 50.81, mean moving range 1.8778, limits
// 45.8159 and 55.8041 (numbers quoted from memory; the arithmetic was redone).
func TestIndividualsAsInTheHandbook(t *testing.T) {
	values := []float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	centre, sigma, ok := Limits(values)
	c := New(values, centre, sigma)
	if !ok || math.Abs(centre-50.81) > 1e-9 || math.Abs(sigma*d2-1.8778) > 5e-5 || math.Abs(c.Upper-55.8041) > 5e-4 || math.Abs(c.Lower-45.8159) > 5e-4 {
		t.Errorf("centre %.4f, limits %.4f and %.4f", centre, c.Lower, c.Upper)
	}
	if len(c.Out) != 0 {
		t.Errorf("out of control at %v; the handbook finds none", c.Out)
	}
}

// The worked example of 6.3.2.4: weight 0.3, target 50, s = 2.0539, limits 47.4115
// and 52.5884 (from memory, arithmetic redone).
func TestWeightedMeanAsInTheHandbook(t *testing.T) {
	values := []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	want := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	c := New(values, 50, 2.0539)
	for i, m := range c.Mean {
		if math.Abs(m-want[i]) > 0.0051 {
			t.Errorf("mean %d is %.3f, the handbook has %.2f", i, m, want[i])
		}
	}
	if math.Abs(c.MeanUpper-52.5884) > 5e-4 || math.Abs(c.MeanLower-47.4115) > 5e-4 || len(c.MeanOut) != 0 {
		t.Errorf("limits %.4f and %.4f, out at %v", c.MeanLower, c.MeanUpper, c.MeanOut)
	}
}

// A slow drift of one standard deviation is seen by the mean before single values
// show it, which is what it is for.
func TestMeanSeesSlowDrift(t *testing.T) {
	values := make([]float64, 40)
	for i := range values {
		values[i] = 1.2 + 0.4*float64(i%2) // 1.4 on average
	}
	c := New(values, 0, 1)
	if len(c.Out) != 0 || len(c.MeanOut) == 0 || c.MeanOut[0] > 12 {
		t.Errorf("single values out at %v, the mean at %v", c.Out, c.MeanOut)
	}
}

func TestUnknownValuesAreLeftOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-100, 100), LeastBase, 40).Draw(t, "values")
		at := rapid.IntRange(0, len(values)).Draw(t, "at")
		holed := slices.Insert(slices.Clone(values), at, math.NaN())
		c1, s1, ok1 := Limits(values)
		c2, s2, ok2 := Limits(holed)
		if c1 != c2 || s1 != s2 || !ok1 || !ok2 {
			t.Fatalf("a hole moves the limits: %v ± %v, %v ± %v", c1, s1, c2, s2)
		}
		got := New(holed, c2, s2).Mean
		if !math.IsNaN(got[at]) || !slices.Equal(slices.Delete(slices.Clone(got), at, at+1), New(values, c1, s1).Mean) {
			t.Fatal("a hole moves the mean")
		}
	})
	if _, _, ok := Limits([]float64{1, 2, math.NaN(), 3, 4, 5, 6, 7}); ok {
		t.Error("limits from seven values")
	}
}
