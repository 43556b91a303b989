package point_test

import (
	"math"
	"testing"

	"drumwright/io/point"

	"pgregory.net/rapid"
)

func count(v float64) point.Value { return point.Value{V: v, Quality: point.Good} }

// shaft drives a counter of a drum that turns at rpm with perTurn magnets, at
// the given shares of a turn or evenly spaced.
type shaft struct {
	point.Shaft
	magnets []float64 // shares of a turn, rising
	wrap    float64
	turn    float64
	now     float64
	start   float64
}

func newShaft(wrap, start float64, magnets ...float64) *shaft {
	return &shaft{Shaft: point.NewShaft(len(magnets), wrap), magnets: magnets, wrap: wrap, start: start}
}

func even(n int) []float64 {
	m := make([]float64, n)
	for i := range m {
		m[i] = (float64(i) + 0.5) / float64(n)
	}
	return m
}

func (s *shaft) run(seconds, dt, rpm float64) {
	for n := int(math.Round(seconds / dt)); n > 0; n-- {
		s.now += dt
		s.turn += rpm / 60 * dt
		whole := math.Floor(s.turn)
		c := s.start + whole*float64(len(s.magnets))
		for _, m := range s.magnets {
			if s.turn-whole >= m {
				c++
			}
		}
		if s.wrap > 0 {
			c = math.Mod(c, s.wrap)
		}
		s.Update(s.now, count(c))
	}
}

// Turns a minute are 60 times turns a second, whatever the counter, the number
// of magnets or the scan; the arrival of a pulse is known to one scan, so that
// two scans in the two seconds of averaging is the most it can be wrong.
func TestRPM(t *testing.T) {
	for _, c := range []struct {
		name    string
		wrap    float64
		start   float64
		magnets int
		dt, rpm float64
	}{
		{"usual", 1 << 16, 0, 4, 0.1, 55},
		{"16 bit rolls over", 1 << 16, 65530, 4, 0.1, 55},
		{"32 bit rolls over", 1 << 32, 1<<32 - 7, 4, 0.1, 55},
		{"fast scan, many magnets", 1 << 16, 65000, 64, 0.01, 60},
		{"slow drum, many magnets", 1 << 16, 0, 64, 0.01, 12},
		{"one magnet", 1 << 16, 65535, 1, 0.1, 30},
		{"slow scan", 1 << 16, 0, 8, 1, 50},
		{"float counter", 0, 100, 4, 0.1, 40},
	} {
		s := newShaft(c.wrap, c.start, even(c.magnets)...)
		s.run(20, c.dt, c.rpm)
		for range 50 {
			s.run(c.dt, c.dt, c.rpm)
			if got := s.RPM(); math.Abs(got-c.rpm) > c.rpm*2*c.dt/2 {
				t.Errorf("%s: %v rpm, want %v", c.name, got, c.rpm)
				break
			}
		}
	}
}

func TestSignedCounterRollsOver(t *testing.T) {
	s := point.NewShaft(4, point.Int16.Wrap())
	c := 32760.0
	for n := range 60 {
		if c++; c > 32767 {
			c -= 65536
		}
		s.Update(float64(n)*0.25, count(c))
	}
	if got := s.RPM(); math.Abs(got-60) > 0.1 || s.SilentS() != 0 {
		t.Errorf("%v rpm, silent %v", got, s.SilentS())
	}
	if point.Uint16.Wrap() != 65536 || point.Uint32.Wrap() != 4294967296 || point.Int32.Wrap() != 4294967296 || point.Float32.Wrap() != 0 {
		t.Error("wraps")
	}
}

// Four magnets in one quarter of the turn: single gaps say anything between a
// quarter and thirteen times the speed, whole turns say the speed.
func TestUnevenMagnets(t *testing.T) {
	s := newShaft(1<<16, 0, 0.1, 0.16, 0.27, 0.33)
	s.run(10, 0.01, 50)
	for range 300 {
		s.run(0.01, 0.01, 50)
		if got := s.RPM(); math.Abs(got-50) > 1 {
			t.Fatalf("%v rpm at %v s, want 50", got, s.now)
		}
	}
}

// A drum that stops: the silence counts from the last pulse, and the speed
// falls although no pulse comes to tell.
func TestStopIsSeen(t *testing.T) {
	s := newShaft(1<<16, 0, even(4)...)
	s.run(10, 0.1, 60) // four pulses a second
	at10 := s.RPM()
	last := s.SilentS()
	s.run(3, 0.1, 0)
	if got := s.SilentS(); math.Abs(got-last-3) > 1e-9 {
		t.Errorf("silent for %v s, want %v", got, last+3)
	}
	if got := s.RPM(); got > 0.5*at10 || got <= 0 {
		t.Errorf("%v rpm after 3 s without a pulse, before %v", got, at10)
	}
	s.Forget()
	if s.RPM() != 0 || s.SilentS() != 0 {
		t.Errorf("after Forget: %v rpm, silent %v", s.RPM(), s.SilentS())
	}
	s.run(3, 0.1, 60)
	if got := s.RPM(); math.Abs(got-60) > 6 {
		t.Errorf("%v rpm after a new start", got)
	}
}

// What proves no turning: bad values, a counter that was reset, a jump.
func TestJumpsAreNoPulses(t *testing.T) {
	for name, v := range map[string]point.Value{
		"reset":         count(0),
		"one back":      count(40039),
		"jump":          count(41000),
		"not a number":  count(math.NaN()),
		"infinite":      count(math.Inf(1)),
		"uncertain":     {V: 40041, Quality: point.Uncertain},
		"bad":           {V: 40041, Quality: point.Bad},
		"nothing moved": count(40040),
	} {
		s := newShaft(1<<16, 40000, even(4)...)
		s.run(10, 0.1, 60)
		before := s.SilentS()
		s.Update(s.now+0.1, v)
		if got := s.SilentS(); math.Abs(got-before-0.1) > 1e-9 {
			t.Errorf("%s counts as a pulse: silent %v, before %v", name, got, before)
		}
		if got := s.RPM(); got > 70 {
			t.Errorf("%s: %v rpm", name, got)
		}
	}
	// A counter read once a second gathers its pulses.
	s := point.NewShaft(16, 65536)
	for n := range 100 {
		s.Update(float64(n)*0.1, count(16*math.Floor(float64(n)/10)))
	}
	if got := s.RPM(); math.Abs(got-60) > 1e-9 {
		t.Errorf("%v rpm", got)
	}
}

func TestShaftAnySpeed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 64).Draw(t, "magnets")
		rpm := rapid.Float64Range(5, 200).Draw(t, "rpm")
		dt := rapid.SampledFrom([]float64{0.01, 0.05, 0.1, 0.2}).Draw(t, "scan")
		s := newShaft(1<<16, float64(rapid.IntRange(0, 65535).Draw(t, "start")), even(n)...)
		s.run(2*60/rpm+4, dt, rpm)
		// Two scans of arrival in the span, and the part of a pulse gap since the last.
		if got := s.RPM(); math.Abs(got-rpm) > rpm*(2*dt/2+0.05) {
			t.Fatalf("%v rpm, want %v", got, rpm)
		}
	})
}
