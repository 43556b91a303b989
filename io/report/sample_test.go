package report

import (
	"math"
	"testing"

	"drumwright/io/point"
	"drumwright/io/record"
)

func wholeScan() *record.Scan {
	s := &record.Scan{
		Batch:  record.Batch{ID: 3, SinceS: 200},
		Bean:   record.Bean{TargetC: 150, TrueC: 152, TrueSdC: 0.7, RateKPerS: 0.2, Loss: 0.05, LossSd: 0.002},
		Air:    record.Loop{Mode: record.Cascaded, SetC: 260, Duty: 0.6},
		Base:   record.Loop{Mode: record.Automatic, SetC: 215, Duty: 0.3},
		Drum:   record.Drum{SetMMPerS: 400, MeasuredMMPerS: 398, FlowKgPerH: 65},
		Safety: record.Safety{HeatPermitted: true},
	}
	for i, v := range map[point.Input]float64{point.Bean: 148, point.Bean2: 147, point.InletAir: 261, point.DrumSkin: 214, point.DrumSkin2: 216, point.Exhaust: 140} {
		s.Image.In[i] = point.Value{V: v, Quality: point.Good}
	}
	return s
}

var whole = Sample{S: 200, ProbeC: 148, TargetC: 150, TrueC: 152, TrueSdC: 0.7, InletC: 261, InletSetC: 260,
	SkinC: 214, SkinSetC: 215, ExhaustC: 140, RateKPerMin: 12, Loss: 0.05, LossSd: 0.002,
	DrumMMPerS: 398, DrumSetMMPerS: 400, FlowKgPerH: 65, AirDuty: 0.6, RadiantDuty: 0.3}

func TestSampleOf(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name   string
		change func(*record.Scan)
		want   func(*Sample)
	}{
		{"all known", func(*record.Scan) {}, func(*Sample) {}},
		{"bad probe, second in its place", func(s *record.Scan) { s.Image.In[point.Bean].Quality = point.Bad }, func(d *Sample) { d.ProbeC = 147 }},
		{"both bean probes bad", func(s *record.Scan) {
			s.Image.In[point.Bean].Quality, s.Image.In[point.Bean2].Quality = point.Bad, point.Bad
		}, func(d *Sample) { d.ProbeC = nan }},
		{"uncertain is still read", func(s *record.Scan) { s.Image.In[point.InletAir].Quality = point.Uncertain }, func(*Sample) {}},
		{"inlet air bad", func(s *record.Scan) { s.Image.In[point.InletAir].Quality = point.Bad }, func(d *Sample) { d.InletC = nan }},
		{"no exhaust probe", func(s *record.Scan) { s.Image.In[point.Exhaust] = point.Value{} }, func(d *Sample) { d.ExhaustC = nan }},
		{"no target", func(s *record.Scan) { s.Bean.TargetC = 0 }, func(d *Sample) { d.TargetC = nan }},
		{"no estimate", func(s *record.Scan) { s.Bean.EstimatorOff = true }, func(d *Sample) {
			d.TrueC, d.TrueSdC, d.RateKPerMin, d.Loss, d.LossSd = nan, nan, nan, nan, nan
		}},
		{"loops off", func(s *record.Scan) { s.Air.Mode, s.Base.Mode = record.Off, record.Off }, func(d *Sample) { d.InletSetC, d.SkinSetC = nan, nan }},
		{"drum speed not known", func(s *record.Scan) { s.Drum.MeasuredMMPerS = 0 }, func(d *Sample) { d.DrumMMPerS = nan }},
		{"no heat permitted", func(s *record.Scan) { s.Safety.HeatPermitted = false }, func(d *Sample) { d.AirDuty, d.RadiantDuty = 0, 0 }},
	} {
		s, want := wholeScan(), whole
		c.change(s)
		c.want(&want)
		got := SampleOf(s)
		for _, f := range sampleFields {
			g, w := f.v(&got), f.v(&want)
			if math.IsNaN(g) != math.IsNaN(w) || math.Abs(g-w) > 1e-12 {
				t.Errorf("%s: %s is %v, want %v", c.name, f.name, g, w)
			}
		}
	}
}

var sampleFields = []struct {
	name string
	v    value
}{
	{"S", func(s *Sample) float64 { return s.S }},
	{"ProbeC", func(s *Sample) float64 { return s.ProbeC }},
	{"TargetC", func(s *Sample) float64 { return s.TargetC }},
	{"TrueC", func(s *Sample) float64 { return s.TrueC }},
	{"TrueSdC", func(s *Sample) float64 { return s.TrueSdC }},
	{"InletC", func(s *Sample) float64 { return s.InletC }},
	{"InletSetC", func(s *Sample) float64 { return s.InletSetC }},
	{"SkinC", func(s *Sample) float64 { return s.SkinC }},
	{"SkinSetC", func(s *Sample) float64 { return s.SkinSetC }},
	{"ExhaustC", func(s *Sample) float64 { return s.ExhaustC }},
	{"RateKPerMin", func(s *Sample) float64 { return s.RateKPerMin }},
	{"Loss", func(s *Sample) float64 { return s.Loss }},
	{"LossSd", func(s *Sample) float64 { return s.LossSd }},
	{"DrumMMPerS", func(s *Sample) float64 { return s.DrumMMPerS }},
	{"DrumSetMMPerS", func(s *Sample) float64 { return s.DrumSetMMPerS }},
	{"FlowKgPerH", func(s *Sample) float64 { return s.FlowKgPerH }},
	{"AirDuty", func(s *Sample) float64 { return s.AirDuty }},
	{"RadiantDuty", func(s *Sample) float64 { return s.RadiantDuty }},
}
