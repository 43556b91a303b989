package profiles_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"drumwright/profiles"
)

// holds parses a quantity and compares it to the last bit.
func holds[T profiles.Quantity](t *testing.T, text string, want float64) {
	t.Helper()
	got, err := profiles.ParseQuantity[T](text)
	if err != nil {
		t.Errorf("%s: %v", text, err)
		return
	}
	if float64(got) != want {
		t.Errorf("%s: got %.17g, want %.17g", text, float64(got), want)
	}
}

// Unit definitions: the SI brochure (9th edition 2019) for prefixes, minute and
// hour; NIST SP 811 for °F = 9/5 °C + 32 (fixed points 32, 212 and -40 °F).
func TestQuantitiesHaveTheirUnits(t *testing.T) {
	holds[profiles.Celsius](t, "184 °C", 184)
	holds[profiles.Celsius](t, "184C", 184)
	holds[profiles.Celsius](t, "-5.5 °C", -5.5)
	holds[profiles.Celsius](t, "32 °F", 0)
	holds[profiles.Celsius](t, "212 °F", 100)
	holds[profiles.Celsius](t, "-40 F", -40)
	holds[profiles.Celsius](t, "184\u00a0°C", 184)
	holds[profiles.Kelvins](t, "8 K", 8)
	holds[profiles.KelvinRate](t, "4 K/s", 4)
	holds[profiles.KelvinRate](t, "30 K/min", 0.5)
	holds[profiles.Seconds](t, "100 ms", 0.1)
	holds[profiles.Seconds](t, "2 min 30 s", 150)
	holds[profiles.Seconds](t, "2min30s", 150)
	holds[profiles.Seconds](t, "1 h", 3600)
	holds[profiles.Seconds](t, "1 h 1 min 1 s 1 ms", 3661.001)
	holds[profiles.Kilograms](t, "820 g", 0.82)
	holds[profiles.Kilograms](t, "1 kg", 1)
	holds[profiles.Share](t, "14 %", 0.14)
	holds[profiles.Share](t, "7%", 0.07)
	holds[profiles.SkinSpeed](t, "428 mm/s", 428)
	holds[profiles.KgPerHour](t, "40 kg/h", 40)
	holds[profiles.Watts](t, "4 kW", 4000)
	holds[profiles.Watts](t, "1200 W", 1200)
	holds[profiles.Hertz](t, "50 Hz", 50)
	holds[profiles.Metres](t, "108 mm", 0.108)
	holds[profiles.Metres](t, "0.2 m", 0.2)
	holds[profiles.JPerK](t, "1.2 kJ/K", 1200)
	holds[profiles.JPerK](t, "160 J/K", 160)
	holds[profiles.WPerK](t, "20 W/K", 20)
	holds[profiles.Volts](t, "230 V", 230)
	holds[profiles.Amperes](t, "8 A", 8)
	holds[profiles.RPM](t, "1420 rpm", 1420)
}

func TestQuantitiesAreRefused(t *testing.T) {
	for _, c := range []struct{ text, say string }{
		{"", "write a number and a unit"},
		{"184", "add the unit"},
		{"184 K", "use the unit °C"},
		{"184 °C 2", "use the unit °C"},
		{"1,5 °C", "decimal point"},
		{"1_000 °C", "use the unit"},
		{"+5 °C", "begin with a plain decimal number"},
		{"5. °C", "use the unit"},
		{".5 °C", "begin with a plain decimal number"},
		{"1e3 °C", "use the unit"},
		{"inf °C", "begin with a plain decimal number"},
		{"NaN °C", "begin with a plain decimal number"},
		{strings.Repeat("9", 400) + " °C", "absurdly large"},
		{strings.Repeat("9", 400) + " °F", "absurdly large"},
	} {
		if v, err := profiles.ParseQuantity[profiles.Celsius](c.text); err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%q: got %v, %v; want an error with %q", c.text, v, err, c.say)
		}
	}
	for _, text := range []string{"30 s 2 min", "2 min 2 min", "1 min -30 s", "1:30", "2 min 30", "5 m", "2 min, 30 s"} {
		if v, err := profiles.ParseQuantity[profiles.Seconds](text); err == nil {
			t.Errorf("%q is read as %v", text, v)
		}
	}
}

func TestQuantitiesAreShownWithUnits(t *testing.T) {
	for _, c := range []struct {
		got  interface{ String() string }
		want string
	}{
		{profiles.Celsius(184), "184 °C"}, {profiles.Share(0.07), "7 %"}, {profiles.Share(0.145), "14.5 %"},
		{profiles.Seconds(0.1), "100 ms"}, {profiles.Seconds(0), "0 s"}, {profiles.Seconds(59.5), "59.5 s"},
		{profiles.Seconds(150.1), "2 min 30.1 s"}, {profiles.Seconds(3600), "1 h"}, {profiles.Seconds(5430), "1 h 30 min 30 s"},
		{profiles.Kilograms(0.82), "820 g"}, {profiles.Kilograms(1.25), "1.25 kg"}, {profiles.Watts(4000), "4 kW"},
		{profiles.Watts(999), "999 W"}, {profiles.Metres(0.108), "108 mm"}, {profiles.JPerK(1200), "1.2 kJ/K"},
		{profiles.KelvinRate(0.15), "0.15 K/s"}, {profiles.RPM(1420), "1420 rpm"},
	} {
		if c.got.String() != c.want {
			t.Errorf("got %s, want %s", c.got, c.want)
		}
	}
}

func roundTrip[T profiles.Quantity](t *rapid.T, v float64) {
	text := T(v).String()
	back, err := profiles.ParseQuantity[T](text)
	if err != nil || float64(back) != v {
		t.Fatalf("%.17g is written %s and read as %.17g (%v)", v, text, float64(back), err)
	}
}

func TestQuantityRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.OneOf(
			rapid.Float64Range(-1e9, 1e9),
			rapid.Map(rapid.IntRange(-1000000, 1000000), func(i int) float64 { return float64(i) / 1000 }),
			rapid.Map(rapid.Float64(), func(f float64) float64 {
				if math.IsNaN(f) || math.IsInf(f, 0) {
					return 0
				}
				return f
			}),
		).Draw(t, "v")
		roundTrip[profiles.Celsius](t, v)
		roundTrip[profiles.Kelvins](t, v)
		roundTrip[profiles.KelvinRate](t, v)
		roundTrip[profiles.Seconds](t, v)
		roundTrip[profiles.Kilograms](t, v)
		roundTrip[profiles.Share](t, v)
		roundTrip[profiles.SkinSpeed](t, v)
		roundTrip[profiles.KgPerHour](t, v)
		roundTrip[profiles.Watts](t, v)
		roundTrip[profiles.Hertz](t, v)
		roundTrip[profiles.Metres](t, v)
		roundTrip[profiles.JPerK](t, v)
		roundTrip[profiles.WPerK](t, v)
		roundTrip[profiles.Volts](t, v)
		roundTrip[profiles.Amperes](t, v)
		roundTrip[profiles.RPM](t, v)
	})
}

func TestTriggers(t *testing.T) {
	for _, c := range []struct {
		text string
		want profiles.Trigger
	}{
		{"charge", profiles.Trigger{Kind: profiles.AtCharge}},
		{"2 min", profiles.Trigger{Kind: profiles.AtTime, Value: 120}},
		{"bean 150 °C", profiles.Trigger{Kind: profiles.AtBean, Value: 150}},
		{"bean 302 °F", profiles.Trigger{Kind: profiles.AtBean, Value: 150}},
		{"loss 6 %", profiles.Trigger{Kind: profiles.AtLoss, Value: 0.06}},
		{"first crack", profiles.Trigger{Kind: profiles.AfterCrack}},
		{"first crack + 30 s", profiles.Trigger{Kind: profiles.AfterCrack, Value: 30}},
		{"first crack+1 min 30 s", profiles.Trigger{Kind: profiles.AfterCrack, Value: 90}},
	} {
		got, err := profiles.ParseTrigger(c.text)
		if err != nil || got != c.want {
			t.Errorf("%s: got %+v, %v", c.text, got, err)
			continue
		}
		if back, err := profiles.ParseTrigger(got.String()); err != nil || back != got {
			t.Errorf("%s is written %s and read as %+v, %v", c.text, got, back, err)
		}
	}
	for _, text := range []string{"", "2", "bean", "bean 150", "loss 6", "loss 60 %", "bean 300 °C", "first crack - 30 s", "crack", "0 s", "Charge"} {
		if got, err := profiles.ParseTrigger(text); err == nil {
			t.Errorf("%q is read as %+v", text, got)
		}
	}
}

func FuzzQuantity(f *testing.F) {
	for _, s := range []string{"184 °C", "363 °F", "2 min 30 s", "1 h 2 min", "100 ms", "14 %", "1.2 kJ/K", "20 K/min", "bean 150 °C", "first crack + 30 s", "0x10 s", "1e9 h"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if v, err := profiles.ParseQuantity[profiles.Seconds](text); err == nil {
			finite(t, text, float64(v))
			if back, err := profiles.ParseQuantity[profiles.Seconds](v.String()); err != nil || back != v {
				t.Errorf("%q: %v is read back as %v, %v", text, v, back, err)
			}
		}
		if v, err := profiles.ParseQuantity[profiles.Celsius](text); err == nil {
			finite(t, text, float64(v))
			if back, err := profiles.ParseQuantity[profiles.Celsius](v.String()); err != nil || back != v {
				t.Errorf("%q: %v is read back as %v, %v", text, v, back, err)
			}
		}
		if v, err := profiles.ParseTrigger(text); err == nil {
			finite(t, text, v.Value)
			if back, err := profiles.ParseTrigger(v.String()); err != nil || back != v {
				t.Errorf("%q: %v is read back as %v, %v", text, v, back, err)
			}
		}
	})
}

func finite(t *testing.T, text string, v float64) {
	t.Helper()
	if math.IsNaN(v) || math.IsInf(v, 0) {
		t.Errorf("%q gives %v", text, v)
	}
}
