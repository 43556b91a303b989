package campaign

import "slices"

// Elsewhere is a hazard that cannot be played here.
type Elsewhere struct {
	Hazard string `json:"row"`
	What   string `json:"what"`
	By     string `json:"by"` // package and test that covers it; "" = nothing does
}

// NotHere lists the hazards that the campaign does not judge, in order.
func NotHere() []Elsewhere { return slices.Clone(elsewhere) }

var elsewhere = []Elsewhere{
	{"H14", "proof test of the high limit overdue", "control.TestBarHoldsUpEveryWayToANewRoast"},
	{"H24", "the controller asks for heat that it must not have", "safety.TestNeverUnsafe"},
	{"H50", "serial adapter under another name", "io/fieldbus.TestNothingIsWrittenToAForeignDevice"},
	{"H52", "the process panics in a scan", "control.TestRunnerPanic"},
	{"H55", "the process is killed and comes back", "cmd/drumwright.TestKilledAtAnyMoment"},
	{"H56", "the computer loses power", "io/journal.TestKilledWriterLosesAtMostTwoSeconds"},
	{"H58", "the wall clock steps", "control.TestStepsOfTheWallClockMoveNothing"},
	{"H59", "disk full", "cmd/drumwright.TestFullAndReadOnlyDisk"},
	{"H60", "disk slow or read-only", "cmd/drumwright.TestFullAndReadOnlyDisk"},
	{"H61", "a file half written", "profiles.TestBrokenFilesAreRefused"},
	{"H62", "broker down or slow", "io/telemetry.TestMQTTOutages"},
	{"H64", "memory exhausted, board hot", "safety.TestTheTableIsTriedWhole"},
	{"H65", "stop of the service in a roast", "cmd/drumwright.TestStopInABatch"},
	{"H75", "alarm silenced and ignored", "safety.TestHornUntilSilencedAndAgain"},
	{"H88", "one channel of the emergency stop welded: by hardware, the safety relay alone", ""},
}
