package report

import (
	"bytes"
	"math"
	"strings"
	"testing"
)

// The judgement shows where a figure lies in its range, and rings it outside.
func TestSheetJudgement(t *testing.T) {
	nan := math.NaN()
	usual := Judged{Name: "Drop", Value: "209.0 °C", At: 209, Lower: 208, Upper: 210, Least: 0.1}
	above, unknown, unjudged := usual, usual, usual
	above.At, unknown.At, unjudged.Lower, unjudged.Upper = 212, nan, nan, nan
	for _, c := range []struct {
		name string
		j    Judged
		want []string
		not  []string
	}{
		{"in its range", usual, []string{`class="chosen" d="M535 `}, []string{"ring"}}, // the middle of 380 to 690
		{"above", above, []string{"ring", ">3<"}, []string{`class="chosen" d="M535 `}},
		{"not known", unknown, []string{"corridor"}, []string{"ring", "chosen"}},
		{"no range", unjudged, []string{"usual range not known yet"}, []string{"ring", "chosen", "corridor"}},
	} {
		got := string(judgedStrips([]Judged{c.j}))
		for _, w := range c.want {
			if !strings.Contains(got, w) {
				t.Errorf("%s: lacks %q: %s", c.name, w, got)
			}
		}
		for _, w := range c.not {
			if strings.Contains(got, w) {
				t.Errorf("%s: holds %q: %s", c.name, w, got)
			}
		}
	}
}

// A deviation lands where it belongs: ±8 °C over the height of the lane, the rim
// beyond; nothing is drawn while the probe settles or where nothing was measured.
func TestSheetLane(t *testing.T) {
	s := &Sheet{SettledS: 2}
	for i, dev := range []float64{-100, -100, 0, 2, 8, 30, math.NaN(), math.NaN(), math.NaN(), 0, 0} {
		s.Samples = append(s.Samples, Sample{S: float64(i), ProbeC: 200 + dev, TargetC: 200})
	}
	got := string(straightLane(s))
	// x from 46 to 716 over 10 s, y 9 at +8 to 139 at −8.
	if want := `d="M180 74L247 57.8L314 9L381 9M649 74L716 74"`; !strings.Contains(got, want) {
		t.Errorf("lane: %s, want %s", got, want)
	}
}

func TestSheetTakesTextForText(t *testing.T) {
	var b bytes.Buffer
	bad := "<script>alert(1)</script>"
	s := &Sheet{Title: bad, About: bad, Result: bad, JudgedBy: bad, Judged: []Judged{{Name: bad, Value: bad}}, Events: []string{bad}, Notes: []string{bad}, Foot: []string{bad},
		Stages: []StageRow{{bad, bad, bad, bad, bad, bad, bad, bad}}, Marks: []Mark{{1, bad}}, Samples: []Sample{{S: 0}, {S: 1}}}
	if err := WriteSheet(&b, s); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(b.String(), "<script") || strings.Contains(b.String(), "NaN") {
		t.Error(b.String())
	}
	s.Samples[1].S = 0
	if WriteSheet(&b, s) == nil {
		t.Error("time that stands still is drawn")
	}
}
