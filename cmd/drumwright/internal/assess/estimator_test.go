package assess

import (
	"context"
	"math"
	"strings"
	"testing"
)

// Errors that keep exactly to their sd, are half as large, or a little larger; shares
// by the normal distribution (handbook tables: 0.683 within one sd, 0.950 within
// 1.96; 0.954 and 0.99991 of errors half as large; 0.50 and 0.81 within 0.67 and 1.32).
func TestHonest(t *testing.T) {
	drawn := func(what string, by float64) Bands {
		var b bands
		for i := range 1000 { // the quantiles of a normal distribution
			b.one(by*math.Sqrt2*math.Erfinv(2*(float64(i)+0.5)/1000-1), 1)
		}
		return b.of(what, "something", "K", 1)
	}
	for _, c := range []struct {
		by, one, two float64
		kept         bool
	}{{1, 0.683, 0.950, true}, {0.5, 0.954, 1, false}, {1 / 0.67, 0.50, 0.81, false}, {1.1, 0.637, 0.925, true}} {
		b := drawn("x", c.by)
		if math.Abs(b.In68-c.one) > 0.005 || math.Abs(b.In95-c.two) > 0.005 || math.Abs(b.Rms-c.by) > 0.01*c.by || b.N != 1000 {
			t.Errorf("errors of %.2f sd: %+v", c.by, b)
		}
		goals := honest([]Bands{drawn("y", 1), b, drawn("x", 1)})
		if len(goals) != 2 || !goals[0].Kept || goals[1].Kept != c.kept {
			t.Errorf("errors of %.2f sd: %+v", c.by, goals)
		}
	}
}

// A few coffees on seeds that the command does not use: each is heard and weighed,
// and weighing brings the loss nearer.
func TestEstimator(t *testing.T) {
	sizes, err := Standard()
	if err != nil {
		t.Fatal(err)
	}
	st, err := estimator(context.Background(), sizes, 9001, 2)
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string]Bands{}
	for _, b := range st.Bands {
		rows[b.What+", "+b.Told] = b
	}
	if len(rows) != 4*(2*coffeeBatches+1) {
		t.Errorf("%d rows", len(rows))
	}
	for _, told := range []string{"moisture measured", "moisture not known"} {
		first, last := rows["loss at drop, "+told+", 0 weighed before"], rows["loss at drop, "+told+", 3 weighed before"]
		if first.N != 4 || last.N != 4 || !(last.Stated < first.Stated/2) || !(last.Rms < first.Rms) {
			t.Errorf("%s: at first %+v, after three weighings %+v", told, first, last)
		}
	}
	for _, g := range st.Goals { // so few coffees tell nothing of shares
		if !g.Kept && !strings.Contains(g.Text, "stated sd") && !strings.Contains(g.Text, "first crack") {
			t.Errorf("missed: %s: %s", g.Text, g.Got)
		}
	}
}
