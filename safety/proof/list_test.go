package proof

import (
	"math"
	"slices"
	"strings"
	"testing"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety"
)

func machine(t *testing.T, name string) *profiles.Machine {
	t.Helper()
	data, ok := profiles.Example("machines/" + name + ".yaml")
	if !ok {
		t.Fatal("no machine " + name)
	}
	m, err := profiles.ParseMachine(name+".yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// The causes and safe states that the tests expect are those of the gate's own
// table, and what a person is told is there.
func TestListFitsTheTable(t *testing.T) {
	for _, name := range []string{"heron-1000", "lark-300"} {
		m := machine(t, name)
		rows := safety.Rows(m)
		seen := map[string]bool{}
		for _, p := range Tests(m) {
			if seen[p.ID] {
				t.Errorf("%s twice", p.ID)
			}
			seen[p.ID] = true
			if p.Title == "" || p.Expected == "" || p.Confirm == "" || p.Occasion == "" || len(p.Steps) == 0 || p.GraceDays <= 0 {
				t.Errorf("%s lacks something: %+v", p.ID, p)
			}
			if p.EveryDays == 0 && !strings.HasPrefix(p.Occasion, "after") {
				t.Errorf("%s has no interval and the occasion %q", p.ID, p.Occasion)
			}
			for _, c := range p.Causes {
				i := slices.IndexFunc(rows, func(r safety.Row) bool { return r.ID == c })
				if i < 0 || rows[i].State.Code() != p.SafeState || rows[i].Warn {
					t.Errorf("%s expects %s to give %s, the table does not", p.ID, c, p.SafeState)
					continue
				}
				// The limit leaves room for the row's own delay and little more.
				if i == slices.IndexFunc(rows, func(r safety.Row) bool { return r.ID == p.Causes[0] }) && rows[i].AfterS > 0 {
					if over := float64(p.LimitS) - rows[i].AfterS; over < 0.2-1e-9 || over > 0.5 {
						t.Errorf("%s: limit %.2f s over a delay of %.2f s", p.ID, float64(p.LimitS), rows[i].AfterS)
					}
				}
			}
			if measured := p.Kind == record.ProofTrip || p.Kind == record.ProofWatch; measured {
				if _, err := NewMeter(&p); err != nil || len(p.Signs) == 0 || p.Heat == "" {
					t.Errorf("%s cannot be measured: %v", p.ID, err)
				}
				if p.Kind == record.ProofTrip && (len(p.Causes) == 0 || !p.LimitS.Known()) {
					t.Errorf("%s has no cause or no limit", p.ID)
				}
			}
		}
	}
}

// Short grace is for the five tests whose failure hurts within seconds.
func TestGrace(t *testing.T) {
	var short []string
	for _, p := range Tests(machine(t, "heron-1000")) {
		switch p.GraceDays {
		case 7:
			short = append(short, p.ID)
		case 30:
		default:
			t.Errorf("%s: grace %d", p.ID, p.GraceDays)
		}
	}
	slices.Sort(short)
	if want := []string{"air-proof", "air-switch-opens", "emergency-stop", "heartbeat", "heater-leak"}; !slices.Equal(short, want) {
		t.Errorf("%v, want %v", short, want)
	}
}

// What a machine has not cannot be tested, and the test says for want of what.
func TestLacking(t *testing.T) {
	m := *machine(t, "heron-1000")
	m.HasIn[point.EmergencyStopHealthy] = false
	m.HasIn[point.AirProving], m.HasIn[point.AirFlow] = false, false
	tests := Tests(&m)
	for id, want := range map[string]string{"emergency-stop": "emergency_stop_healthy", "air-switch-opens": "air_proving", "filter-baseline": "air_flow", "air-proof": ""} {
		p, _ := Find(tests, id)
		if got := strings.Join(p.Lacking, ","); got != want {
			t.Errorf("%s lacks %q, want %q", id, got, want)
		}
	}
	m.HasIn[point.BlowerStatus] = false
	p, _ := Find(Tests(&m), "air-proof")
	if got := strings.Join(p.Lacking, ","); got != "air_proving or air_flow or blower_status" {
		t.Errorf("air-proof lacks %q", got)
	}
}

// scan is a warm idle at n scans of 0.1 s, to be edited.
func scan(n int, edit func(*record.Scan)) *record.Scan {
	s := &record.Scan{N: uint64(n), ScanS: float64(n) / 10}
	s.Safety.HeatPermitted, s.Safety.SafeState = true, "S0"
	in := &s.Image.In
	in[point.EmergencyStopHealthy] = point.Value{V: 1, Quality: point.Good}
	in[point.ContactorClosed] = point.Value{V: 1, Quality: point.Good}
	s.Permit[point.HeatEnable], s.Permit[point.AirHeaterPower] = 1, 0.5
	if edit != nil {
		edit(s)
	}
	return s
}

func off(s *record.Scan) {
	s.Safety.HeatPermitted, s.Safety.Tripped, s.Safety.First, s.Safety.SafeState = false, true, "emergency_stop", "S6"
	s.Permit[point.HeatEnable], s.Permit[point.AirHeaterPower] = 0, 0
}

// The meter times from the first scan with the fault to the contactor's own
// contact, and passes nothing that is late, wrong or that it did not see.
func TestMeter(t *testing.T) {
	p, _ := Find(Tests(machine(t, "heron-1000")), "emergency-stop")
	pressed := func(s *record.Scan) { s.Image.In[point.EmergencyStopHealthy].V = 0 }
	open := func(s *record.Scan) { s.Image.In[point.ContactorClosed].V = 0 }
	both := func(fs ...func(*record.Scan)) func(*record.Scan) {
		return func(s *record.Scan) {
			for _, f := range fs {
				f(s)
			}
		}
	}
	cause := func(c string) func(*record.Scan) { return func(s *record.Scan) { s.Safety.First = c } }
	cold := func(s *record.Scan) { s.Safety.HeatPermitted = false }
	for _, c := range []struct {
		name  string
		scans []func(*record.Scan)
		pass  bool
		void  bool
		s     float64 // NaN: not measured
	}{
		{"at once", []func(*record.Scan){nil, both(pressed, off, open)}, true, false, 0},
		{"two scans", []func(*record.Scan){nil, both(pressed, off), both(pressed, off), both(pressed, off, open)}, true, false, 0.2},
		{"three scans", []func(*record.Scan){nil, pressed, both(pressed, off), both(pressed, off), both(pressed, off, open)}, false, false, 0.3},
		{"a moment before, then for good", []func(*record.Scan){nil, pressed, nil, nil, both(pressed, off, open)}, true, false, 0},
		{"neither fault nor trip", []func(*record.Scan){nil, nil, nil}, false, true, math.NaN()},
		{"wrong cause", []func(*record.Scan){nil, both(pressed, off, open, cause("cover"))}, false, false, math.NaN()},
		{"nothing", []func(*record.Scan){nil, pressed, pressed}, false, false, math.NaN()},
		{"contactor stays", append([]func(*record.Scan){nil}, slices.Repeat([]func(*record.Scan){both(pressed, off)}, 40)...), false, false, math.NaN()},
		{"heat stays permitted", append([]func(*record.Scan){nil}, slices.Repeat([]func(*record.Scan){both(pressed, off, open, func(s *record.Scan) { s.Safety.HeatPermitted = true })}, 40)...), false, false, math.NaN()},
		{"heat was off before", []func(*record.Scan){cold, both(pressed, off, open)}, false, true, math.NaN()},
		{"tripped already", []func(*record.Scan){both(pressed, off, open), both(pressed, off, open)}, false, true, math.NaN()},
	} {
		t.Run(c.name, func(t *testing.T) {
			m, err := NewMeter(p)
			if err != nil {
				t.Fatal(err)
			}
			for i, f := range c.scans {
				m.See(scan(i+1, f))
				m.See(scan(i+1, f)) // the same again: nothing
			}
			f := m.Finding()
			if f.Pass != c.pass || (f.Void != "") != c.void {
				t.Errorf("%+v", f)
			}
			if f.MeasuredS.Known() == math.IsNaN(c.s) || f.MeasuredS.Known() && math.Abs(float64(f.MeasuredS)-c.s) > 1e-9 {
				t.Errorf("measured %v, want %v: %s", f.MeasuredS, c.s, f.Seen)
			}
		})
	}
}

// A drum's standstill is timed from the last pulse, a silent unit from its last
// answer; scans that were not seen widen the resolution that is told.
func TestMeterTimesFromTheLastSignOfLife(t *testing.T) {
	tests := Tests(machine(t, "heron-1000"))
	for _, c := range []struct {
		id, cause, state string
		edit             func(s *record.Scan, stopped bool, sinceS float64)
	}{
		{"drum-stall", "drum_stall", "S3", func(s *record.Scan, stopped bool, _ float64) {
			count := float64(s.N)
			if stopped {
				count = 20
			}
			s.Image.In[point.DrumPulses] = point.Value{V: count, Quality: point.Good}
		}},
		{"bus-loss", "unit_lost", "S1", func(s *record.Scan, stopped bool, sinceS float64) {
			x := point.Value{V: 90, Quality: point.Good}
			if stopped {
				x = point.Value{V: 90, Quality: point.Uncertain, Cause: point.Timeout, AgeS: sinceS}
			}
			s.Image.In[point.Bean] = x
		}},
	} {
		p, _ := Find(tests, c.id)
		m, err := NewMeter(p)
		if err != nil {
			t.Fatal(err)
		}
		for n := 1; n <= 40 && !m.Done(); n += 2 { // every other scan is missed
			m.See(scan(n, func(s *record.Scan) {
				c.edit(s, n >= 21, float64(n-20)/10)
				if n >= 39 {
					off(s)
					s.Image.In[point.ContactorClosed].V = 0
					s.Safety.First, s.Safety.SafeState = c.cause, c.state
				}
			}))
		}
		f := m.Finding()
		// The last life was at 2.0 s, or 2.1 s by what a count can tell; no heat at 3.9 s.
		if got := float64(f.MeasuredS); !f.Pass || got < 1.8-1e-9 || got > 1.9+1e-9 || math.Abs(float64(f.ResolutionS)-0.2) > 1e-9 {
			t.Errorf("%s: %+v", c.id, f)
		}
	}
}
