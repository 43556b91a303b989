package safety_test

import (
	"math"
	"slices"
	"testing"

	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/safety"

	"pgregory.net/rapid"
)

var absurd = []float64{0, 1, 2, -1, 0.5, 20, 50, 150, 234, 244, 246, 320, 351, 660, 1e9, -1e300, math.MaxFloat64, math.Inf(1), math.Inf(-1), math.NaN()}

func drawNumber(t *rapid.T, name string) float64 {
	if rapid.Bool().Draw(t, name+" plain") {
		return rapid.SampledFrom(absurd).Draw(t, name)
	}
	return rapid.Float64().Draw(t, name)
}

// disturb changes a few inputs, wishes and circumstances of a rig.
func disturb(t *rapid.T, r *rig) {
	for range rapid.IntRange(0, 2).Draw(t, "inputs") {
		i := point.Input(rapid.IntRange(0, int(point.NumInputs)-1).Draw(t, "input"))
		if i == point.DrumTurning {
			continue
		}
		if rapid.IntRange(0, 2).Draw(t, "heal") == 0 {
			r.set(i, map[bool]float64{true: 150, false: 1}[i.Role().Kind == point.Temperature])
			continue
		}
		r.img.In[i] = point.Value{V: drawNumber(t, "v"), Quality: point.Quality(rapid.IntRange(1, 3).Draw(t, "quality")),
			Cause: point.Cause(rapid.IntRange(0, int(point.UnknownState)).Draw(t, "cause")), AgeS: drawNumber(t, "age")}
	}
	switch rapid.IntRange(0, 6).Draw(t, "wish") {
	case 0, 1:
		r.wishRoast()
	case 2:
		r.wishNoHeat()
	case 3:
		r.w.Out[rapid.IntRange(0, int(point.NumOutputs)-1).Draw(t, "output")] = drawNumber(t, "wished")
	case 4: // heat is all that is wished
		r.w.Out = [point.NumOutputs]float64{point.HeatEnable: 1, point.AirHeaterPower: 1, point.RadiantPower: 1}
	}
	r.beans = rapid.Bool().Draw(t, "beans")
	r.dt = rapid.SampledFrom([]float64{0.1, 0.1, 0.1, 0.1, 0.05, 0.2, 0.9, 1.2, 0, -3, 60}).Draw(t, "gap")
	r.share = rapid.SampledFrom([]float64{1, 1, 1, 0.5, 0}).Draw(t, "share")
}

// watch is an independent view of a few always-armed causes: since when each has
// stood without a break.
type watch struct {
	since [11]float64
	fresh bool
}

// overdue names a cause that has stood for its delay by the rig's own clock.
func (w *watch) overdue(r *rig) string {
	if !w.fresh {
		w.fresh = true
		for i := range w.since {
			w.since[i] = math.NaN()
		}
	}
	bad := ""
	in := func(i point.Input) point.Value { return r.img.In[i] }
	for k, c := range [...]struct {
		id     string
		stands bool
		afterS float64
	}{
		{"emergency_stop", in(point.EmergencyStopHealthy).Off(), 0},
		{"fire_button", in(point.FireButton).On(), 0},
		{"high_limit", in(point.HighLimitHealthy).Off(), 0},
		{"bean_high", in(point.Bean).Usable() && in(point.Bean).V >= 245, 1},
		{"inlet_high", in(point.InletAir).Usable() && in(point.InletAir).V >= 350, 1},
		{"skin_high", in(point.DrumSkin).Usable() && in(point.DrumSkin).V >= 300, 2},
		{"element_high", in(point.HeaterElement).Usable() && in(point.HeaterElement).V >= 650, 1},
		{"collector_high", in(point.Collector).Usable() && in(point.Collector).V >= 150, 1},
		{"cabinet_high", in(point.Cabinet).Usable() && in(point.Cabinet).V >= 65, 10},
		{"carbon_monoxide", in(point.CarbonMonoxideAlarm).On(), 1},
		{"drum_drive", in(point.DrumFault).Usable() && in(point.DrumFault).V != 0, 0.3},
	} {
		if !c.stands {
			w.since[k] = math.NaN()
			continue
		}
		if math.IsNaN(w.since[k]) {
			w.since[k] = r.now
		}
		if r.now-w.since[k] >= c.afterS-1e-9 {
			bad = c.id
		}
	}
	return bad
}

func checkPermit(t *rapid.T, r *rig, p *safety.Permit) {
	if !p.Issued() {
		t.Fatal("not issued")
	}
	most := [point.NumOutputs]float64{point.AirHeaterPower: 0.9, point.RadiantPower: 0.8, point.DrumSpeed: 65, point.BlowerSpeed: 50}
	for o := range point.NumOutputs {
		v := p.Value(o)
		if m := most[o]; m == 0 && v != 0 && v != 1 || m > 0 && !(v >= 0 && v <= m) {
			t.Fatalf("%s is %v", o, v)
		}
		if safety.IsHeat(o) && !p.Covers(o) {
			t.Fatalf("%s is left as it is", o)
		}
	}
	heat := p.Value(point.HeatEnable) + p.Value(point.AirHeaterPower) + p.Value(point.RadiantPower)
	if heat == 0 {
		return
	}
	if p.Value(point.HeatEnable) != 1 {
		t.Fatal("power without the contactor")
	}
	if r.g.NumLatched() > 0 {
		t.Fatalf("heat while latched: %v", r.g.Latched())
	}
	if p.Value(point.DrumRun) != 1 || p.Value(point.DrumSpeed) < 20 || p.Value(point.BlowerRun) != 1 || p.Value(point.BlowerSpeed) <= 0 {
		t.Fatalf("heat without drum or blower: %v", p.Values())
	}
	if p.Value(point.AirHeaterPower) > 0 && p.Value(point.BlowerSpeed) < 10*(1-1e-9) {
		t.Fatalf("air heater at %v Hz of the blower", p.Value(point.BlowerSpeed))
	}
}

func neverUnsafe(t *rapid.T) {
	var latched []string
	if rapid.Bool().Draw(t, "restored") {
		latched = []string{rapid.SampledFrom([]string{"bean_high", "drum_stall", "fire_button", "no such cause"}).Draw(t, "cause")}
	}
	r := newRig(t, fullMachine(), latched...)
	if latched == nil && rapid.Bool().Draw(t, "begin in a roast") {
		r.roast()
	}
	var w watch
	was := r.g.Latched()
	offSince := 1000.0 // since it was opened although heat was asked for
	for range rapid.IntRange(5, 60).Draw(t, "steps") {
		disturb(t, r)
		before := r.heating()
		for range rapid.IntRange(1, 12).Draw(t, "scans") {
			p := r.scan()
			checkPermit(t, r, &p)
			heat := p.Value(point.HeatEnable) == 1
			if id := w.overdue(r); id != "" && heat {
				t.Fatalf("heat although %s has stood for its delay", id)
			}
			for _, id := range was {
				if !r.latched(id) {
					t.Fatalf("latch %s is gone without a reset", id)
				}
			}
			was = r.g.Latched()
			if heat && !before && offSince < 3 {
				t.Fatalf("the contactor closes again after %v s", offSince)
			}
			if offSince += max(0, r.dt); heat {
				offSince = 1000
			} else if before && r.w.Out[point.HeatEnable] >= 0.5 {
				offSince = 0
			}
			before = heat
		}
		if rapid.IntRange(0, 4).Draw(t, "reset") == 0 {
			who, local := rapid.SampledFrom([]string{"", "Ada"}).Draw(t, "who"), rapid.Bool().Draw(t, "local")
			ok, why := r.g.Reset(who, local, &r.rec)
			if ok && (!local || len(was) == 0) || why == "" {
				t.Fatalf("reset of %v by %q, local %v: %v, %q", was, who, local, ok, why)
			}
			if ok {
				was, offSince = nil, 1000
			} else if !slices.Equal(was, r.g.Latched()) {
				t.Fatalf("a refused reset lifted something: %v, %v", was, r.g.Latched())
			}
		}
		r.g.Alarms().Acknowledge("", "", true, &r.rec)
	}
}

func TestNeverUnsafe(t *testing.T) {
	peertest.OnceIsEnough(t)
	rapid.Check(t, neverUnsafe)
}

func FuzzNeverUnsafe(f *testing.F) { f.Fuzz(rapid.MakeFuzz(neverUnsafe)) }

func TestOnlyAGateIssuesPermits(t *testing.T) {
	var zero safety.Permit
	if zero.Issued() {
		t.Error("the zero permit is issued")
	}
	r := newRig(t, fullMachine())
	r.roast()
	p := r.p
	v := p.Values()
	v[point.AirHeaterPower] = 99
	if p.Value(point.AirHeaterPower) != 0.5 {
		t.Error("a permit can be changed through its values")
	}
	r.set(point.HighLimitHealthy, 0)
	r.scan()
	if p.Value(point.AirHeaterPower) != 0.5 || r.p.Value(point.AirHeaterPower) != 0 {
		t.Error("permits share their values")
	}
	off := safety.HeatOff()
	for o := range point.NumOutputs {
		if !off.Issued() || off.Value(o) != 0 || off.Covers(o) != safety.IsHeat(o) {
			t.Errorf("heat off: %s", o)
		}
	}
}

func TestJudgeAllocatesNothing(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	if n := testing.AllocsPerRun(500, func() { r.scan() }); n != 0 {
		t.Errorf("%v allocations in a scan", n)
	}
	if !r.heating() {
		t.Error("not in a roast")
	}
}

func BenchmarkJudge(b *testing.B) {
	r := newRig(b, fullMachine())
	r.roast()
	b.ReportAllocs()
	var rec record.Scan
	for b.Loop() {
		r.now += 0.1
		r.img.In[point.Bean].V, r.img.In[point.InletAir].V, r.img.In[point.DrumSkin].V = 150+1e-4*float64(r.n%2), 250+1e-4*float64(r.n%2), 220+1e-4*float64(r.n%2)
		r.n++
		r.pulses += 1.0 / 3
		r.img.In[point.DrumPulses].V = math.Mod(math.Floor(r.pulses), 65536)
		r.p = r.g.Judge(safety.Context{ScanS: r.now, PeriodS: 0.1, BeansIn: true, SinceChargeS: 100}, &r.img, &r.w, &rec)
	}
	if !r.heating() {
		b.Fatal("not in a roast")
	}
}
