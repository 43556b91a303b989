package preflight

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"drumwright/control/bean"
	"drumwright/control/learn"
	"drumwright/control/observe"
	"drumwright/io/peertest"
	"drumwright/io/record"
)

// What batches of a coffee have taught stands in its preflight: it cracks where it
// was heard, as surely as that says, and loses what it weighed. What the learned
// rate and the lead of the skin make up for is not of the model, and changes nothing.
func TestLearned(t *testing.T) {
	peertest.OnceIsEnough(t)
	m, r := load(t, "heron-1000", "harbour-medium")
	usual := fly(t, m, r)
	l := &learn.Lessons{Recipe: r.Name}
	told := bean.MoistureDryBasis(float64(r.Charge.Moisture))
	green := float64(r.Charge.Green)
	lost := usual.Loss + 0.01
	for range 3 {
		res := learnedFlight(t, l)
		c := learn.Course{Loss: res.Loss, GreenDB: l.Coffee.MoistureAdd + told,
			Weighing: observe.Weighing{LossBy: [observe.NLasting]float64{0.04, 0.008, 0.45, 0.003}, GreenBy: [observe.NLasting]float64{0, 0.02, 1}, Rest: [3]float64{4e-7, 0, 4e-7}}}
		l.Coffee = l.Coffee.After(green, green*(1-lost), c.Seen(l, told, r.Charge.MoistureKnown, float64(m.Bed.GasShareSd)))
		l.Coffee = l.Coffee.Heard(201, math.NaN())
	}
	res := learnedFlight(t, l)
	if res.Heard != 3 || res.Weighed != 3 || res.CrackBeanC != 201 || usual.Heard != 0 || usual.CrackBeanC != 197.5 {
		t.Errorf("learned %+v, usual %+v", res, usual)
	}
	if i := slices.IndexFunc(res.Moments, func(x Moment) bool { return x.Name == record.MilestoneFirstCrack }); i < 0 || math.Abs(res.Moments[i].BeanC-201) > 0.2 {
		t.Errorf("heard at 201 °C, in the flight: %+v", res.Moments)
	}
	// One coffee's batches spread by 0.7 K, less if three came at the same: 0.6 K with
	// what their mean is not sure of, against the 4 K of a coffee never heard, at nearly the same rate of rise.
	if ratio := res.CrackSdS / usual.CrackSdS; res.CrackS <= usual.CrackS || ratio < 0.1 || ratio > 0.3 {
		t.Errorf("first crack at %.0f ± %.1f s, unheard %.0f ± %.1f", res.CrackS, res.CrackSdS, usual.CrackS, usual.CrackSdS)
	}
	if math.Abs(res.Loss-lost) > 0.002 || res.LossSd > usual.LossSd/2 {
		t.Errorf("loss %.4f ± %.4f, weighed %.4f, unweighed %.4f ± %.4f", res.Loss, res.LossSd, lost, usual.Loss, usual.LossSd)
	}
	l.Path.RateKPerS, l.Path.Curve, l.Path.SkinLeadK = make([]float64, 60), "any", [2]float64{9, -9}
	for i := range l.Path.RateKPerS {
		l.Path.RateKPerS[i] = 0.05
	}
	if again := learnedFlight(t, l); !reflect.DeepEqual(res, again) {
		t.Error("a learned rate changed the flight on the model")
	}
	if res.RmsC > reachRmsC {
		t.Errorf("off the curve by %.2f °C rms", res.RmsC)
	}
}

func learnedFlight(t *testing.T, l *learn.Lessons) *Result {
	t.Helper()
	m, r := load(t, "heron-1000", "harbour-medium")
	res, err := Run(m, r, l, nil)
	if err != nil {
		t.Fatal(err)
	}
	return res
}
