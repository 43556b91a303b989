package rehearsal

import (
	"context"
	"testing"
	"time"

	"drumwright/control"
	"drumwright/control/learn"
	"drumwright/control/plant/registers"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/safety"
)

// tape records, between fieldbus and controller, all that went into a scan and
// the permit that came out.
type tape struct {
	control.Field
	nowS    []float64
	images  []point.Image
	permits [][point.NumOutputs]float64
}

func (f *tape) Read(ctx context.Context, nowS float64, deadline time.Time, img *point.Image) {
	f.Field.Read(ctx, nowS, deadline, img)
	f.nowS, f.images = append(f.nowS, nowS), append(f.images, *img)
}

func (f *tape) Write(ctx context.Context, deadline time.Time, p *safety.Permit) error {
	if p.Covers(point.DrumRun) { // not the heat-off of start and end
		f.permits = append(f.permits, p.Values())
	}
	return f.Field.Write(ctx, deadline, p)
}

type scans struct{ all []record.Scan }

func (s *scans) Put(r *record.Scan) { s.all = append(s.all, *r) }

// What a day's controller was given, given again to a fresh one, gives the same
// permits and records to the bit: noise, commands, a trip and all.
func TestReplay(t *testing.T) {
	t.Parallel()
	m, r := load(t, "heron-1000.yaml", "harbour-medium.yaml")
	r.Drop.LatestS = 240
	soon(m)
	heard, commands := map[uint64][]control.Command{}, 0 // by scan
	lessons := &learn.Lessons{Recipe: r.Name, Path: learn.Path{RateKPerS: make([]float64, 40), GreenKg: 1, RoomC: 25, Batches: 2, LnHeat: 0.05, SkinLeadK: [2]float64{1, -1}},
		Coffee: learn.Coffee{Weighed: 1, LnDryLoss: 0.1, CrackC: []float64{198}}, Machine: learn.Machine{Batches: 2, LnTau: -0.1}}
	for i := range lessons.Path.RateKPerS {
		lessons.Path.RateKPerS[i] = 0.01
	}
	rolling, told := &tape{}, &scans{}
	_, err := Run(context.Background(), Plan{Machine: m, Recipe: r, Lessons: lessons, Seed: 3, Batches: 1, Warm: true, Mismatch: registers.Drawn(3), AfterS: 20,
		Faults: []Fault{{Name: "cooling_fan_failed", AfterChargeS: 240}}, Sinks: []control.Sink{told},
		Through: func(f control.Field) control.Field { rolling.Field = f; return rolling },
		Posted:  func(n uint64, c control.Command) { heard[n] = append(heard[n], c); commands++ }})
	if err != nil {
		t.Fatal(err)
	}
	core, err := control.New(m, control.Restored{})
	if err != nil {
		t.Fatal(err)
	}
	var rec record.Scan
	trips, dropped, taught := uint64(0), false, false
	for i, want := range told.all {
		rec.N, rec.UnixNano, rec.Timing = want.N, want.UnixNano, want.Timing
		permit := core.Step(rolling.nowS[i], &rolling.images[i], heard[want.N], &rec)
		if permit.Values() != rolling.permits[i] {
			t.Fatalf("scan %d (%s): permit %v, was %v", want.N, want.State, permit.Values(), rolling.permits[i])
		}
		if rec != want {
			t.Fatalf("scan %d: record differs\n got %+v\nwas %+v", want.N, rec, want)
		}
		trips, dropped, taught = want.Safety.Trips, dropped || want.Batch.DropS > 0, taught || want.Bean.LearnedKPerS != 0
	}
	if trips == 0 || !dropped || !taught || commands < 2 {
		t.Errorf("the day was too dull to prove anything: %d trips, dropped %v, %d commands", trips, dropped, commands)
	}
}
