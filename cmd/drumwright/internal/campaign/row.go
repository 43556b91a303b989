package campaign

import (
	"drumwright/control/plant/registers"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// Phase is the moment of a batch at which a fault comes.
type Phase int

// The phases.
const (
	Cold    Phase = iota // before warming is asked for
	Warming              // heat on for warmingS, from cold
	Ready                // warm enough for readyS
	Early                // earlyS after charge, near the turning point
	Mid                  // midS after charge
	Late                 // lateS after charge, near first crack
	Drop                 // the drop has been called for
	Cooling              // coolingS after the beans are out
)

var phaseNames = [...]string{"cold", "warming", "ready", "early", "mid", "late", "drop", "cooling"}

func (p Phase) String() string { return phaseNames[p] }

// When the phases come, s.
const (
	warmingS = 20.0
	earlyS   = 40.0
	midS     = 240.0
	lateS    = 500.0
	coolingS = 5.0
	readyS   = 2.0
)

var (
	heated = []Phase{Warming, Early, Mid, Late}
	roast  = []Phase{Early, Mid, Late}
	all    = []Phase{Warming, Early, Mid, Late, Cooling}
)

// Outcome is what must become of a row.
type Outcome int

// The outcomes.
const (
	Trips    Outcome = iota // a latched trip; heat off for good within the limit
	HeatEnds                // heat off within the limit, without a trip
	Warns                   // a warning within the limit; the roast goes on
	Refuses                 // heat never comes, or the command or file is refused
	Bears                   // nothing happens
	Alarms                  // a trip within the limit; heat cannot be taken away
)

// Want is what the machine must truly do at the end of a run.
type Want int

// What drum and air may do.
const (
	Either  Want = iota
	Kept         // moves on
	Stopped      // stands
)

// Act is one thing that is done to the machine or said to the controller.
type Act struct {
	AfterS  float64 // after the first act of the row
	Fault   string  // injected; see package plant
	Clear   string  // taken away
	Silence []point.Input
	Wire    registers.WireFaults
	Fire    bool            // the fire button is pressed for a second
	Say     *record.Command // Local tells panel from network
	HangS   float64         // the controller makes no scan for so long; the machine goes on
	Again   bool            // beans are charged a second time
}

// Row is one thing that goes wrong, and what must come of it.
type Row struct {
	Hazard string // H01 to H93
	Name   string
	By     []Act
	At     []Phase
	Needs  []point.Input                // a machine without these cannot play the row
	Serial bool                         // needs a serial line
	If     func(*profiles.Machine) bool // needs more of the machine file

	Want   Outcome
	Cause  []string // any of these must be the first
	Also   []string // these must trip as well
	State  string   // safe state
	Drum   Want
	Air    Want
	LimitS float64                        // from the fault to what is wanted, at scans of 100 ms
	Delay  func(*profiles.Limits) float64 // instead: the machine file's delay, and two scans
	Relay  bool                           // instead: the time of the relay that watches the life sign
	Window bool                           // a window of the air heater more, where it is switched on and off
	RunOnS float64                        // what the physics need until there is anything to see
	ForS   float64                        // how long to look when nothing is to happen
	TailS  float64                        // how long to look on after the trip; 0 = tailS
	Since  func(*profiles.Machine) (point.Input, float64)
	// Since, if set, starts the clock when this reading reaches this value.

	// What the machine's truth may not pass, K above the moment of the fault or
	// °C; 0 = the bounds of every row. SkinRiseK counts until heat is off: the heat
	// that the panels hold by then goes into the skin whatever is switched, and is
	// bounded as every skin is.
	BeanRiseK, SkinRiseK, ElementRiseK float64
	BeanC, SkinC, InletC               float64

	NeverDrop, NeverCharge bool
	Change                 func(*profiles.Machine, *profiles.Recipe)
	File                   *File
}

// File is a shipped file in which one text is replaced by another; it must be
// refused.
type File struct {
	Name     string // as profiles.Example knows it
	Old, New string
}

// Bounds of every row: what must not become hotter while there is a healthy way
// to switch heat off (estimates, common practice, no source).
const (
	boundSkinC    = 340.0
	boundElementC = 800.0
	boundBeanC    = 255.0
)

// Total is the number of hazards in the list.
const Total = 93

// limitS is the row's limit on a machine, s.
func (r *Row) limitS(m *profiles.Machine) float64 {
	period := float64(m.Scan.PeriodS)
	if r.Relay { // it waits for three beats, the last of which has an age
		return max(1, 3*float64(m.Out[point.Heartbeat].RefreshScans)*period) + period
	}
	if r.Delay != nil {
		return r.Delay(&m.Limits) + 2*period + r.RunOnS
	}
	limitS := r.LimitS + 2*(period-0.1) + r.RunOnS
	if r.Window {
		limitS += float64(m.Cycle[point.AirHeaterPower].PeriodS)
	}
	return limitS
}

// fits reports whether a machine can play the row.
func (r *Row) fits(m *profiles.Machine) bool {
	for _, i := range r.Needs {
		if !m.HasIn[i] {
			return false
		}
	}
	if r.If != nil && !r.If(m) {
		return false
	}
	if !r.Serial {
		return true
	}
	for i := range m.BusList {
		if m.BusList[i].RTU != nil {
			return true
		}
	}
	return false
}
