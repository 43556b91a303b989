package control

import (
	"slices"
	"testing"

	"drumwright/control/batch"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety"
)

// rig is a controller on the simulated machine without a fieldbus: readings go
// straight into the image and the permit straight into the machine.
type rig struct {
	testing.TB
	m      *profiles.Machine
	recipe *profiles.Recipe
	core   *Controller
	plant  *plant.Machine
	fake   func(*point.Image) // changes what is read; may be nil
	img    point.Image
	rec    record.Scan
	permit safety.Permit
	nowS   float64
	events []record.Event
	beat   uint16
	reset  bool
}

func files(t testing.TB) (*profiles.Machine, *profiles.Recipe) {
	t.Helper()
	return read(t, "heron-1000", "harbour-medium")
}

func read(t testing.TB, machine, recipe string) (*profiles.Machine, *profiles.Recipe) {
	t.Helper()
	data, _ := profiles.Example("machines/" + machine + ".yaml")
	m, err := profiles.ParseMachine(machine, data)
	if err != nil {
		t.Fatal(err)
	}
	data, _ = profiles.Example("recipes/" + recipe + ".yaml")
	r, err := profiles.ParseRecipe(recipe, data)
	if err != nil {
		t.Fatal(err)
	}
	return m, r
}

// newRig makes a rig that was started cold and whose machine has been warm for
// a while. edit may change machine and recipe first.
func newRig(t testing.TB, edit func(*profiles.Machine, *profiles.Recipe)) *rig {
	t.Helper()
	g := coldRig(t, edit)
	g.step()
	return g.warm()
}

func coldRig(t testing.TB, edit func(*profiles.Machine, *profiles.Recipe)) *rig {
	t.Helper()
	m, r := files(t)
	m.Batch.SoakS = 5
	if edit != nil {
		edit(m, r)
	}
	return rigOf(t, m, r)
}

func rigOf(t testing.TB, m *profiles.Machine, r *profiles.Recipe) *rig {
	t.Helper()
	g := &rig{TB: t, m: m, recipe: r}
	var err error
	if g.plant, err = plant.New(registers.ParamsFor(m), 1); err != nil {
		t.Fatal(err)
	}
	if g.core, err = New(m, Restored{}); err != nil {
		t.Fatal(err)
	}
	return g
}

// warm puts the heat of a preheat into the machine.
func (g *rig) warm() *rig {
	skin := float64(g.recipe.Charge.Skin)
	g.plant.WarmStart(plant.Warm{SkinC: skin, InletC: float64(g.recipe.Charge.Air), ExhaustC: skin - 5, RadiantW: 250})
	return g
}

func (g *rig) step(cmds ...Command) {
	h := float64(g.m.Scan.PeriodS)
	g.nowS += h
	v := g.permit.Value
	if v(point.Heartbeat) >= 0.5 != (g.beat%2 == 1) {
		g.beat++
	}
	g.plant.SetCommands(plant.Commands{DrumRun: v(point.DrumRun) >= 0.5, DrumHz: v(point.DrumSpeed), BlowerRun: v(point.BlowerRun) >= 0.5,
		BlowerHz: v(point.BlowerSpeed), AirHeaterDuty: v(point.AirHeaterPower), RadiantDuty: v(point.RadiantPower),
		HeatEnable: v(point.HeatEnable) >= 0.5, Heartbeat: g.beat, CoolingFan: v(point.CoolingFan) >= 0.5, Stirrer: v(point.Stirrer) >= 0.5})
	g.plant.Step(h)
	g.read()
	if g.fake != nil {
		g.fake(&g.img)
	}
	g.permit = g.core.Step(g.nowS, &g.img, cmds, &g.rec)
	g.events = append(g.events, g.rec.Events[:g.rec.NumEvents]...)
}

// read fills the image with what the machine reports.
func (g *rig) read() {
	r := g.plant.Readings()
	put := func(i point.Input, v float64) {
		g.img.In[i] = point.Value{}
		if g.m.HasIn[i] {
			g.img.In[i] = point.Value{V: v, Quality: point.Good}
		}
	}
	is := func(b bool) float64 {
		if b {
			return 1
		}
		return 0
	}
	drive := func(d plant.DriveReading) float64 {
		switch {
		case d.Fault:
			return point.DriveFault
		case d.Running:
			return point.DriveRunning
		}
		return point.DriveStopped
	}
	for i, p := range [point.NumInputs]*plant.ProbeReading{point.Bean: &r.BeanProbe, point.InletAir: &r.InletProbe, point.DrumSkin: &r.SkinProbe,
		point.Exhaust: &r.ExhaustProbe, point.HeaterElement: &r.ElementProbe, point.HighLimit: &r.LimitProbe, point.Ambient: &r.AmbientProbe, point.CoolingTray: &r.TrayProbe} {
		i := point.Input(i)
		if p == nil {
			continue
		}
		put(i, p.C)
		if p.Status == plant.ProbeOpen {
			g.img.In[i].Quality, g.img.In[i].Cause = point.Bad, point.OpenProbe
		}
	}
	put(point.DrumPulses, float64(r.DrumPulses))
	put(point.AirFlow, r.AirFlowKgPerH)
	put(point.DrumStatus, drive(r.DrumDrive))
	put(point.BlowerStatus, drive(r.BlowerDrive))
	put(point.DrumFault, is(r.DrumDrive.Fault))
	put(point.BlowerFault, is(r.BlowerDrive.Fault))
	put(point.AirProving, is(r.AirProven))
	put(point.CoolingFanRunning, is(r.CoolingFanRunning))
	put(point.CoverClosed, is(r.CoverClosed))
	put(point.EmergencyStopHealthy, is(r.EStopHealthy))
	put(point.HighLimitHealthy, is(r.LimitHealthy))
	put(point.ContactorClosed, is(r.ContactorClosed))
	put(point.ChargeGateOpen, is(r.ChargeGateOpen))
	put(point.DischargeDoorOpen, is(r.DischargeOpen))
	put(point.ResetButton, is(g.reset))
	put(point.FireButton, 0)
}

func (g *rig) run(s float64) {
	for end := g.nowS + s - 1e-9; g.nowS < end; {
		g.step()
	}
}

// until steps until the state is reached, for at most s.
func (g *rig) until(s batch.State, limitS float64) *rig {
	g.Helper()
	for end := g.nowS + limitS; g.core.State() != s; {
		if g.step(); g.nowS > end {
			g.Fatalf("no %s within %.0f s: %s, %s, held back: %s, events %v", s, limitS, g.rec.State, g.rec.Next, g.rec.Safety.HeldBack, g.events)
		}
	}
	return g
}

func (g *rig) local(k record.Kind) record.Answer {
	return g.ask(Command{Command: record.Command{Kind: k, Local: true, Who: "Ada"}})
}

// ask gives a command. What the record offered just before must be what becomes
// of it, but for commands whose answer hangs on what comes with them.
func (g *rig) ask(c Command) record.Answer {
	g.Helper()
	offered, fresh := g.rec.NotNow, g.core.offer.begun && g.core.offer.atS == g.core.nowS
	cmds := []Command{c}
	g.step(cmds...)
	a := cmds[0].Answer
	if i := slices.Index(record.Kinds[:], c.Kind); i >= 0 && fresh && c.Local && c.Who != "" && c.Loop == "" && c.SkinMMPerS == 0 && c.Kind != record.DropAt && c.GreenKg == 0 && c.Kind != record.LoadRecipe && c.Cause == "" {
		if a.Accepted != (offered[i] == "") {
			g.Errorf("%s was offered as %q, and answered %+v", c.Kind, offered[i], a)
		}
	}
	return a
}

func (g *rig) must(k record.Kind) *rig {
	g.Helper()
	if a := g.local(k); !a.Accepted {
		g.Fatalf("%s is refused: %s", k, a.Reason)
	}
	return g
}

func (g *rig) load() *rig {
	g.Helper()
	if a := g.ask(Command{Command: record.Command{Kind: record.LoadRecipe}, Loaded: g.recipe}); !a.Accepted {
		g.Fatal(a.Reason)
	}
	return g
}

func (g *rig) charge() *rig {
	g.Helper()
	if err := g.plant.Charge(float64(g.recipe.Charge.Green), 0.11); err != nil {
		g.Fatal(err)
	}
	return g
}

// to brings the rig into a state along the usual way.
func (g *rig) to(s batch.State) *rig {
	g.Helper()
	if s == batch.Cold {
		g.step()
		return g
	}
	g.load().must(record.StartWarming)
	switch s {
	case batch.Warming:
		return g
	case batch.RunDown:
		return g.must(record.Stop)
	case batch.Held:
		g.run(10) // the drum turns by then
		return g.must(record.Hold)
	case batch.Tripped:
		g.inject("estop_pressed")
		return g.until(s, 1)
	}
	g.until(batch.Ready, 900)
	g.run(10) // heat is on by then
	if s == batch.Ready {
		return g
	}
	g.charge().until(batch.Charging, 1)
	if s == batch.Charging {
		return g
	}
	g.until(batch.Roasting, 20)
	if s == batch.Roasting {
		return g
	}
	g.run(190)
	g.must(record.DropNow)
	if s == batch.Discharging {
		return g
	}
	g.plant.Drop()
	return g.until(batch.Cooling, 60)
}

func (g *rig) inject(fault string) {
	g.Helper()
	if err := g.plant.Inject(fault); err != nil {
		g.Fatal(err)
	}
}

func (g *rig) has(k record.EventKind, name string) bool {
	for _, e := range g.events {
		if e.Kind == k && e.Name == name {
			return true
		}
	}
	return false
}

// heatW is what the heaters give, by the machine's truth.
func (g *rig) heatW() float64 {
	t := g.plant.Truth()
	return t.AirHeaterW + t.RadiantW
}
