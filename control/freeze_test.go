package control

import (
	"bytes"
	"reflect"
	"testing"

	"drumwright/control/batch"
	"drumwright/control/learn"
	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/profiles"
)

// A controller that is frozen and thawed in any state decides on to the bit like
// the one that was never frozen.
func TestFreezeInEveryState(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	for s := range batch.NumStates {
		g := newRig(t, nil).to(s)
		find := func(string) (*profiles.Recipe, error) { return g.recipe, nil }
		data, err := g.core.Freeze(nil)
		if err != nil {
			t.Fatal(err)
		}
		twin, err := Thaw(g.core.m, find, data)
		if err != nil {
			t.Fatal(err)
		}
		rec := g.rec
		for i := range 300 {
			g.step()
			var cmds []Command
			permit := twin.Step(g.rec.ScanS, &g.rec.Image, cmds, &rec)
			rec.N, rec.UnixNano, rec.Timing = g.rec.N, g.rec.UnixNano, g.rec.Timing
			if permit.Values() != g.permit.Values() || rec != g.rec {
				t.Fatalf("%s: scan %d after the thaw differs\n got %+v\nwant %+v", s, i, rec, g.rec)
			}
		}
		one, err1 := g.core.Freeze(nil)
		two, err2 := twin.Freeze(nil)
		if err1 != nil || err2 != nil || !bytes.Equal(one, two) {
			t.Errorf("%s: the states differ at the end (%v, %v)", s, err1, err2)
		}
	}
}

func TestHeardRoundTrip(t *testing.T) {
	t.Parallel()
	r := &profiles.Recipe{Name: "harbour", Hash: "abc"}
	h := Heard{Bar: Bar{Warm: "overdue"}, Commands: []Command{
		{Command: record.Command{Kind: record.LoadRecipe, Who: "Ada", Local: true}, Loaded: r, Lessons: &learn.Lessons{Recipe: "harbour", Path: learn.Path{RateKPerS: []float64{0, 0.01, -0.02}}, Coffee: learn.Coffee{CrackC: []float64{197}}},
			Forecast: record.Forecast{Made: true, DropS: 620}, Answer: record.Answer{Accepted: true, Reason: "loaded"}},
		{Command: record.Command{Kind: record.SetManual, Loop: "air", Value: 0.25}},
	}}
	data, err := AppendHeard(nil, &h)
	if err != nil {
		t.Fatal(err)
	}
	back, err := ReadHeard(func(hash string) (*profiles.Recipe, error) {
		if hash != "abc" {
			t.Errorf("asked for %q", hash)
		}
		return r, nil
	}, data)
	if err != nil || !reflect.DeepEqual(back, &h) || back.Commands[0].Loaded != r {
		t.Errorf("%+v, %v", back, err)
	}
	for n := range data {
		if _, err := ReadHeard(func(string) (*profiles.Recipe, error) { return r, nil }, data[:n]); err == nil {
			t.Fatalf("%d of %d bytes were read without an error", n, len(data))
		}
	}
}

func BenchmarkFreeze(b *testing.B) {
	g := newRig(b, nil).to(batch.Roasting)
	buf, err := g.core.Freeze(nil)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(len(buf)), "bytes")
	b.ReportAllocs()
	for b.Loop() {
		buf, _ = g.core.Freeze(buf[:0])
	}
}
