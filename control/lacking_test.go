package control

import (
	"strings"
	"testing"

	"drumwright/control/batch"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// One bad reading neither loses warmth nor trips; the estimate goes through a
// short gap of the bean probe; a long one trips.
func TestBadReadings(t *testing.T) {
	t.Parallel()
	bad := func(i point.Input) func(*point.Image) {
		return func(m *point.Image) { m.In[i].Quality, m.In[i].Cause = point.Bad, point.OutOfRange }
	}
	for _, i := range []point.Input{point.Bean, point.InletAir, point.DrumSkin} {
		g := newRig(t, nil).to(batch.Ready)
		g.fake = bad(i)
		g.run(0.3)
		g.fake = nil
		g.run(1)
		if g.core.State() != batch.Ready || g.rec.Safety.Tripped {
			t.Errorf("three bad scans of %s: %s, %s", i, g.core.State(), g.rec.Safety.First)
		}
	}
	g := newRig(t, nil).to(batch.Roasting)
	g.run(120)
	g.fake = bad(point.Bean)
	g.run(0.5)
	if !g.rec.Bean.Active || g.rec.Safety.Tripped {
		t.Errorf("half a second without bean probe: loop %v, %s", g.rec.Bean.Active, g.rec.Safety.First)
	}
	if d := g.rec.Bean.TrueC - g.plant.Truth().BeanC; d < -4 || d > 4 {
		t.Errorf("the estimate is off by %.1f K", d)
	}
	g.run(1)
	if g.core.State() != batch.Tripped || g.rec.Safety.First != "bean_probe" || g.heatW() != 0 {
		t.Errorf("1.5 s without bean probe: %s, %q", g.core.State(), g.rec.Safety.First)
	}
}

// A door contact that gives nothing leaves the way by the operator's word.
func TestDropWithoutDoorContact(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Discharging)
	g.fake = func(i *point.Image) {
		i.In[point.DischargeDoorOpen] = point.Value{Quality: point.Bad, Cause: point.Refused}
	}
	g.plant.Drop()
	g.run(30)
	if g.core.State() != batch.Discharging || !strings.Contains(g.rec.Next, "say that they are out") {
		t.Errorf("%s, %q", g.core.State(), g.rec.Next)
	}
	g.must(record.Dropped)
	if g.core.State() != batch.Cooling || g.rec.Batch.DropS == 0 {
		t.Errorf("%s, dropped at %v", g.core.State(), g.rec.Batch.DropS)
	}
}

// A batch whose estimator cannot start is roasted without: the loop stays open
// and the drop is by the probe.
func TestWithoutEstimate(t *testing.T) {
	t.Parallel()
	g := newRig(t, func(_ *profiles.Machine, r *profiles.Recipe) {
		c := profiles.Celsius(120)
		r.Drop.Bean = &c
	})
	g.m.Bed.GasShare = 0.7 // no such probe: the filter refuses
	g.to(batch.Roasting)
	if !g.has(record.Note, "estimator") || !g.rec.Bean.EstimatorOff {
		t.Fatalf("events %v", g.events)
	}
	g.until(batch.Discharging, 600)
	if g.has(record.Note, "bean-loop") {
		t.Error("the bean loop closed on no estimate")
	}
	if v := g.img.In[point.Bean].V; v < 119.9 || v > 121 {
		t.Errorf("dropped at %.1f °C", v)
	}
}

func TestManualHeat(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Roasting)
	g.run(120)
	duty := g.rec.Air.Duty
	if a := g.ask(Command{Command: record.Command{Kind: record.SetManual, Loop: "air", Value: 0.25, Local: true}}); !a.Accepted {
		t.Fatal(a.Reason)
	}
	g.run(20)
	if g.rec.Air.Mode != record.Manual || g.permit.Value(point.AirHeaterPower) != 0.25 || g.rec.Bean.Active {
		t.Errorf("by hand: %+v, permit %v, bean loop %v", g.rec.Air, g.permit.Value(point.AirHeaterPower), g.rec.Bean.Active)
	}
	if duty < 0.3 {
		t.Fatalf("duty before was %v: nothing to see", duty)
	}
	if a := g.ask(Command{Command: record.Command{Kind: record.SetAutomatic, Loop: "air", Local: true}}); !a.Accepted {
		t.Fatal(a.Reason)
	}
	if d := g.permit.Value(point.AirHeaterPower) - 0.25; d < -0.05 || d > 0.05 {
		t.Errorf("automatic begins with a bump of %.2f", d)
	}
	if d := g.rec.Air.SetC - g.img.In[point.InletAir].V; !g.rec.Bean.Active || d < -2 || d > 2 {
		t.Errorf("the bean loop takes over %.1f K from the air, closed %v", d, g.rec.Bean.Active)
	}
	if a := g.ask(Command{Command: record.Command{Kind: record.SetManual, Loop: "base", Value: 0.5, Local: true}}); !a.Accepted {
		t.Fatal(a.Reason)
	}
	g.must(record.Stop).must(record.Dropped)
	if !g.has(record.Note, "automatic") {
		t.Error("manual survives the heat")
	}
	g.must(record.StartWarming)
	g.run(10)
	if g.rec.Base.Mode != record.Automatic {
		t.Errorf("base loop is %s in the next batch", g.rec.Base.Mode)
	}
}

// After a restart nothing runs and nothing heats by itself, hot or not; a latch
// that survived keeps the machine tripped, and batch numbers go on.
func TestRestart(t *testing.T) {
	t.Parallel()
	g := coldRig(t, nil).warm()
	g.run(30)
	if g.core.State() != batch.Tripped || g.heatW() != 0 || g.permit.Value(point.HeatEnable) != 0 || !strings.Contains(g.rec.Next, "restarted with a hot machine") {
		t.Errorf("%s, %q", g.core.State(), g.rec.Next)
	}
	g.must(record.ResetTrip).until(batch.RunDown, 1)
	g.run(10)
	if g.permit.Value(point.DrumRun) != 1 || g.permit.Value(point.BlowerRun) != 1 || g.heatW() != 0 {
		t.Error("cooling was asked: drum and air are to run, heat is not")
	}

	g = coldRig(t, nil).warm()
	var err error
	if g.core, err = New(g.m, Restored{Latched: []string{"drum_stall"}, LastBatch: 41}); err != nil {
		t.Fatal(err)
	}
	g.run(10)
	if g.core.State() != batch.Tripped || g.rec.Safety.First != "drum_stall" || g.permit.Value(point.DrumRun) != 0 {
		t.Errorf("%s, first %q", g.core.State(), g.rec.Safety.First)
	}
	g.must(record.ResetTrip).until(batch.RunDown, 1)
	g.to(batch.Roasting)
	if g.rec.Batch.ID != 42 {
		t.Errorf("batch %d follows 41", g.rec.Batch.ID)
	}
}

// A machine kept warm without a charge runs down, however often it has lost
// its warmth meanwhile; one that does not cool calls, and a dead probe does not
// keep it running for ever.
func TestLimits(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	g := newRig(t, func(m *profiles.Machine, _ *profiles.Recipe) {
		m.Batch.IdleMaxS, m.Batch.RunDownMaxS, m.Batch.RunDownHoldS, m.Batch.RunDownBelow = 100, 120, 10, 100
	}).to(batch.Ready)
	g.run(60)
	g.fake = func(i *point.Image) { i.In[point.InletAir].V += 30 }
	g.until(batch.Warming, 1)
	g.fake = nil
	g.until(batch.Ready, 300)
	g.until(batch.RunDown, 60)
	if !g.has(record.Transition, "warm-limit") {
		t.Error("no warm limit")
	}
	g.run(130)
	if !g.has(record.Warning, "run-down-limit") || !strings.Contains(g.rec.Next, "does not cool down") {
		t.Errorf("still %s after its time: %q", g.core.State(), g.rec.Next)
	}
	n := 0
	for _, e := range g.events {
		if e.Name == "run-down-limit" {
			n++
		}
	}
	if n != 1 {
		t.Errorf("called %d times", n)
	}
	g.fake = func(i *point.Image) {
		i.In[point.Exhaust].Quality, i.In[point.Exhaust].Cause = point.Bad, point.OpenProbe
	}
	g.until(batch.Cold, 3600)
}

// Heat that the gate holds back is told with its reason.
func TestHeldBackIsTold(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).load()
	g.must(record.StartWarming)
	if g.rec.Next != "Stand clear: the drum is about to turn." {
		t.Errorf("%q", g.rec.Next)
	}
	g.fake = func(i *point.Image) { i.In[point.AirProving].V = 0 }
	for range 80 {
		if g.step(); strings.HasPrefix(g.rec.Next, "Heat is held back: ") {
			return
		}
	}
	t.Errorf("never told: %q, held back %q", g.rec.Next, g.rec.Safety.HeldBack)
}

// Periods that were missed have passed for the beans too.
func TestMissedPeriods(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Roasting)
	g.run(60)
	for range 100 {
		for range 3 { // the machine goes on, the controller does not
			g.plant.Step(float64(g.m.Scan.PeriodS))
			g.nowS += float64(g.m.Scan.PeriodS)
		}
		g.step()
	}
	if g.core.State() != batch.Roasting {
		t.Fatalf("%s: %s", g.core.State(), g.rec.Safety.First)
	}
	if d := g.core.estimate.ElapsedS - g.rec.Batch.SinceS; d < -0.25 || d > 0.25 {
		t.Errorf("the estimator's clock is %.1f s off", d)
	}
	if d := g.rec.Bean.TrueC - g.plant.Truth().BeanC; d < -3 || d > 3 {
		t.Errorf("the estimate is off by %.1f K", d)
	}
}

// An exception of the machine file reaches the gate with the date of the start;
// without a date none does.
func TestExceptionIsInForce(t *testing.T) {
	t.Parallel()
	for today, holds := range map[string]bool{"2026-11-30": true, "2027-01-01": false, "": false} {
		g := newRig(t, func(m *profiles.Machine, _ *profiles.Recipe) {
			m.Exceptions = []profiles.Exception{{Cause: "mains_low", Who: "Ada", Until: "2026-12-31", Why: "long cable"}}
		})
		core, err := New(g.m, Restored{Today: today, TodayS: 3600})
		if err != nil {
			t.Fatal(err)
		}
		rec := new(record.Scan)
		core.Step(g.nowS, &g.rec.Image, nil, rec)
		if got := rec.Alarms.Stands("mains_low"); got != holds {
			t.Errorf("on %q the exception stands: %v", today, got)
		}
	}
}
