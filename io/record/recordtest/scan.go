package recordtest

import (
	"time"

	"drumwright/io/point"
	"drumwright/io/record"
)

// Start is the wall clock at scan time 0.
var Start = time.Date(2031, 3, 14, 9, 26, 53, 0, time.UTC)

// Roasting is a scan five minutes and a bit into a batch, with one probe of
// each quality and one event.
func Roasting() record.Scan {
	s := record.Scan{N: 12040, ScanS: 1204, State: "roasting", InS: 312.5, Next: "Listen for first crack.",
		Batch: record.Batch{ID: 41, Recipe: "washed-light", RecipeHash: "6b86b273", GreenKg: 1.2, SinceS: 312.5, TurnS: 78.5, TurnC: 92.25,
			TargetDropC: 207, Stage: 1},
		Bean: record.Bean{Active: true, TargetC: 171, TargetKPerS: 0.16, TrueC: 173.5, TrueSdC: 0.75, RateKPerS: 0.155, RateSdKPerS: 0.01,
			MoistureDB: 0.045, Loss: 0.075, LossSd: 0.004, ProbeLagS: 14, HeatFactor: 1.05},
		Air:    record.Loop{Mode: record.Cascaded, SetC: 262, MeasuredC: 260.5, Duty: 0.625, PowerW: 3125},
		Base:   record.Loop{Mode: record.Automatic, SetC: 190, MeasuredC: 189, Duty: 0.25, PowerW: 500, Limited: true},
		Drum:   record.Drum{SetMMPerS: 820, SetHz: 41.5, MeasuredMMPerS: 818, MeasuredRPM: 52, FlowSetKgPerH: 90, FlowKgPerH: 88.2},
		Safety: record.Safety{HeatPermitted: true, SafeState: "S0", SafeStateName: "normal", NumStanding: 1, Trips: 2},
		Alarms: record.Alarms{Num: 3, Activations: 4, List: [record.MaxAlarms]record.Alarm{
			{ID: "drum_stall", Text: "No pulse from the drum shaft.", Priority: record.PriorityCritical, Count: 1},
			{ID: "exhaust_probe_doubtful", Text: "The exhaust probe answers late.", Priority: record.PriorityMedium, State: record.AlarmAcknowledged,
				AckedBy: "Ada", RaisedS: 1190.5, ReturnedS: 1190.5, AckedS: 1199, Silences: 1, Count: 2, Value: 0.25, Limit: 0.2, Unit: "s"},
			{ID: "mains_low", Text: "The mains voltage is low.", Priority: record.PriorityLow, State: record.AlarmReturned,
				RaisedS: 300, ReturnedS: 321.5, Count: 1, Value: 205, Limit: 207, Unit: "V"}}},
		Timing: record.Timing{PeriodS: 0.1, LatenessS: 0.0006, ReadS: 0.031, StepS: 0.0002, WriteS: 0.012, Overruns: 3},
	}
	s.UnixNano = Start.Add(1204 * time.Second).UnixNano()
	in := &s.Image.In
	in[point.Bean] = point.Value{V: 171.4, Quality: point.Good, AgeS: 0.05}
	in[point.InletAir] = point.Value{V: 260.5, Quality: point.Good, AgeS: 0.05}
	in[point.DrumSkin] = point.Value{V: 189, Quality: point.Good, AgeS: 0.05}
	in[point.Exhaust] = point.Value{V: 201.1, Quality: point.Uncertain, Cause: point.Timeout, AgeS: 0.25}
	in[point.Ambient] = point.Value{V: 21.9, Quality: point.Bad, Cause: point.OpenProbe, AgeS: 40}
	in[point.AirProving] = point.Value{V: 1, Quality: point.Good, AgeS: 0.05}
	in[point.AirHeaterCurrent] = point.Value{V: 13.6, Quality: point.Good, AgeS: 0.05}
	s.Wish = [point.NumOutputs]float64{point.DrumRun: 1, point.DrumSpeed: 41.5, point.BlowerRun: 1, point.BlowerSpeed: 36,
		point.AirHeaterPower: 0.625, point.RadiantPower: 0.25, point.HeatEnable: 1}
	s.Permit = s.Wish
	s.Permit[point.RadiantPower] = 0.2
	s.Add(record.Event{Kind: record.Warning, Name: "exhaust_probe_doubtful", Text: "exhaust probe answers late", Value: 0.25, Limit: 0.2})
	return s
}

// At is Roasting moved by n scans of its period.
func At(n int) record.Scan {
	s := Roasting()
	s.N += uint64(n)
	s.ScanS += float64(n) * s.Timing.PeriodS
	s.InS += float64(n) * s.Timing.PeriodS
	s.Batch.SinceS += float64(n) * s.Timing.PeriodS
	s.UnixNano += int64(float64(n) * s.Timing.PeriodS * 1e9)
	s.NumEvents = 0
	return s
}
