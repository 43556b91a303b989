package report

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The series 1, 2, 5 is the coarse one of the preferred numbers (rounded R3 of
// ISO 3:1973, from memory) and that of the "nice" axis steps of Heckbert,
// "Nice numbers for graph labels", Graphics Gems, 1990. The expected steps are
// worked by hand from the rule.
func TestTickStep(t *testing.T) {
	for _, c := range []struct {
		lo, hi float64
		most   int
		want   float64
	}{
		{0, 100, 10, 10},
		{0, 100, 9, 20},
		{0, 100, 4, 50},
		{0, 100, 1, 100},
		{-8, 8, 4, 5},
		{20, 240, 5, 50},
		{0, 0.3, 3, 0.1},
		{0, 0.31, 3, 0.2},
		{0, 7e-4, 4, 2e-4},
		{0, 9e6, 2, 5e6},
	} {
		if got := tickStep(c.lo, c.hi, c.most); got != c.want {
			t.Errorf("tickStep(%v, %v, %d) = %v, want %v", c.lo, c.hi, c.most, got, c.want)
		}
	}
}

func TestTicksAreTidyAndWithinTheScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(-1e4, 1e4).Draw(t, "lo")
		hi := lo + rapid.Float64Range(1e-2, 1e4).Draw(t, "span")
		most := rapid.IntRange(1, 15).Draw(t, "most")
		step := tickStep(lo, hi, most)
		if lead := strconv.FormatFloat(step, 'e', -1, 64)[:2]; !strings.Contains("1e2e5e", lead) {
			t.Fatalf("step %v is not 1, 2 or 5 times a power of ten", step)
		}
		at := ticks(lo, hi, step)
		if len(at) > most+1 {
			t.Fatalf("%d ticks, at most %d steps were asked", len(at), most)
		}
		for i, v := range at {
			if v < lo-1e-6*step || v > hi+1e-6*step {
				t.Fatalf("tick %v outside [%v, %v]", v, lo, hi)
			}
			if i > 0 && math.Abs(v-at[i-1]-step) > 1e-6*step {
				t.Fatalf("ticks %v and %v are not one step %v apart", at[i-1], v, step)
			}
			read, err := strconv.ParseFloat(strings.Replace(tickText(v, step), "−", "-", 1), 64)
			if err != nil || math.Abs(read-v) > 1e-6*step {
				t.Fatalf("tick %v is written %q", v, tickText(v, step))
			}
		}
		if finer := step / 2.5; (hi-lo)/finer <= float64(most)*(1-1e-9) {
			t.Fatalf("step %v is coarser than it need be for [%v, %v] in %d", step, lo, hi, most)
		}
	})
}

func TestTimeSteps(t *testing.T) {
	for _, c := range []struct{ hi, want float64 }{
		{10, 1}, {60, 5}, {700, 60}, {720, 60}, {3600, 300}, {86400, 7200}, {40 * 86400, 3 * 86400},
	} {
		if got := timeStep(0, c.hi, 14); got != c.want {
			t.Errorf("time step for %v s is %v, want %v", c.hi, got, c.want)
		}
	}
}

func TestClock(t *testing.T) {
	for s, want := range map[float64]string{
		0: "0:00", 59.4: "0:59", 59.6: "1:00", 100: "1:40", 3599.6: "1:00:00", 3725: "1:02:05", -20: "−0:20",
		-0.2: "0:00", math.NaN(): "–", math.Inf(1): "–",
	} {
		if got := clock(s); got != want {
			t.Errorf("clock(%v) = %q, want %q", s, got, want)
		}
	}
}

func TestNumber(t *testing.T) {
	for _, c := range []struct {
		v    float64
		d    int
		want string
	}{{-0.04, 1, "0.0"}, {-0.06, 1, "−0.1"}, {12.25, 0, "12"}, {-40, 0, "−40"}} {
		if got := number(c.v, c.d); got != c.want {
			t.Errorf("number(%v, %d) = %q, want %q", c.v, c.d, got, c.want)
		}
	}
}
