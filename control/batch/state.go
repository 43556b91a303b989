package batch

// State is where a machine is in its day.
type State uint8

// The states.
const (
	Cold        State = iota // heat off, nothing need turn
	Warming                  // drum, air and heat on, towards the charge temperatures
	Ready                    // warm and soaked: charge
	Charging                 // the gate is open, the beans are going in
	Roasting                 // from charge to drop
	Discharging              // the beans are going out
	Cooling                  // the beans cool in the tray, the empty drum is kept warm
	RunDown                  // heat off, drum and air on until all is cool
	Held                     // heat at zero, all turns, can go on
	Tripped                  // an interlock has acted

	NumStates
)

var names = [NumStates]string{"cold", "warming", "ready", "charging", "roasting", "discharging", "cooling", "run-down", "held", "tripped"}

func (s State) String() string { return names[s] }

// BeansIn reports whether beans are, or may be, in the drum.
func (s State) BeansIn() bool { return s == Charging || s == Roasting || s == Discharging }

// Facts is all that the guards look at. Each request is true in the one scan in
// which a person's command arrives.
type Facts struct {
	InS float64 // time in the present state, s

	Tripped                     bool // the gate has a standing trip
	BeansIn                     bool // beans are, or may be, in the drum
	TrayHot                     bool // beans that are not cool yet lie in the tray
	HasRecipe                   bool
	Hot                         bool // some temperature is above the run-down limit, or not known
	Warm                        bool // skin and inlet air are within the band of their targets
	LostWarm                    bool // they are known to be well outside it
	Soaked                      bool // warm for the soak time
	Cool                        bool // everything below the run-down limit for the hold time
	GateOpen                    bool // charge gate contact, until a charge that did not come has been given up
	Plunge                      bool // the bean probe fell as it does at charge
	Unsaid                      bool // and shows that beans are in, which nobody has said
	ChargeByGate, ChargeByProbe bool
	ChargeLimit                 bool // gate open for longer than the charge limit
	DropDue                     bool // a drop condition of the recipe is met
	DoorOpen                    bool // discharge door contact
	DoorSeen                    bool // since the drop the door has been open for long enough to empty the drum
	HasDoor                     bool
	TrayCool                    bool // tray temperature or time says cooled
	WarmLimit                   bool // warm for too long without a charge
	Ignored                     bool // an alarm that calls for a shut-down was ignored, and is still there
	NoWarm, NoCharge            bool // something holds up new roasts: their heat, their beans

	AskWarm, AskCharged, AskDrop, AskDropped, AskCoolDone, AskNext, AskHold, AskResume, AskStop bool
}

// Names lists the names of all states in order.
func Names() []string { return names[:] }
