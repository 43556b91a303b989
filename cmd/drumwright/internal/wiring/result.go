package wiring

// Verdicts of a step.
const (
	Right   = "right"
	Wrong   = "wrong"
	NotDone = "not done"
)

// Faults that a step can name.
const (
	Exchanged  = "exchanged"
	Inverted   = "inverted"
	Scale      = "scale"
	Layout     = "layout"   // byte order, word order or type
	Reversed   = "reversed" // polarity of a thermocouple
	TwoDevices = "two devices at one unit id"
	NoDevice   = "no device answers"
	NoFeedback = "no feedback"
	Unsteady   = "other things move too"
	Tripped    = "the gate tripped"
	Off        = "off" // reads something else than it should, for no reason that is known
)

// Result is what came of one step.
type Result struct {
	Point   string `json:"point"` // role, or bus and unit
	Asked   string `json:"asked"`
	Raw     string `json:"raw"`
	Seen    string `json:"seen"`
	Verdict string `json:"verdict"`
	Fault   string `json:"fault"`   // "" unless wrong
	With    string `json:"with"`    // the other point, if exchanged
	Suggest string `json:"suggest"` // what to look at or to change
}

// Record is a whole walk, as it is kept.
type Record struct {
	Machine     string   `json:"machine"`
	MachineHash string   `json:"machine_hash"` // of the file
	WiringHash  string   `json:"wiring_hash"`  // of its buses and points alone
	Who         string   `json:"who"`
	RoomC       float64  `json:"room_c"`
	Simulated   bool     `json:"simulated"`
	Results     []Result `json:"results"`
}

// Pass reports whether every step was done and found right.
func (r *Record) Pass() bool {
	for i := range r.Results {
		if r.Results[i].Verdict != Right {
			return false
		}
	}
	return len(r.Results) > 0
}

// Count counts the steps with a verdict.
func (r *Record) Count(verdict string) int {
	n := 0
	for i := range r.Results {
		if r.Results[i].Verdict == verdict {
			n++
		}
	}
	return n
}
