package control

import (
	"context"
	"fmt"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/safety"
)

// deaf is a machine whose air heater's device takes nothing from a scan on.
type deaf struct {
	*inTime
	from int
}

type notTaken struct{ out [point.NumOutputs]bool }

func (*notTaken) Error() string                            { return "not taken" }
func (n *notTaken) Unacknowledged() [point.NumOutputs]bool { return n.out }

func (d *deaf) Write(ctx context.Context, by time.Time, p *safety.Permit) error {
	if err := d.inTime.Write(ctx, by, p); err != nil || d.scan < d.from {
		return err
	}
	n := &notTaken{}
	n.out[point.AirHeaterPower] = true
	return fmt.Errorf("bus heat: %w", n)
}

// What a device does not acknowledge reaches the gate: heat goes off when that has
// stood in a roast for the machine file's time, and not before.
func TestUnacknowledgedOutputTrips(t *testing.T) {
	for from, trips := range map[int]bool{5: true, 70: false} { // of 80 scans
		g := newRig(t, nil).to(batch.Roasting)
		synctest.Test(t, func(t *testing.T) {
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			f := &inTime{rig: g, at: time.Now()}
			f.hang = func(scan int) {
				if scan == 80 {
					cancel()
				}
			}
			r := NewRunner(&deaf{f, from}, &bubble{period: 100 * ms}, g.core)
			r.rec.ScanS = g.nowS
			firstS, atS := 0.0, math.NaN()
			r.Sinks = []Sink{sinkFunc(func(s *record.Scan) {
				if f.scan == from { // told to the gate in the scan after it
					firstS = s.ScanS
				}
				for _, e := range s.Events[:s.NumEvents] {
					if e.Kind == record.Trip && e.Name == "output_lost" {
						atS = s.ScanS
					}
				}
			})}
			if err := r.Run(ctx); err != nil {
				t.Fatal(err)
			}
			limitS := float64(g.m.Limits.BusLostS)
			if lateS := atS - firstS - limitS; math.IsNaN(atS) == trips || trips && (lateS < 0.1-1e-6 || lateS > 0.2+1e-6) {
				t.Errorf("deaf from scan %d: trip %.2f s after it, limit %.1f s", from, atS-firstS, limitS)
			}
		})
	}
}
