package control

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"drumwright/control/batch"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
)

// stormSights are what may be wrong with what is read, or happen at the machine.
var stormSights = []struct {
	name string
	fake func(*point.Image)
}{
	{"as it is", func(*point.Image) {}},
	{"cover open", func(i *point.Image) { i.In[point.CoverClosed].V = 0 }},
	{"cover unread", func(i *point.Image) { i.In[point.CoverClosed] = point.Value{Quality: point.Bad, Cause: point.Timeout} }},
	{"gate open", func(i *point.Image) { i.In[point.ChargeGateOpen].V = 1 }},
	{"door open", func(i *point.Image) { i.In[point.DischargeDoorOpen].V = 1 }},
	{"emergency stop", func(i *point.Image) { i.In[point.EmergencyStopHealthy].V = 0 }},
	{"fire button", func(i *point.Image) { i.In[point.FireButton].V = 1 }},
	{"bean probe open", func(i *point.Image) { i.In[point.Bean] = point.Value{Quality: point.Bad, Cause: point.OpenProbe} }},
	{"inlet no number", func(i *point.Image) { i.In[point.InletAir].V = math.NaN() }},
	{"skin no number", func(i *point.Image) { i.In[point.DrumSkin].V = math.Inf(1) }},
	{"all hot", func(i *point.Image) { i.In[point.Bean].V, i.In[point.DrumSkin].V = 232, 298 }},
	{"plunge", func(i *point.Image) { i.In[point.Bean].V = 60 }},
	{"contactor closed", func(i *point.Image) { i.In[point.ContactorClosed].V = 1 }},
	{"reset button", func(i *point.Image) { i.In[point.ResetButton].V = 1 }},
}

var stormBars = []Bar{{}, {}, {Charge: "a proof test is overdue"}, {Warm: "a proof test is overdue", Charge: "a proof test is overdue"}}

func drawCommand(t *rapid.T, g *rig) Command {
	c := Command{Command: record.Command{Kind: rapid.SampledFrom(record.Kinds[:]).Draw(t, "kind"), Local: rapid.IntRange(0, 4).Draw(t, "local") > 0,
		Who: rapid.SampledFrom([]string{"Ada", "Ada", ""}).Draw(t, "who"), Loop: rapid.SampledFrom([]string{"air", "base", "drum"}).Draw(t, "loop"),
		Method: rapid.SampledFrom([]string{"step", "relay", ""}).Draw(t, "method")}}
	number := func(name string, plain float64) float64 {
		return rapid.SampledFrom([]float64{plain, plain, plain, 0, -1, 1, 1e9, math.NaN(), math.Inf(1), math.Inf(-1)}).Draw(t, name)
	}
	c.Value, c.LimitK, c.SkinMMPerS, c.FlowKgPerH = number("value", 0.1), number("limit", 10), number("speed", 380), number("flow", 0)
	if c.Kind == record.LoadRecipe && rapid.IntRange(0, 3).Draw(t, "recipe") > 0 {
		c.Loaded = g.recipe
	}
	return c
}

// checkScan is what must be so after every scan, whatever is said and read.
func checkScan(t *rapid.T, g *rig, was *stormWas) {
	c, p := g.core, &g.permit
	heat := p.Value(point.HeatEnable) >= 0.5 || p.Value(point.AirHeaterPower) > 0 || p.Value(point.RadiantPower) > 0
	say := func(what string) {
		t.Fatalf("%s: %s at %.1f s, turn %v, trial %v, permit %v, latched %v, events %v", what, c.state, g.nowS, c.turn.on(), c.trial.run.Active(), p.Values(), c.Latched(), g.rec.Events[:g.rec.NumEvents])
	}
	for o := range point.NumOutputs {
		if v := p.Value(o); math.IsNaN(v) || v < 0 || math.IsInf(v, 0) {
			say(fmt.Sprintf("%s is %v", o, v))
		}
	}
	running := p.Value(point.DrumRun) >= 0.5
	switch {
	case heat && c.Tripped():
		say("heat with a trip standing")
	case heat && !c.heats():
		say("heat in a state that uses none")
	case heat && (!running || p.Value(point.BlowerRun) < 0.5):
		say("heat without drum and air")
	case heat && was.tripped:
		say("heat in the scan after a trip")
	case heat && c.bar.Warm != "" && !was.heat && !c.roast.beansIn:
		say("heat begins with new roasts held up")
	case heat && g.img.In[point.EmergencyStopHealthy].Off():
		say("heat with the emergency stop pressed")
	case c.turn.on() && (heat || c.state != batch.Cold || !c.roast.beansIn):
		say("turned by hand in a machine that is not cold, or beans are forgotten")
	case c.turn.on() && (!g.img.In[point.CoverClosed].On() || g.img.In[point.DischargeDoorOpen].On()):
		say("turned by hand with a cover or door open")
	case c.trial.run.Moving() && (c.state != batch.Warming && c.state != batch.Ready || c.Tripped() && was.tripped):
		say("an experiment goes on")
	case running && !was.drum && g.m.Batch.HornS > 0 && !was.horn:
		say("the drum starts without the horn")
	case was.tripped && !c.Tripped() && !g.has(record.Reset, "reset"):
		say("a latch is gone without a reset")
	case c.Tripped() && was.tripped && c.state != batch.Tripped && !g.has(record.Reset, "reset"):
		say("tripped, and the sequence goes on")
	case was.lost(g):
		say("beans are forgotten though nobody has seen them leave")
	}
	*was = stormWas{heat: heat, tripped: c.Tripped(), drum: running, horn: p.Value(point.Horn) >= 0.5, beans: c.roast.beansIn}
	g.events = g.events[:0]
}

// stormWas is how it was after the scan before.
type stormWas struct{ heat, tripped, drum, horn, beans bool }

// lost reports whether beans that were, or may have been, in the drum are not
// any more, without the door or a person having said so.
func (w *stormWas) lost(g *rig) bool {
	if !w.beans || g.core.roast.beansIn {
		return false
	}
	said := g.has(record.Accepted, string(record.Dropped)) || g.img.In[point.DischargeDoorOpen].On() || g.core.roast.doorSeen
	noBeans := g.has(record.Transition, "no-beans")
	return !said && !noBeans
}

// settle is what a sensible person does with a machine that is in order again and
// has cooled, until nothing is latched, the drum is empty and no heat is used. A
// fire is given its time.
func (g *rig) settle(t *rapid.T, was *stormWas) {
	g.fake = func(i *point.Image) {
		for n := range point.NumInputs {
			if n.Role().Kind == point.Temperature && i.In[n].Quality != point.Absent {
				i.In[n] = point.Value{V: 25 + g.nowS/1e7, Quality: point.Good}
			}
		}
	}
	do := [...]record.Kind{record.ResetTrip, record.Dropped, record.Stop}
	g.step()
	g.nowS += 1000
	for range 30 {
		for range 20 {
			g.step()
			checkScan(t, g, was)
		}
		c := g.core
		if !c.Tripped() && !c.roast.beansIn && (c.state == batch.Cold || c.state == batch.RunDown) {
			return
		}
		for _, k := range do {
			g.step(Command{Command: record.Command{Kind: k, Local: true, Who: "Ada"}})
			checkScan(t, g, was)
		}

	}
	t.Fatalf("no way out: %s, latched %v, beans %v, next %q", g.core.state, g.core.Latched(), g.core.roast.beansIn, g.rec.Next)
}

// Commands of every kind in any order, several in one scan, from here and afar,
// with numbers that are none, while contacts, probes, bars and time do what they
// like: no heat that should not be, no drum that starts unwarned, no beans
// forgotten, and always a way out.
func commandStorm(t *rapid.T, tb testing.TB) {
	from := rapid.SampledFrom([]batch.State{batch.Cold, batch.Ready, batch.Roasting, batch.Discharging}).Draw(t, "from")
	g := newRig(tb, nil)
	if from == batch.Cold && rapid.Bool().Draw(t, "cool") {
		g = coldRig(tb, nil)
		g.run(2)
	}
	g.to(from)
	sight := 0
	g.fake = func(i *point.Image) { stormSights[sight].fake(i) }
	g.step()
	was := &stormWas{beans: g.core.roast.beansIn, tripped: g.core.Tripped(), heat: g.permit.Value(point.HeatEnable) >= 0.5, drum: g.permit.Value(point.DrumRun) >= 0.5}
	g.events = g.events[:0]
	for range rapid.IntRange(3, 25).Draw(t, "rounds") {
		if rapid.IntRange(0, 2).Draw(t, "changes") == 0 {
			sight = rapid.IntRange(0, len(stormSights)-1).Draw(t, "sight")
		}
		if rapid.IntRange(0, 5).Draw(t, "bars") == 0 {
			g.core.Bar(rapid.SampledFrom(stormBars).Draw(t, "bar"))
		}
		if rapid.IntRange(0, 9).Draw(t, "jumps") == 0 {
			g.nowS += rapid.SampledFrom([]float64{0.3, 1.5, 60, 7200}).Draw(t, "jump")
		}
		cmds := make([]Command, rapid.IntRange(0, 3).Draw(t, "n"))
		for i := range cmds {
			cmds[i] = drawCommand(t, g)
		}
		g.step(cmds...)
		checkScan(t, g, was)
		for range rapid.SampledFrom([]int{0, 1, 10, 45}).Draw(t, "scans") {
			g.step()
			checkScan(t, g, was)
		}
	}
	sight = 0
	g.core.Bar(Bar{})
	g.settle(t, was)
}

// FuzzCommandStorm plays a few storms as a test; go test -fuzz plays more.
func FuzzCommandStorm(f *testing.F) {
	peertest.OnceIsEnough(f)
	for seed := range byte(16) {
		data := make([]byte, 1<<16)
		_, _ = rand.NewChaCha8([32]byte{seed}).Read(data)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) { rapid.MakeFuzz(func(rt *rapid.T) { commandStorm(rt, t) })(t, data) })
}
