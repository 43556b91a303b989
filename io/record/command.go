package record

// Kind is what a command asks for.
type Kind string

// The commands, and what each needs beside its kind. Those that are taken at the
// machine only are in LocalOnly.
const (
	LoadRecipe   Kind = "load-recipe"    // Recipe; at the machine only while heat is in use
	StartWarming Kind = "warm"           // starts drum, air and heat
	Charged      Kind = "charged"        // the beans are in
	FirstCrack   Kind = "first-crack"    // heard
	NoCrack      Kind = "no-first-crack" // it was noted by mistake
	DropAt       Kind = "drop-at"        // DropC: the rest of the roast leads there
	AcceptLater  Kind = "accept-later"   // what holds the roast back is no fault: the later drop that is foreseen is the plan
	Longer       Kind = "longer"         // the drop is put off by some seconds, once
	DropNow      Kind = "drop"           // let the beans out now
	Dropped      Kind = "dropped"        // the beans are out
	CoolDone     Kind = "cool-done"      // the tray is empty
	Hold         Kind = "hold"           // heat to zero, keep turning, can go on
	Resume       Kind = "resume"
	Stop         Kind = "stop" // orderly: heat off, run down until cool
	ResetTrip    Kind = "reset"
	CallFire     Kind = "fire"        // a fire is suspected
	Acknowledge  Kind = "acknowledge" // take on all alarms, or that of Cause; away from the machine with Who
	Silence      Kind = "silence"     // the horn, for a minute
	NextBatch    Kind = "next-batch"  // warm for another batch of the same recipe
	SetManual    Kind = "manual"      // Loop, Value
	SetAutomatic Kind = "automatic"   // Loop; ends an experiment on it too
	TurnDrum     Kind = "turn-drum"   // SkinMMPerS, 0 lets it stand; cold machine, heat off; again within 15 s
	TryLoop      Kind = "experiment"  // Loop, Value, Method, LimitK; FlowKgPerH if the air is to flow otherwise
)

// Learned hands lessons of earlier batches to the controller. It comes from
// within the program only and is none of Kinds.
const Learned Kind = "learned"

// Weighed says what the next batch weighs, if that is not what its recipe says.
// Like Learned it comes from within the program only.
const Weighed Kind = "weighed"

// Kinds lists every command in the order of a shop's day.
var Kinds = [...]Kind{LoadRecipe, StartWarming, Charged, FirstCrack, NoCrack, DropAt, AcceptLater, Longer, DropNow, Dropped, CoolDone, NextBatch, Hold, Resume,
	SetManual, SetAutomatic, TryLoop, TurnDrum, Stop, Acknowledge, Silence, ResetTrip, CallFire}

// NumKinds is the number of commands.
const NumKinds = len(Kinds)

// LocalOnly reports whether a command is taken at the machine only. Heard from
// afar are those that take heat away, answer an alarm by name or get a recipe
// ready. All others set something in motion, give heat, lift a protection, take a
// warning from those who stand beside the machine, or say what only they can see:
// the word that beans are out heats the drum again.
func (k Kind) LocalOnly() bool {
	switch k {
	case LoadRecipe, DropNow, Hold, Stop, Acknowledge:
		return false
	}
	return true
}

// Command is one thing that a person asks of the machine.
type Command struct {
	Kind       Kind    `json:"kind"`
	Recipe     string  `json:"recipe,omitempty"`        // name of a recipe in the recipe folder
	Loop       string  `json:"loop,omitempty"`          // "air" or "base"
	Value      float64 `json:"value,omitempty"`         // manual output, or change of it in an experiment, share 0..1
	SkinMMPerS float64 `json:"skin_mm_per_s,omitempty"` // drum skin speed
	DropC      float64 `json:"drop_c,omitempty"`        // bean probe at drop, °C
	Cause      string  `json:"cause,omitempty"`         // of one alarm, as the list of alarms names it
	Who        string  `json:"who,omitempty"`

	Method     string  `json:"method,omitempty"`        // "step" or "relay"
	LimitK     float64 `json:"limit_k,omitempty"`       // temperature change at which an experiment ends
	FlowKgPerH float64 `json:"flow_kg_per_h,omitempty"` // air flow during an experiment; 0 = as it is

	// What the person was looking at, if a screen says so: a command given to a
	// picture that has gone is refused.
	SeenState string `json:"seen_state,omitempty"`
	SeenScan  uint64 `json:"seen_scan,omitempty"`

	Local bool `json:"-"` // given at the machine; set by the way it came in, never by the sender
}

// Soothes reports whether a command only takes heat away or answers an alarm: it
// is heeded whatever the person was looking at.
func (k Kind) Soothes() bool {
	switch k {
	case Stop, Acknowledge, Silence, CallFire:
		return true
	}
	return false
}

// Answer is what became of a command.
type Answer struct {
	Accepted bool   `json:"accepted"`
	Reason   string `json:"reason"` // what was done, or why not
}
