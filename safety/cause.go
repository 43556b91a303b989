package safety

import (
	"drumwright/io/point"
	"drumwright/io/record"
)

// Class says how a latched cause is reset.
type Class uint8

// The reset classes.
const (
	Acknowledge Class = iota // a warning: goes by itself
	AtMachine                // latched: gone, and a reset at the machine
	WithFinding              // latched: as AtMachine, with a named person
	HardwareToo              // latched: the hardware is reset first, then as AtMachine
	LookFirst                // latched: a reset at the machine; what was found may still be so
)

// Arming says when a cause is looked at.
type Arming uint8

// The arming conditions.
const (
	Always     Arming = iota
	HeatOn            // heat was permitted in the last scan or is asked for
	BeansIn           // beans are in the drum
	BeansHot          // beans are in the drum or heat is on
	DrumOn            // the drum has been commanded for its starting time
	BlowerOn          // the blower has been commanded for its starting time
	FanOn             // the cooling fan is commanded
	HeatersOff        // both heaters have been at zero
)

// Priority of an alarm.
type Priority = record.Priority

// Priorities in rising order.
const (
	Low      = record.PriorityLow
	Medium   = record.PriorityMedium
	High     = record.PriorityHigh
	Critical = record.PriorityCritical
)

// Row is one cause of the cause-and-effect table: what is looked at, when, for
// how long it must stand, and what follows.
type Row struct {
	ID          string // as configuration, record and alarms name it
	State       SafeState
	Warn        bool // only warns
	Hold        bool // with Warn: also refuses to begin heat, but does not end it
	Fixed       bool // cannot be excepted
	Arm         Arming
	AfterS      float64 // on-delay, s
	Class       Class
	Priority    Priority
	Cause       string // one sentence each
	Consequence string
	Action      string

	signal func(*Gate, *view) finding
}

// finding is what a signal saw in this scan.
type finding struct {
	active  bool
	unknown bool // cannot be seen now, so that nobody can say it is gone
	value   float64
	limit   float64
	unit    string
	cause   point.Cause
	detail  string // which point, in the words of the machine file
}
