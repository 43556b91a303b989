package rehearsal

import (
	"context"
	"fmt"
	"testing"

	"drumwright/control"
	"drumwright/control/plant/registers"
	"drumwright/io/record"
)

// notes keeps what each scan came to, but for the time that the computer took.
type notes []string

func (n *notes) Put(s *record.Scan) {
	r := *s
	r.UnixNano, r.Timing = 0, record.Timing{Overruns: s.Timing.Overruns}
	*n = append(*n, fmt.Sprintf("%+v", r))
}

// The same day with the same lost and spoilt replies is the same to the bit,
// whatever else the computer has to do: two run at once.
func TestSameDayTwice(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ machine, recipe string }{{"heron-1000.yaml", "harbour-medium.yaml"}, {"lark-300.yaml", "window-stages.yaml"}} {
		t.Run(c.machine, func(t *testing.T) {
			t.Parallel()
			play := func(n *notes) error {
				m, r := load(t, c.machine, c.recipe)
				_, err := Run(context.Background(), Plan{Machine: m, Recipe: r, Seed: 7, Batches: 1, Mismatch: registers.Drawn(7), Warm: true,
					Wire: registers.WireFaults{Share: 0.03, Seed: 7}, Sinks: []control.Sink{n}, Beside: func(x *Moment) bool { return x.Last.ScanS > 60 }})
				return err
			}
			var one, other notes
			ended := make(chan error)
			go func() { ended <- play(&one) }()
			err := play(&other)
			if first := <-ended; first != nil || err != nil {
				t.Fatal(first, err)
			}
			if len(one) < 300 || len(one) != len(other) {
				t.Fatalf("%d and %d scans", len(one), len(other))
			}
			for i := range one {
				if one[i] != other[i] {
					t.Fatalf("scan %d differs:\n%s\n%s", i, one[i], other[i])
				}
			}
		})
	}
}
