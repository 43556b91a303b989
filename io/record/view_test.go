package record_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

var update = flag.Bool("update", false, "rewrite golden files")

func TestViewGolden(t *testing.T) {
	s := recordtest.Roasting()
	var idle record.Scan // nothing read yet, estimator off
	idle.State, idle.Bean.EstimatorOff = "cold", true
	for name, v := range map[string]any{
		"roasting.json": record.NewView(&s),
		"idle.json":     record.NewView(&idle),
		"event.json":    record.NewEventView(&s, 0),
		"alarms.json":   record.NewAlarmsView(&s),
	} {
		got, err := json.MarshalIndent(v, "", "  ")
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		got = append(got, '\n')
		path := filepath.Join("testdata", name)
		if *update {
			if err := os.WriteFile(path, got, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s differs from the golden file (rewrite it with -update if that is meant):\n%s", name, got)
		}
	}
}

func TestViewOfDoubtfulValues(t *testing.T) {
	for _, c := range []struct {
		name  string
		value point.Value
		want  string // JSON of the value; "" = point left out
	}{
		{"good", point.Value{V: 20, Quality: point.Good}, "20"},
		{"good and zero", point.Value{V: 0, Quality: point.Good}, "0"},
		{"uncertain", point.Value{V: 20, Quality: point.Uncertain, Cause: point.Timeout}, "20"},
		{"bad", point.Value{V: 20, Quality: point.Bad, Cause: point.OpenProbe}, "null"},
		{"good but not finite", point.Value{V: math.NaN(), Quality: point.Good}, "null"},
		{"absent", point.Value{}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			var s record.Scan
			s.Image.In[point.Bean] = c.value
			v := record.NewView(&s)
			p, ok := v.Points["bean"]
			if ok != (c.want != "") {
				t.Fatalf("point in view: %v", ok)
			}
			if !ok {
				return
			}
			if p.Quality != c.value.Quality.String() || p.Cause != c.value.Cause.String() || v.Quality != p.Quality {
				t.Errorf("quality %q cause %q, of the whole %q; want %v %v", p.Quality, p.Cause, v.Quality, c.value.Quality, c.value.Cause)
			}
			if b, err := json.Marshal(p.Value); err != nil || string(b) != c.want {
				t.Errorf("value %s, %v; want %s", b, err, c.want)
			}
		})
	}
}

// Whatever numbers a scan holds, its view is JSON that a strict reader takes.
func TestViewSurvivesNumbersThatAreNone(t *testing.T) {
	s := recordtest.Roasting()
	poison(reflect.ValueOf(&s).Elem())
	b, err := json.Marshal(record.NewView(&s))
	if err != nil {
		t.Fatal(err)
	}
	var back record.View
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatalf("%v in %s", err, b)
	}
	if back.Air.Duty.Known() || back.Bean.TrueC.Known() || back.Points["bean"].Value.Known() {
		t.Errorf("a number that is none came back as one: %s", b)
	}
}

// poison sets every float64 below v to NaN.
func poison(v reflect.Value) {
	switch v.Kind() {
	case reflect.Float64:
		v.SetFloat(math.NaN())
	case reflect.Struct:
		for i := range v.NumField() {
			poison(v.Field(i))
		}
	case reflect.Array:
		for i := range v.Len() {
			poison(v.Index(i))
		}
	}
}

func TestChanged(t *testing.T) {
	a := recordtest.Roasting()
	for _, c := range []struct {
		name           string
		edit           func(*record.Scan)
		status, alarms bool
	}{
		{"nothing", func(*record.Scan) {}, false, false},
		{"time runs", func(s *record.Scan) { *s = recordtest.At(7) }, false, false},
		{"state", func(s *record.Scan) { s.State = "discharging" }, true, false},
		{"mode", func(s *record.Scan) { s.Base.Mode = record.Manual }, true, false},
		{"first crack", func(s *record.Scan) { s.Batch.FirstCrackS = 410 }, true, false},
		{"trip", func(s *record.Scan) { s.Safety.Tripped = true }, true, true},
		{"one more cause stands", func(s *record.Scan) { s.Safety.NumStanding = 2 }, true, true},
		{"an alarm is acknowledged", func(s *record.Scan) { s.Alarms.List[2].AckedBy, s.Alarms.List[2].State = "Ada", record.AlarmNormal }, true, true},
		{"the horn", func(s *record.Scan) { s.Alarms.Horn = true }, true, true},
		{"a value that is no number", func(s *record.Scan) { s.Alarms.List[1].Value = math.NaN() }, false, false},
	} {
		b := a
		c.edit(&b)
		if got := record.Changed(&a, &b); got != c.status {
			t.Errorf("%s: Changed %v, want %v", c.name, got, c.status)
		}
		if got := record.AlarmsChanged(&a, &b); got != c.alarms {
			t.Errorf("%s: AlarmsChanged %v, want %v", c.name, got, c.alarms)
		}
	}
}

func TestNumber(t *testing.T) {
	for _, c := range []struct {
		in   float64
		want string
	}{{198.20000000000002, "198.2"}, {0, "0"}, {math.Copysign(0, -1), "0"}, {-1e-9, "0"}, {1e-6, "0.000001"},
		{math.NaN(), "null"}, {math.Inf(-1), "null"}, {math.MaxFloat64, "1.7976931348623157e+308"}, {3125, "3125"}} {
		b, err := json.Marshal(record.Number(c.in))
		if err != nil || string(b) != c.want {
			t.Errorf("%v is written %s, %v; want %s", c.in, b, err, c.want)
		}
	}
}
