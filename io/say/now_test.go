package say_test

import (
	"strings"
	"testing"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/io/record/recordtest"
	"drumwright/io/say"
)

func of(change func(*record.Scan)) say.Now {
	s := recordtest.Roasting()
	if change != nil {
		change(&s)
	}
	v, a := record.NewView(&s), record.NewAlarmsView(&s)
	return say.Of(&v, &a)
}

func TestHeadline(t *testing.T) {
	tripped := func(state, cause string) func(*record.Scan) {
		return func(s *record.Scan) {
			s.State, s.Safety = "tripped", record.Safety{Tripped: true, SafeState: state, First: cause}
			s.Permit, s.Image.In[point.AirHeaterCurrent].V = [point.NumOutputs]float64{}, 0
		}
	}
	for _, c := range []struct {
		change func(*record.Scan)
		want   string
	}{
		{nil, "Roasting, on target"},
		{func(s *record.Scan) { s.Bean.TargetC = 173.8 }, "Roasting, 2.4\u202f°C below target"},
		{func(s *record.Scan) { s.Bean.TargetC = 168 }, "Roasting, 3.4\u202f°C above target"},
		{func(s *record.Scan) { s.Batch.SinceS = 130 }, "Roasting, probe settling"},
		{func(s *record.Scan) { s.Batch.FirstCrackS = 202.5 }, "Roasting, 1\u202fmin 50\u202fs since first crack"},
		{func(s *record.Scan) { s.Image.In[point.Bean] = point.Value{V: 170, Quality: point.Bad} }, "Roasting, bean probe has no reading"},
		{func(s *record.Scan) { s.State = "ready" }, "Ready for beans"},
		{func(s *record.Scan) { s.State, s.ReadyInS = "warming", 760 }, "Warming: ready in about 13\u202fmin"},
		{func(s *record.Scan) { s.State, s.NoReady = "warming", "It is not known." }, "Warming up"},
		{func(s *record.Scan) { s.Batch.DropDueS = 342.4 }, "Drop in about 30\u202fs"},
		{func(s *record.Scan) { s.Batch.DropDueS = 318.5 }, "Drop in 6\u202fs"},
		{func(s *record.Scan) { s.Batch.DropDueS = 267.5 }, "Drop now: 45\u202fs past the end"},
		{func(s *record.Scan) { s.State = "held" }, "Held: beans in the drum"},
		{tripped("S2", "fire_called"), "Suspected fire"},
		{tripped("S4", "air_lost"), "Heat off: no air flow"},
		{tripped("S1", "drum_stall"), "Heat off: drum stall"},
		{tripped("S1", "mains_low"), "Heat off: the mains voltage is low"},
		{tripped("S6", "emergency_stop"), "Emergency stop is pressed"},
		{tripped("S6", "unknown_trip"), "All off: unknown trip"},
	} {
		if got := of(c.change); got.Headline != c.want {
			t.Errorf("%q, want %q", got.Headline, c.want)
		}
	}
	if n := of(tripped("S2", "fire_called")); !n.Fire {
		t.Error("a suspected fire does not open its screen")
	}
}

// "Heat off" is written only where feedback shows it.
func TestHeatOffIsProven(t *testing.T) {
	good := func(v float64) point.Value { return point.Value{V: v, Quality: point.Good} }
	bad := point.Value{V: 0, Quality: point.Bad}
	for _, c := range []struct {
		name               string
		contactor, current point.Value
		want               string
	}{
		{"both show it", good(0), good(0.1), "Heat off"},
		{"no feedback at all", point.Value{}, point.Value{}, "Heat asked off, not confirmed"},
		{"the contactor has welded", good(1), good(0), "Heat asked off, not confirmed"},
		{"current flows", good(0), good(6.1), "Heat asked off, not confirmed"},
		{"the contactor cannot be read", bad, good(0), "Heat asked off, not confirmed"},
		{"no current is measured", good(0), point.Value{}, "Heat off"},
	} {
		n := of(func(s *record.Scan) {
			s.Permit[point.HeatEnable], s.Permit[point.AirHeaterPower], s.Permit[point.RadiantPower] = 0, 0, 0
			s.Image.In[point.ContactorClosed], s.Image.In[point.AirHeaterCurrent] = c.contactor, c.current
		})
		if n.Motion.Heat != c.want {
			t.Errorf("%s: %q, want %q", c.name, n.Motion.Heat, c.want)
		}
	}
}

// A button is there if the controller would take its command, and only then; a
// refusal that is told has a reason.
func TestButtonsAreOffers(t *testing.T) {
	states := []string{"cold", "warming", "ready", "charging", "roasting", "discharging", "cooling", "run-down", "held", "tripped"}
	for _, state := range states {
		for refused := range record.Kinds {
			n := of(func(s *record.Scan) {
				s.State = state
				s.NotNow[refused] = "it is not time"
			})
			seen := map[record.Kind]bool{}
			for _, b := range append(n.Buttons, n.Others...) {
				if b.Kind == record.Kinds[refused] {
					t.Errorf("%s while %s has a button and is refused", b.Kind, state)
				}
				if seen[b.Kind] {
					t.Errorf("%s while %s has two buttons", b.Kind, state)
				}
				if seen[b.Kind] = true; b.Label == "" {
					t.Errorf("%s while %s has no label", b.Kind, state)
				}
			}
			for _, r := range n.NotNow {
				if r.Kind != record.Kinds[refused] || r.Why != "It is not time." || r.Label == "" {
					t.Errorf("%s: %+v", state, r)
				}
			}
		}
		if n := of(func(s *record.Scan) { s.State = state }); len(n.Buttons) == 0 || strings.TrimSpace(n.Headline) == "" {
			t.Errorf("%s: %+v", state, n)
		}
	}
}
