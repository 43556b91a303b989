package record

// MaxAlarms is the number of alarms that a scan can show; more are counted in
// Alarms.NotShown.
const MaxAlarms = 112

// Priority of an alarm: how much is at stake and how soon.
type Priority uint8

// Priorities in rising order.
const (
	PriorityLow Priority = iota
	PriorityMedium
	PriorityHigh
	PriorityCritical
)

func (p Priority) String() string { return [...]string{"low", "medium", "high", "critical"}[p] }

// AlarmState is where an alarm stands in the life that ISA-18.2 and IEC 62682
// give it (states A to F; the letters are from memory).
type AlarmState uint8

// The states of an alarm.
const (
	AlarmNormal              AlarmState = iota // A: nothing to see, nothing to do
	AlarmUnacknowledged                        // B: the condition is there, nobody has taken it on
	AlarmAcknowledged                          // C: the condition is there, somebody has
	AlarmReturned                              // D: it came and went before anybody took it on
	AlarmLatched                               // E: gone but latched, nobody has taken it on
	AlarmLatchedAcknowledged                   // F: gone but latched, somebody has; waits for the reset
)

func (s AlarmState) String() string {
	return [...]string{"normal", "unacknowledged", "acknowledged", "returned-unacknowledged", "latched-unacknowledged", "latched-acknowledged"}[s]
}

// Stands reports whether the condition is there or latched.
func (s AlarmState) Stands() bool { return s != AlarmNormal && s != AlarmReturned }

// Unacknowledged reports whether the alarm waits for somebody to take it on.
func (s AlarmState) Unacknowledged() bool {
	return s == AlarmUnacknowledged || s == AlarmReturned || s == AlarmLatched
}

// Alarm is one alarm of the machine. Times are scan time, s. What happened
// before a restart is not known: Count is 0 while the alarm stands from then.
type Alarm struct {
	ID         string // of the cause
	Text       string // the cause, one sentence
	Unit       string // of value and limit; "" = they mean nothing
	AckedBy    string // "" = not acknowledged since it last came
	RaisedS    float64
	AckedS     float64
	ReturnedS  float64 // the condition went; means something once it has
	Value      float64 // when it last came
	Limit      float64
	Count      uint32 // how often it came since start
	Silences   uint8  // of the horn, since it last came
	Priority   Priority
	State      AlarmState
	FirstOut   bool // came first of its group; stays until the group is clear
	Suppressed bool // came in a flood and is not important enough to call then
	Chattering bool // comes and goes too often
	Escalated  bool // was ignored: silenced as often as is allowed, or not acknowledged in its time
}

// Alarms is the list of all alarms of the machine, in the order of its table;
// also those that are normal.
type Alarms struct {
	List        [MaxAlarms]Alarm
	Num         int
	NotShown    int    // alarms that the list has no room for
	Activations uint64 // since start, of all alarms
	Flood       bool   // more alarms than one person can follow
	Horn        bool   // the alarms sound
}

// Find gives the alarm of a cause, nil when the machine has none of that name.
func (a *Alarms) Find(id string) *Alarm {
	for i := range a.List[:a.Num] {
		if a.List[i].ID == id {
			return &a.List[i]
		}
	}
	return nil
}

// Stands reports whether the alarm of a cause is there or latched.
func (a *Alarms) Stands(id string) bool {
	x := a.Find(id)
	return x != nil && x.State.Stands()
}

// changed reports whether the lists differ. Value and limit are left out: they
// change only when the count does, and one that is not a number never equals
// itself.
func (a *Alarms) changed(b *Alarms) bool {
	if a.Num != b.Num || a.NotShown != b.NotShown || a.Activations != b.Activations || a.Flood != b.Flood || a.Horn != b.Horn {
		return true
	}
	for i := range a.List[:a.Num] {
		x, y := a.List[i], b.List[i]
		x.Value, x.Limit, y.Value, y.Limit = 0, 0, 0, 0
		if x != y {
			return true
		}
	}
	return false
}

func (a *Alarm) view() AlarmView {
	present := a.State == AlarmUnacknowledged || a.State == AlarmAcknowledged
	return AlarmView{Cause: a.ID, Text: a.Text, Priority: a.Priority.String(), State: a.State.String(), FirstOut: a.FirstOut,
		Suppressed: a.Suppressed, Chattering: a.Chattering, Escalated: a.Escalated, Count: a.Count,
		RaisedS: given(a.Count > 0, a.RaisedS), ReturnedS: given(a.Count > 0 && !present, a.ReturnedS),
		AcknowledgedS: given(a.AckedBy != "", a.AckedS), By: a.AckedBy, Silences: a.Silences,
		Value: given(a.Unit != "", a.Value), Limit: given(a.Unit != "", a.Limit), Unit: a.Unit}
}
