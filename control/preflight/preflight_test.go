package preflight

import (
	"reflect"
	"strings"
	"testing"

	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/profiles"
)

func load(t testing.TB, machine, recipe string) (*profiles.Machine, *profiles.Recipe) {
	t.Helper()
	data, ok := profiles.Example("machines/" + machine + ".yaml")
	if !ok {
		t.Fatal(machine)
	}
	m, err := profiles.ParseMachine(machine, data)
	if err != nil {
		t.Fatal(err)
	}
	if data, ok = profiles.Example("recipes/" + recipe + ".yaml"); !ok {
		t.Fatal(recipe)
	}
	r, err := profiles.ParseRecipe(recipe, data)
	if err != nil {
		t.Fatal(err)
	}
	return m, r
}

func fly(t *testing.T, m *profiles.Machine, r *profiles.Recipe) *Result {
	t.Helper()
	res, err := Run(m, r, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// The shipped recipes are within reach and come out as roasts usually do: turn
// at 60 to 100 s, first crack with the probe at 185 to 207 °C, loss of 10 to 16 %
// (common practice, no source).
func TestShippedRecipes(t *testing.T) {
	peertest.OnceIsEnough(t)
	for _, c := range [][2]string{{"heron-1000", "harbour-medium"}, {"heron-1000", "harbour-bright"}, {"lark-300", "window-stages"}} {
		m, r := load(t, c[0], c[1])
		res := fly(t, m, r)
		if !res.Reachable || len(res.Why) > 0 {
			t.Errorf("%s is beyond reach: %v", c[1], res.Why)
		}
		if res.TurnS < 60 || res.TurnS > 100 || res.Loss < 0.10 || res.Loss > 0.16 || res.CrackS == 0 || res.LossSd <= 0 || res.EnergyKWh <= 0 {
			t.Errorf("%s: %+v", c[1], res)
		}
		for i, x := range res.Moments {
			if x.Name == record.MilestoneFirstCrack && (x.ProbeC < 185 || x.ProbeC > 207) {
				t.Errorf("%s: first crack at %.1f °C", c[1], x.ProbeC)
			}
			if i > 0 && x.AtS < res.Moments[i-1].AtS {
				t.Errorf("%s: moment %s is out of order", c[1], x.Name)
			}
		}
		if again := fly(t, m, r); !reflect.DeepEqual(res, again) {
			t.Errorf("%s: the second flight differs", c[1])
		}
	}
}

// What is beyond the machine is named with its reason.
func TestBeyondReach(t *testing.T) {
	peertest.OnceIsEnough(t)
	hotter := func(r *profiles.Recipe) {
		for i := range r.Curve[1 : len(r.Curve)-2] {
			r.Curve[i+1].Bean += 9
		}
	}
	for _, c := range []struct {
		name, machine, recipe string
		edit                  func(*profiles.Machine, *profiles.Recipe)
		why, limit            string
	}{
		{"a steep curve", "heron-1000", "harbour-bright", func(_ *profiles.Machine, r *profiles.Recipe) { hotter(r) }, "leaves the curve", "highest set point, 335 °C"},
		{"a weak heater", "heron-1000", "harbour-medium", func(m *profiles.Machine, _ *profiles.Recipe) { m.Heaters.Air.PowerW = 2800 }, "leaves the curve", "air heater at its most"},
		{"a heater held at half", "heron-1000", "harbour-medium", func(m *profiles.Machine, _ *profiles.Recipe) { m.Heaters.Air.MaxDuty = 0.6 }, "leaves the curve", "air heater at its most"},
		{"stages of too hot air", "lark-300", "window-stages", func(m *profiles.Machine, _ *profiles.Recipe) { m.Heaters.Air.ElementWPK = 2.3 }, "short of its set point", "air heater at its most"},
		{"too early an end", "heron-1000", "harbour-medium", func(_ *profiles.Machine, r *profiles.Recipe) { r.Drop.LatestS = 500 }, "before the latest time", ""},
		{"an interlock in the way", "heron-1000", "harbour-medium", func(m *profiles.Machine, _ *profiles.Recipe) { m.Limits.InletHigh.At = 300 }, "inlet_high would trip", ""},
	} {
		m, r := load(t, c.machine, c.recipe)
		c.edit(m, r)
		res := fly(t, m, r)
		if res.Reachable || !strings.Contains(strings.Join(res.Why, "\n"), c.why) {
			t.Errorf("%s: reachable %v, %q; want: %s", c.name, res.Reachable, res.Why, c.why)
		}
		found := c.limit == ""
		for _, l := range res.Limits {
			found = found || strings.Contains(l.What, c.limit) && l.ToS > l.FromS && l.OffC > 1
		}
		if !found {
			t.Errorf("%s: limits %+v; want: %s", c.name, res.Limits, c.limit)
		}
		if f := res.Forecast(); f.Reachable || f.Why != res.Why[0] || !f.Made {
			t.Errorf("%s: forecast %+v", c.name, f)
		}
	}
}

// A recipe that the machine cannot take at all is an error.
func TestMisfit(t *testing.T) {
	m, _ := load(t, "lark-300", "window-stages")
	_, r := load(t, "heron-1000", "harbour-medium")
	if _, err := Run(m, r, nil, nil); err == nil || !strings.Contains(err.Error(), "charge.green") {
		t.Errorf("1 kg on a machine for 300 g: %v", err)
	}
}

func BenchmarkRun(b *testing.B) {
	m, r := load(b, "heron-1000", "harbour-medium")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Run(m, r, nil, nil); err != nil {
			b.Fatal(err)
		}
	}
}
