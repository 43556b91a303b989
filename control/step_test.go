package control

import (
	"fmt"
	"math"
	"testing"

	"drumwright/control/batch"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

func TestStepAllocatesNothing(t *testing.T) {
	peertest.OnceIsEnough(t)
	for s := range batch.NumStates {
		g := newRig(t, nil).to(s)
		g.run(3) // the contactor has followed
		if s == batch.Roasting {
			g.run(120)
			if !g.rec.Bean.Active || !g.rec.Safety.HeatPermitted {
				t.Fatalf("not in steady roasting: %+v", g.rec.Bean)
			}
		}
		events := 0
		n := testing.AllocsPerRun(20, func() {
			g.nowS += float64(g.m.Scan.PeriodS)
			g.img.In[point.DrumPulses].V++ // the drum turns on
			g.permit = g.core.Step(g.nowS, &g.img, nil, &g.rec)
			events += g.rec.NumEvents
		})
		if n != 0 || events > 0 {
			t.Errorf("%s: %v allocations in a scan, %d events", s, n, events)
		}
	}
}

// A recipe without a curve, on a machine whose heater is switched on and off in
// windows: the inlet air is led along the stages.
func TestStages(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	m, r := read(t, "lark-300", "window-stages")
	m.Batch.SoakS = 5
	if m.Cycle[point.AirHeaterPower].PeriodS == 0 && m.Cycle[point.RadiantPower].PeriodS == 0 {
		t.Fatal("no output of this machine is time-proportioned")
	}
	g := rigOf(t, m, r)
	g.step()
	g.warm().to(batch.Ready).charge().until(batch.Roasting, 20)
	worst, partly, switched := 0.0, 0, [2]int{}
	for g.core.State() == batch.Roasting {
		g.step()
		if s := g.rec.Batch.SinceS; s > 60 && s < 290 { // led from 200 to 315 °C in 5 min
			worst = math.Max(worst, math.Abs(g.rec.Air.SetC-(200+115*s/300)))
		}
		for i, o := range []point.Output{point.AirHeaterPower, point.RadiantPower} {
			if v := g.permit.Value(o); m.Cycle[o].PeriodS > 0 && v != 0 && v != 1 {
				partly++
			} else if v == 1 {
				switched[i]++
			}
		}
		if g.rec.Bean.Active || g.rec.Bean.TargetC != 0 {
			t.Fatal("a bean loop without a curve")
		}
	}
	if worst > 3 || partly > 0 {
		t.Errorf("the set point is up to %.1f K off its ramp; %d scans with a part of a switched output", worst, partly)
	}
	if b := g.rec.Batch; !g.has(record.Transition, "drop-due") || b.SinceS < 400 || b.SinceS > 780 || b.Stage < 2 {
		t.Errorf("batch %+v, events %v", b, g.events)
	}
}

func BenchmarkStep(b *testing.B) {
	g := newRig(b, nil).to(batch.Roasting)
	g.run(120)
	b.ReportAllocs()
	b.ResetTimer()
	for range b.N {
		g.nowS += float64(g.m.Scan.PeriodS)
		g.img.In[point.DrumPulses].V++ // the drum turns on
		g.permit = g.core.Step(g.nowS, &g.img, nil, &g.rec)
	}
}

// A record that held other figures before comes out like a fresh one, in every
// state.
func TestNothingStaysInARecord(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	for s := range batch.NumStates {
		clean, dirty := newRig(t, nil).to(s), newRig(t, nil).to(s)
		clean.rec, dirty.rec = record.Scan{}, spoiled()
		clean.step()
		dirty.step()
		want, got := clean.rec, dirty.rec
		for _, r := range []*record.Scan{&want, &got} { // those belong to the runner, or are beyond a count
			r.N, r.UnixNano, r.Timing = 0, 0, record.Timing{}
			clear(r.Events[r.NumEvents:])
			clear(r.Alarms.List[r.Alarms.Num:])
		}
		if got != want {
			t.Errorf("%s: record differs\n got %+v\nwant %+v", s, got, want)
		}
	}
}

func spoiled() record.Scan {
	r := record.Scan{State: "x", InS: 7, Next: "x", Batch: record.Batch{ID: 9, Stage: 7, TurnS: 3, TargetDropC: 3}, NumEvents: 5,
		Bean: record.Bean{Active: true, TargetC: 3, TrueC: 3, LimitedHigh: true, LimitedLow: true, LossSd: 3},
		Air:  record.Loop{Mode: record.Cascaded, SetC: 3, Duty: 3, Limited: true}, Base: record.Loop{Mode: record.Manual, Duty: 3},
		Drum:   record.Drum{SetMMPerS: 3, SetHz: 3, MeasuredRPM: 3, FlowSetKgPerH: 3, FlowKgPerH: 3},
		Safety: record.Safety{HeatPermitted: true, Tripped: true, First: "x", HeldBack: "x", NumStanding: 3, Trips: 9},
		Alarms: record.Alarms{Num: 64, NotShown: 3, Activations: 9, Flood: true, Horn: true, List: [record.MaxAlarms]record.Alarm{{ID: "x", FirstOut: true, Count: 3}}}}
	for o := range point.NumOutputs {
		r.Wish[o], r.Permit[o] = 3, 3
	}
	return r
}

// The whole of a batch on the simulated machine, with what is told on the way.
func TestBatch(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	g := newRig(t, nil).to(batch.Ready)
	if g.rec.Next != "Charge 1000 g of green coffee." {
		t.Errorf("ready: %q", g.rec.Next)
	}
	if g.rec.Batch.ID != 0 {
		t.Errorf("batch %d before charge", g.rec.Batch.ID)
	}
	g.charge().until(batch.Roasting, 20)
	told := map[string]bool{}
	for g.core.State() == batch.Roasting {
		g.step()
		told[g.rec.Next] = true
		if g.plant.Truth().BeanC > 197 && g.rec.Batch.FirstCrackS == 0 {
			g.must(record.FirstCrack)
		}
	}
	for _, want := range []string{"First crack is expected: listen, and note it when it comes.", "First crack is noted. Get ready for the drop.",
		dropSoon[0].text, dropSoon[1].text, dropSoon[2].text} {
		if !told[want] {
			t.Errorf("never told: %s", want)
		}
	}
	g.plant.Drop()
	g.until(batch.Cooling, 30)
	if b := g.rec.Batch; b.ID != 1 || b.DropS == 0 || b.TurnS == 0 || b.LossAtDrop < 0.1 {
		t.Errorf("batch after drop: %+v", b)
	}
	if g.permit.Value(point.CoolingFan) != 1 || g.permit.Value(point.Stirrer) != 1 {
		t.Error("the tray is not cooled")
	}
	g.until(batch.Warming, 300)
	if !g.has(record.Milestone, record.MilestoneCooled) || g.rec.Batch.ID != 1 {
		t.Errorf("no cooled batch 1 in its last scan: %+v", g.rec.Batch)
	}
	g.step()
	if g.rec.Batch.ID != 0 || g.permit.Value(point.CoolingFan) != 0 {
		t.Errorf("after cooling: batch %d, fan %v", g.rec.Batch.ID, g.permit.Value(point.CoolingFan))
	}
	g.plant.EmptyTray()
	g.until(batch.Ready, 1200).charge().until(batch.Roasting, 20)
	if g.rec.Batch.ID != 2 || g.rec.Batch.TurnS != 0 || g.rec.Batch.DropS != 0 || g.rec.Batch.FirstCrackS != 0 {
		t.Errorf("second batch begins with %+v", g.rec.Batch)
	}
	g.must(record.Stop).until(batch.RunDown, 1)
}

// What leads into a roast, and when it is taken to have begun.
func TestChargeDetection(t *testing.T) {
	t.Parallel()
	for _, by := range []string{"gate", "probe", "operator"} {
		for _, early := range []bool{false, true} {
			if early && by != "operator" {
				continue
			}
			t.Run(fmt.Sprint(by, early), func(t *testing.T) {
				g := newRig(t, func(m *profiles.Machine, _ *profiles.Recipe) { m.Batch.ChargeBy = by })
				if g.to(batch.Warming); !early {
					g.until(batch.Ready, 900)
				}
				g.run(2)
				atS := g.nowS
				g.charge()
				if by == "operator" {
					g.run(20) // nothing else moves it
					if s := g.core.State(); s == batch.Charging || s == batch.Roasting {
						t.Fatalf("%s without the operator's word", s)
					}
					g.must(record.Charged)
				}
				g.until(batch.Roasting, 15)
				if d := g.nowS - g.rec.Batch.SinceS - atS; d < -0.5 || d > 2.5 {
					t.Errorf("charge is put %.1f s after it", d)
				}
			})
		}
	}
}

// A gate that opens and brings nothing: back to ready once, and not again
// before it has been shut.
func TestGateWithoutBeans(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Ready)
	open := 1.0
	g.fake = func(i *point.Image) { i.In[point.ChargeGateOpen].V = open }
	g.until(batch.Charging, 1).until(batch.Ready, 61)
	g.run(70)
	if g.core.State() != batch.Ready || g.rec.Next != "No beans were seen to come: shut the gate, or say charged if they are in." {
		t.Fatalf("%s, %q", g.rec.State, g.rec.Next)
	}
	open = 0
	g.run(1)
	open = 1
	g.until(batch.Charging, 1)
	open = 0
	g.until(batch.Ready, 61)
	g.charge()
	g.fake = nil
	g.until(batch.Roasting, 20)
	if g.rec.Batch.ID != 1 {
		t.Errorf("the first beans are batch %d", g.rec.Batch.ID)
	}
}

func TestDrop(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	only := func(d profiles.Drop) func(*profiles.Machine, *profiles.Recipe) {
		d.LatestS = max(d.LatestS, 0)
		return func(_ *profiles.Machine, r *profiles.Recipe) {
			if d.LatestS == 0 {
				d.LatestS = r.Drop.LatestS
			}
			r.Drop = d
		}
	}
	early := profiles.Celsius(110)
	bean, loss, after := profiles.Celsius(150), profiles.Share(0.03), profiles.Seconds(20)
	for _, c := range []struct {
		name  string
		drop  profiles.Drop
		do    func(*rig)
		row   string
		check func(*rig) bool
	}{
		{"bean", profiles.Drop{Bean: &bean}, nil, "drop-due", func(g *rig) bool {
			v := g.img.In[point.Bean].V
			return v > 149.4 && v < 150.6
		}},
		{"loss", profiles.Drop{Loss: &loss}, nil, "drop-due", func(g *rig) bool {
			l := g.plant.Truth().LossFrac
			return l > 0.02 && l < 0.04
		}},
		{"after crack", profiles.Drop{AfterCrack: &after}, func(g *rig) { g.run(180); g.must(record.FirstCrack) }, "drop-due", func(g *rig) bool {
			d := g.rec.Batch.SinceS - g.rec.Batch.FirstCrackS
			return d >= 20-1e-6 && d < 20.15
		}},
		{"latest", profiles.Drop{Bean: &early, Operator: true, LatestS: 200}, nil, "drop-due", func(g *rig) bool {
			return g.rec.Batch.SinceS >= 200 && g.rec.Batch.SinceS < 200.15 && g.has(record.Note, "latest")
		}},
		{"operator", profiles.Drop{}, func(g *rig) { g.run(190); g.must(record.DropNow) }, "drop-asked", func(g *rig) bool {
			return g.rec.Batch.DropS == 0 // not before the door
		}},
		{"dropped", profiles.Drop{}, func(g *rig) { g.run(190); g.must(record.Dropped) }, "drop-asked", func(g *rig) bool {
			return g.rec.Batch.DropS > 190
		}},
		{"door", profiles.Drop{}, func(g *rig) { g.run(190); g.plant.Drop() }, "door-open", func(g *rig) bool {
			return g.rec.Batch.DropS > 190
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := newRig(t, only(c.drop)).to(batch.Roasting)
			if c.do != nil {
				c.do(g)
			}
			g.until(batch.Discharging, 900)
			if !g.has(record.Transition, c.row) || !c.check(g) {
				t.Errorf("batch %+v, bean %.1f, events %v", g.rec.Batch, g.img.In[point.Bean].V, g.events)
			}
			g.run(0.1)
			if g.permit.Value(point.HeatEnable) != 0 || g.heatW() != 0 {
				t.Error("heat after the call for the drop")
			}
			g.plant.Drop()
			g.until(batch.Cooling, 60)
		})
	}
}

// Where the operator alone drops, a condition only calls.
func TestOperatorAloneDrops(t *testing.T) {
	t.Parallel()
	bean := profiles.Celsius(120)
	g := newRig(t, func(_ *profiles.Machine, r *profiles.Recipe) {
		r.Drop = profiles.Drop{Bean: &bean, Operator: true, LatestS: 600}
	}).to(batch.Roasting)
	horn := 0
	for g.rec.Batch.SinceS < 250 {
		g.step()
		if g.permit.Value(point.Horn) > 0 && !g.rec.Alarms.Stands("drop_overdue") {
			horn++
		}
	}
	if !g.rec.Alarms.Stands("drop_overdue") {
		t.Error("nobody is told that the drop is overdue")
	}
	if g.core.State() != batch.Roasting || !g.has(record.Note, "drop-due") || g.rec.Next != "Drop now: the recipe's drop is reached." {
		t.Errorf("%s, %q", g.rec.State, g.rec.Next)
	}
	if s := float64(horn) * float64(g.m.Scan.PeriodS); s < 3.8 || s > 4.2 {
		t.Errorf("the horn called for %.1f s, want two calls of 2 s", s)
	}
}

// A machine without a door contact takes its time for the drop; one without
// ambient, exhaust, gate and air flow sees the charge by the probe.
func TestWithoutOptionalPoints(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	g := newRig(t, func(m *profiles.Machine, r *profiles.Recipe) {
		for _, i := range []point.Input{point.Ambient, point.Exhaust, point.ChargeGateOpen, point.DischargeDoorOpen, point.AirFlow, point.CoolingTray,
			point.CoverClosed, point.CoolingFanRunning, point.HeaterElement, point.HighLimit} {
			m.HasIn[i] = false
		}
		m.Batch.ChargeBy = "probe"
		bean := profiles.Celsius(190)
		r.Drop = profiles.Drop{Bean: &bean, LatestS: 800}
	}).to(batch.Ready)
	g.run(10)
	g.charge().until(batch.Roasting, 15).until(batch.Discharging, 700)
	if !g.has(record.Milestone, record.MilestoneDrop) {
		t.Error("without a door the drop is when it is due")
	}
	g.plant.Drop()
	g.run(60)
	if g.core.State() != batch.Discharging {
		t.Errorf("%s though nothing has said that the drum is empty", g.core.State())
	}
	g.must(record.Dropped)
	g.until(batch.Cooling, 1).until(batch.Warming, 250)
	g.must(record.Stop).until(batch.RunDown, 1)
}
