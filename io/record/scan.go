package record

import "drumwright/io/point"

// Scan is the record of one scan.
type Scan struct {
	N        uint64  // number of the scan since start, from 1
	ScanS    float64 // scan time since start, s; monotonic, runs faster than life under a time scale
	UnixNano int64   // wall clock at the start of the scan, for people only

	Image point.Image // inputs as read

	State    string           // state of the batch sequence
	InS      float64          // seconds in this state
	Next     string           // what the operator does next, in words
	ReadyInS float64          // while warming: foreseen until ready; 0 = not foreseen
	NoReady  string           // why it is not, as a sentence
	NotNow   [NumKinds]string // of each command in the order of Kinds why it would be refused at the machine now; "" = it would be taken
	Batch    Batch
	Bean     Bean
	Air      Loop // inlet air → air heater
	Base     Loop // drum skin → radiant panels
	Drum     Drum
	Trial    Trial
	Forecast Forecast // of the loaded recipe
	Safety   Safety
	Alarms   Alarms

	Wish   [point.NumOutputs]float64 // what control asked for, engineering units
	Permit [point.NumOutputs]float64 // what the gate let through

	Events    [MaxEvents]Event
	NumEvents int
	Timing    Timing
}

// MaxEvents is the number of events one scan can carry; more are counted in
// Timing.EventsLost. There is room for every alarm to be acknowledged at once.
const MaxEvents = MaxAlarms + 24

// Add appends an event; when full the event is counted as lost.
func (s *Scan) Add(e Event) {
	if s.NumEvents == MaxEvents {
		s.Timing.EventsLost++
		return
	}
	s.Events[s.NumEvents] = e
	s.NumEvents++
}

// Batch says which batch is running and what is known of it.
type Batch struct {
	ID          uint64 // 0 = none; numbers count up from the journal's last
	Recipe      string
	RecipeHash  string
	GreenKg     float64
	SinceS      float64 // seconds since charge; 0 before
	TurnS       float64 // turning point, seconds since charge; 0 = not yet
	TurnC       float64
	FirstCrackS float64 // heard, seconds since charge; 0 = not yet
	CrackDueS   float64 // first crack expected, seconds since charge; 0 = not foreseen, or heard
	CrackDueSdS float64
	DropS       float64 // dropped, seconds since charge; 0 = not yet
	DropC       float64 // bean probe at drop
	TargetDropC float64 // drop temperature of the recipe, or as it was changed; 0 = drops by something else
	DropDueS    float64 // drop expected, seconds since charge; 0 = not foreseen
	LongerS     float64 // by which the drop was put off
	DropLeastC  float64 // to which the drop can still be changed; 0 = it cannot
	DropMostC   float64
	Amended     Amended // what was changed of the recipe's curve
	Stage       int     // stage of the recipe, from 0
	LossAtDrop  float64 // estimated, share of green mass
}

// Amended is a recipe's curve as people have changed it: from FromS on the rest of
// it, which begins at CurveS, ends at EndS and is raised by FromK at first, by EndK
// at its end, evenly in between. Times are seconds since charge. The zero value
// changes nothing.
type Amended struct{ FromS, CurveS, EndS, FromK, EndK float64 }

// Bean is what is known of the beans and the loop that leads them. Each sd is one
// standard deviation: of a hundred batches some 68 come within it and 95 within two.
type Bean struct {
	Active       bool    // the bean loop sets the inlet air
	TargetC      float64 // wanted bean probe temperature; 0 = none
	TargetKPerS  float64
	TrueC        float64 // estimated bean temperature without probe lag
	TrueSdC      float64
	RateKPerS    float64 // estimated rate of rise
	RateSdKPerS  float64
	MoistureDB   float64 // kg water per kg dry
	GreenDB      float64 // moisture at charge, as estimated by now
	Loss         float64 // estimated loss, share of green mass
	LossSd       float64
	LossDoubt    LossDoubt // what the roasted weight will tell
	ProbeLagS    float64
	HeatFactor   float64 // heat transfer against the machine's model
	LearnedKPerS float64 // added to the wanted rate by what earlier batches taught
	LearnedK     float64 // what that has done to the probe so far, reckoned
	LimitedHigh  bool    // the inlet limit holds the loop back
	LimitedLow   bool
	Bound        Bound   // what holds the loop back
	ShortC       float64 // forecast at the end of the curve: below its temperature by so much; 0 = it can be met
	LateS        float64 // and reached so much later
	EstimatorOff bool    // no estimate is being made
}

// LossDoubt is what can have made estimated loss and green moisture wrong, for the
// weighing to learn from: as package observe has it, which this one cannot name.
type LossDoubt struct {
	LossBy, GreenBy [7]float64
	Rest            [3]float64
}

// Mode of a loop.
type Mode uint8

// Modes of a loop.
const (
	Off Mode = iota
	Manual
	Automatic
	Cascaded
	Experimenting // an experiment sets the output
)

func (m Mode) String() string {
	return [...]string{"off", "manual", "automatic", "cascaded", "experiment"}[m]
}

// Loop is one heat loop in this scan.
type Loop struct {
	Mode      Mode
	SetC      float64 // set point in force
	MeasuredC float64
	Duty      float64 // asked share of rated power, before time proportioning
	PowerW    float64
	Limited   bool // the output stands at a limit
}

// Trial is the experiment on a loop that runs, or the last that did. The zero
// value is none since start.
type Trial struct {
	Loop       string // "air" or "base"; "" = none
	Method     string // "step" or "relay"
	Phase      string // rest, up, down, back or over
	Why        string // how it ended; "done" by itself
	Done       bool   // it came to its end by itself
	StartS     float64
	ChangedS   float64 // scan time of the last change of the duty
	BaseC      float64 // at rest, once known
	NoiseK     float64 // standard deviation of the reading at rest
	BaseDuty   float64 // at rest
	Duty       float64 // now
	StepDuty   float64 // change up and down
	LimitK     float64
	HystK      float64 // relay
	Cycles     int     // relay: oscillations so far
	PeriodS    float64 // relay: of the last
	AmplitudeK float64 // relay: of the last
}

// Drum is the drum in this scan.
type Drum struct {
	SetMMPerS      float64 // wanted skin speed
	SetHz          float64
	MeasuredMMPerS float64 // from shaft pulses; 0 = not known
	MeasuredRPM    float64
	FlowSetKgPerH  float64 // wanted air flow
	FlowKgPerH     float64 // measured, or expected at the blower's frequency
}

// Safety is what the gate decided.
type Safety struct {
	HeatPermitted bool
	Tripped       bool
	SafeState     string // "S0".."S7"
	SafeStateName string
	First         string // first cause of the standing trip
	NumStanding   int    // causes that stand or are latched; Alarms says which
	HeldBack      string // why heat is not permitted though nothing has tripped
	Trips         uint64 // since start
}

// Event is something that happened in a scan.
type Event struct {
	Kind  EventKind
	Name  string // transition, cause or command
	Text  string // for people
	Value float64
	Limit float64
}

// EventKind sorts events.
type EventKind uint8

// The kinds of events.
const (
	Transition EventKind = iota // the sequence moved
	Trip                        // a cause tripped
	Reset                       // a trip was reset
	Warning                     // a cause warns
	Cleared                     // a warning went
	Accepted                    // a command was taken
	Rejected                    // a command was refused, with the reason
	Milestone                   // charge, turning point, first crack, drop, cooled
	Note                        // anything else worth keeping

	Realarm      // the condition of a cause that is latched came again
	Returned     // the condition of a cause that is latched went
	Acknowledged // somebody has taken an alarm on
	Silenced     // somebody at the machine has silenced an alarm
	Escalated    // an alarm was ignored: silenced as often as is allowed, or not acknowledged in its time
	Flood        // a flood of alarms began or ended
)

func (k EventKind) String() string {
	return [...]string{"transition", "trip", "reset", "warning", "cleared", "accepted", "rejected", "milestone", "note",
		"realarm", "returned", "acknowledged", "silenced", "escalated", "flood"}[k]
}

// Timing is how the scan itself went.
type Timing struct {
	PeriodS    float64
	LatenessS  float64 // start after its deadline
	ReadS      float64 // spent reading the buses
	StepS      float64 // spent deciding
	WriteS     float64
	Overruns   uint64 // since start
	EventsLost uint64
}
