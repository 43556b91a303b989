package rehearsal

import (
	"context"
	"slices"
	"strings"
	"testing"

	"drumwright/control/plant/registers"
	"drumwright/io/peertest"
	"drumwright/io/record"
)

// Faults in a roast: the first cause, the safe state, and how long after the
// fault the heaters really give nothing, by the machine's own truth: what the
// machine file allows, rounded up to scans, the scan that sees it, the step in
// which the machine has what was written then, and what the physics need until
// there is anything to see.
func TestFaults(t *testing.T) {
	t.Parallel()
	const scansS = 2 * 0.1
	for i, c := range []struct {
		fault, cause, state string
		withinS             float64
	}{
		// The last pulse may have come up to a pulse period before the stall, and a
		// pulse more as the drum runs out.
		{"drum_stall", "drum_stall", "S3", 3 + 2*0.2 + scansS},
		{"drum_drive_fault", "drum_drive", "S3", 0.3 + scansS},
		{"belt_slip", "", "", 0}, // a quarter slower only warns
		// The air dies away below what the switch proves first.
		{"air_lost", "air_lost", "S4", 0.5 + 1.5},
		{"blower_drive_fault", "blower_drive", "S4", 0.3 + scansS},
		{"bean_probe_open", "bean_probe", "S1", 0.8 + scansS},
		{"inlet_probe_open", "inlet_probe", "S1", 0.8 + scansS},
		{"skin_probe_open", "skin_probe", "S1", 0.8 + scansS},
		{"bean_probe_frozen", "bean_frozen", "S1", 10 + 0.75},
		// The current is more than asked for, over some seconds.
		{"air_heater_stuck_on", "air_not_following air_current_unasked inlet_high", "S1", 14},
		{"air_heater_half_wave", "air_half_wave", "S1", 12}, // judged at a steady demand
		{"air_weak", "air_short", "S4", 3 + 2},
		{"blower_reversed", "air_short air_lost", "S4", 3 + 2},
		{"proving_stuck_open", "air_lost", "S4", 0.5 + scansS},
		{"drum_overspeed", "drum_fast", "S3", 2 + 4},
		{"mains_low", "mains_low", "S1", 0.2 + scansS},
		{"brown_out", "mains_low", "S1", 0.2 + scansS},
		{"co_alarm", "carbon_monoxide", "S5", 1 + scansS},
		{"collector_fire", "collector_rise", "S2", 2 + 3},
		{"converter_shift", "converter_shift", "S1", 1 + scansS},
		{"bean_probe_short", "bean_plunge bean_short", "S1", 6},
		{"skin_reversed", "probe_reversed skin_probe", "S1", 4},
		{"high_limit_open", "high_limit", "S1", 0.1}, // by hardware, as the next,
		{"estop_pressed", "emergency_stop", "S6", 0.1},
		{"cover_open", "cover", "S1", 1 + scansS},
		{"unit_silent", "unit_lost", "S1", 2 + scansS},
	} {
		if peertest.Spare(i, 4) {
			continue
		}
		t.Run(c.fault, func(t *testing.T) {
			m, r := load(t, "heron-1000.yaml", "harbour-medium.yaml")
			r.Drop.LatestS = 240
			soon(m)
			warned := false
			res, err := Run(context.Background(), Plan{Machine: m, Recipe: r, Seed: 5, Batches: 1, Warm: true, Mismatch: registers.Drawn(5), AfterS: 5,
				MaxS: 200, Faults: []Fault{{Name: c.fault, AfterChargeS: 40}},
				Tell: func(_ *record.Scan, e record.Event) {
					warned = warned || e.Kind == record.Warning && e.Name == "drum_slow"
				}})
			if c.cause == "" {
				if len(res.Trips) > 0 || !warned {
					t.Errorf("warned %v, trips %+v", warned, res.Trips)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if len(res.Trips) == 0 || !slices.Contains(strings.Fields(c.cause), res.Trips[0].Cause) || res.Trips[0].SafeState != c.state {
				t.Fatalf("trips %+v, want %s into %s first", res.Trips, c.cause, c.state)
			}
			if res.HeatOn || res.HeatOffS > c.withinS+1e-6 {
				t.Errorf("heat went off after %.2f s (still on: %v), want within %.2f s", res.HeatOffS, res.HeatOn, c.withinS)
			}
		})
	}
}

// Faults that show only at the drop, when the contactor is to open, or just
// before it, when the cooling fan is tried.
func TestFaultsAtDrop(t *testing.T) {
	t.Parallel()
	for i, c := range []struct {
		fault, cause string
		fromS        float64
	}{
		{"cooling_fan_failed", "cooling_fan", 240 - 20},
		{"contactor_welded", "contactor_stuck", 240},
	} {
		if peertest.Spare(i, 4) {
			continue
		}
		t.Run(c.fault, func(t *testing.T) {
			m, r := load(t, "heron-1000.yaml", "harbour-medium.yaml")
			r.Drop.LatestS = 240
			soon(m)
			res, err := Run(context.Background(), Plan{Machine: m, Recipe: r, Seed: 5, Batches: 1, Warm: true, Mismatch: registers.Drawn(5), AfterS: 5,
				Faults: []Fault{{Name: c.fault, AfterChargeS: 200}}})
			if err != nil {
				t.Fatal(err)
			}
			if len(res.Trips) == 0 || res.Trips[0].Cause != c.cause || res.Trips[0].SafeState != "S1" {
				t.Fatalf("trips %+v, want %s into S1 first", res.Trips, c.cause)
			}
			if at := res.Trips[0].SinceS; at < c.fromS || at > c.fromS+5 {
				t.Errorf("tripped at %.1f s, want within 5 s of %.0f s", at, c.fromS)
			}
			if res.HeatOn {
				t.Error("heat stays on")
			}
		})
	}
}
