package report

import (
	"math"
	"time"

	"drumwright/io/record"
)

// inventedBatch is a batch nobody roasted: smooth curves in the usual shape,
// all numbers invented for the tests. noise in K is a fixed pattern, not chance.
func inventedBatch(id uint64, seconds int, noise float64) Batch {
	nan := math.NaN()
	b := Batch{ID: id}
	jitter := func(i, k int) float64 { return noise * math.Sin(float64(i*i*k%977)) }
	end := float64(seconds)
	for i := range seconds + 1 {
		s := float64(i)
		u := s / end
		bean := 25 + 190*(1-math.Exp(-2.6*u))/(1-math.Exp(-2.6))
		rate := 60 * 190 * 2.6 / end * math.Exp(-2.6*u) / (1 - math.Exp(-2.6)) * (1 - math.Exp(-s/12))
		plunge := 150 * math.Exp(-s/22)
		d := Sample{
			S:             s,
			ProbeC:        bean + plunge - rate/60*9 + jitter(i, 3),
			TargetC:       nan,
			TrueC:         bean,
			TrueSdC:       0.8 + 5*math.Exp(-s/40),
			InletC:        272 - 40*u + 6*math.Sin(s/60) + 2*jitter(i, 5),
			InletSetC:     270 - 40*u,
			SkinC:         212 + 18*u + 3*math.Sin(s/45) + jitter(i, 7),
			SkinSetC:      210 + 20*u,
			ExhaustC:      120 + 70*u - 20*math.Exp(-s/50) + jitter(i, 11),
			RateKPerMin:   rate - 40*math.Exp(-s/10) + 2*jitter(i, 13),
			Loss:          0.148 * u * u * (1.6 - 0.6*u),
			LossSd:        0.001 + 0.004*u,
			DrumMMPerS:    430 - 120*u + 2*jitter(i, 17),
			DrumSetMMPerS: 430 - 120*u,
			FlowKgPerH:    62 + 14*math.Round(3*u)/3,
			AirDuty:       0.72 - 0.3*u + 0.05*math.Sin(s/30),
			RadiantDuty:   0.38 + 0.08*math.Sin(s/50),
		}
		if s >= 80 {
			d.TargetC = bean - rate/60*9 + 1.8*math.Sin(s/70)
		}
		if s >= 300 && s < 325 { // an open exhaust probe
			d.ExhaustC = nan
		}
		b.Samples = append(b.Samples, d)
	}
	b.Events = []Event{
		{0, record.Milestone, record.MilestoneCharge, "batch charged: invented, 820 g"},
		{68, record.Milestone, record.MilestoneTurningPoint, "turning point 88.4 °C"},
		{300, record.Warning, "exhaust_open", "exhaust probe open"},
		{325, record.Cleared, "exhaust_open", "exhaust probe reads again"},
		{0.77 * end, record.Accepted, "first_crack", "first crack heard"},
		{0.77 * end, record.Milestone, record.MilestoneFirstCrack, "first crack heard"},
		{end, record.Milestone, record.MilestoneDrop, "dropped at 213.9 °C"},
		{end + 214, record.Milestone, record.MilestoneCooled, "the beans are cooled"},
	}
	b.Figures = []Figure{
		{"Green mass", "820", "g"}, {"Drop temperature", "213.9", "°C"}, {"Total time", clock(end), "min:s"},
		{"Turning point", "88.4", "°C"}, {"First crack", clock(0.77 * end), "min:s"}, {"Development", "23", "%"},
		{"Loss, estimated", "14.8 ±0.5", "%"}, {"From target", "1.3", "°C rms"}, {"Energy", "–", ""},
	}
	return b
}

// inventedSession is a session of invented batches.
func inventedSession() *Session {
	return &Session{
		Machine: "bench drum 1 (invented)", Site: "test room", Recipe: "even, washed (invented)",
		Note:    "Invented data for tests; nobody roasted this.",
		Start:   time.Date(2026, 11, 25, 14, 5, 0, 0, time.UTC),
		Batches: []Batch{inventedBatch(17, 700, 0.4)},
		Remarks: []string{"Exhaust probe cable found loose at 5:00.", "Clean the chaff collector before the next session."},
	}
}
