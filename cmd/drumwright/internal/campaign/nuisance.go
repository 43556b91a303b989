package campaign

import (
	"context"
	"fmt"
	"math/rand/v2"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control"
	"drumwright/control/plant/registers"
	"drumwright/io/record"
)

// NuisanceTrip is a trip in an ordinary batch, or a batch that did not come to
// its end.
type NuisanceTrip struct {
	Run       int     `json:"run"`
	Machine   string  `json:"machine"`
	Recipe    string  `json:"recipe"`
	Cause     string  `json:"cause"`
	SafeState string  `json:"safe_state"`
	AtS       float64 `json:"at_s"` // machine time
	Text      string  `json:"text"`
}

// NuisanceResult is what came of ordinary batches.
type NuisanceResult struct {
	Runs       int            `json:"runs"`
	Roasted    int            `json:"roasted"` // came to their drop
	Trips      []NuisanceTrip `json:"trips"`
	SimulatedS float64        `json:"simulated_s"`
}

// How ordinary batches differ (spans: common practice, no source).
const (
	errorShare  = 0.01 // of all replies
	mainsFrac   = 0.06
	coldRoomC   = 5.0
	hotRoomC    = 35.0
	fileRoomC   = 25.0
	latestLateS = 60.0
	benchEndS   = 30.0 // looked on after the beans are out and cool
)

// Nuisance plays n ordinary batches in turn on the benches: noise, bus errors,
// mains and room as they are, an operator who is late. Nothing may trip.
func Nuisance(ctx context.Context, benches []Bench, n int) (NuisanceResult, error) {
	type run struct {
		trip    *NuisanceTrip
		roasted bool
		simS    float64
	}
	runs := make([]run, n)
	err := parallel(ctx, n, func(i int) (err error) {
		b := benches[i%len(benches)]
		b.Seed += uint64(i)
		r := &runs[i]
		r.trip, r.roasted, r.simS, err = ordinary(ctx, b)
		if r.trip != nil {
			r.trip.Run = i
		}
		return err
	})
	out := NuisanceResult{Runs: n, Trips: []NuisanceTrip{}}
	for _, r := range runs {
		if r.trip != nil {
			out.Trips = append(out.Trips, *r.trip)
		}
		if r.roasted {
			out.Roasted++
		}
		out.SimulatedS += r.simS
	}
	return out, err
}

// ordinary plays one ordinary batch.
func ordinary(ctx context.Context, b Bench) (trip *NuisanceTrip, roasted bool, simulatedS float64, err error) {
	m, err := b.Machine()
	if err != nil {
		return nil, false, 0, err
	}
	recipe, err := b.Recipe()
	if err != nil {
		return nil, false, 0, err
	}
	r := rand.New(rand.NewPCG(b.Seed, 0x6f726469))
	miss := registers.Drawn(b.Seed)
	miss.MainsFrac = mainsFrac * (2*r.Float64() - 1)
	miss.AmbientAddK = coldRoomC + (hotRoomC-coldRoomC)*r.Float64() - fileRoomC
	soon(m)
	// A late person still drops before the recipe's latest.
	recipe.Drop.LatestS = max(recipe.Drop.LatestS, 60)
	doneS := 0.0
	p := rehearsal.Plan{
		Machine: m, Recipe: recipe, Seed: b.Seed, Batches: 1, Mismatch: miss, Warm: true, MaxS: 4000,
		Wire:   registers.WireFaults{Share: errorShare, Seed: b.Seed},
		Habits: rehearsal.Habits{ChargeLateS: latestLateS * r.Float64(), DropLateS: latestLateS * r.Float64()},
		Sinks:  []control.Sink{},
	}
	p.Beside = func(x *rehearsal.Moment) bool {
		roasted = roasted || x.Last.State == "cooling"
		if roasted && (x.Last.State == "warming" || x.Last.State == "run-down") {
			if doneS == 0 {
				doneS = x.Truth.TimeS
			}
			return x.Truth.TimeS-doneS > benchEndS
		}
		return false
	}
	p.Tell = func(s *record.Scan, e record.Event) {
		if e.Kind == record.Trip && trip == nil {
			trip = &NuisanceTrip{Machine: m.About.Name, Recipe: recipe.Name, Cause: e.Name, SafeState: s.Safety.SafeState, AtS: s.ScanS, Text: e.Text}
		}
	}
	res, err := rehearsal.Run(ctx, p)
	if ctx.Err() != nil {
		return nil, false, 0, ctx.Err()
	}
	if res != nil {
		simulatedS = res.SimulatedS
	}
	if trip == nil && (err != nil || !roasted) {
		trip = &NuisanceTrip{Machine: m.About.Name, Recipe: recipe.Name, Cause: "not roasted", Text: fmt.Sprint(err)}
	}
	return trip, roasted, simulatedS, nil
}
