package batch

// Transition is one row of the sequence. The first row, in table order, whose
// From holds the present state and whose guard is true is taken; one a scan.
type Transition struct {
	From   []State
	To     State
	Name   string // as recorded
	Reason string // as told
	guard  func(*Facts) bool
}

// Names of rows whose taking brings more with it than their state.
const (
	ChargeBarred = "charge-barred"
	CooledBarred = "cooled-barred"
	Unsaid       = "beans-unsaid"
	UnsaidLate   = "beans-unsaid-cooling"
)

var running = []State{Warming, Ready, Charging, Roasting, Discharging, Cooling, Held}

// Table is the whole sequence.
var Table = []Transition{
	{From: []State{Cold, Warming, Ready, Charging, Roasting, Discharging, Cooling, RunDown, Held}, To: Tripped,
		Name: "trip", Reason: "an interlock has acted",
		guard: func(f *Facts) bool { return f.Tripped }},
	{From: []State{Tripped}, To: RunDown, Name: "cool-restart", Reason: "cooling was asked after a restart",
		guard: func(f *Facts) bool { return !f.Tripped && f.AskStop }},
	{From: []State{Tripped}, To: RunDown, Name: "reset-hot", Reason: "the trip was reset and the machine is hot",
		guard: func(f *Facts) bool { return !f.Tripped && f.Hot }},
	{From: []State{Tripped}, To: Cold, Name: "reset-cold", Reason: "the trip was reset and the machine is cool",
		guard: func(f *Facts) bool { return !f.Tripped && !f.Hot }},

	{From: running, To: RunDown, Name: "stop", Reason: "stop was asked",
		guard: func(f *Facts) bool { return f.AskStop }},
	{From: running, To: RunDown, Name: "alarm-ignored", Reason: "an alarm was ignored for too long",
		guard: func(f *Facts) bool { return f.Ignored }},
	{From: []State{Cold}, To: RunDown, Name: "cool", Reason: "cooling of a hot machine was asked",
		guard: func(f *Facts) bool { return f.AskStop && f.Hot }},

	{From: []State{Cold, RunDown}, To: Warming, Name: "warm", Reason: "warming was asked",
		guard: func(f *Facts) bool {
			return f.AskWarm && !f.Ignored && !f.NoWarm && f.HasRecipe && !f.BeansIn && !f.TrayHot
		}},
	{From: []State{Cold, RunDown}, To: Cooling, Name: "warm-cooling", Reason: "warming was asked while beans still cool in the tray",
		guard: func(f *Facts) bool {
			return f.AskWarm && !f.Ignored && !f.NoWarm && f.HasRecipe && !f.BeansIn && f.TrayHot
		}},
	{From: []State{Warming, Ready}, To: RunDown, Name: ChargeBarred, Reason: "beans may have gone in though new roasts are held up",
		guard: func(f *Facts) bool { return f.NoCharge && f.AskCharged }},
	{From: []State{Ready}, To: RunDown, Name: ChargeBarred, Reason: "a charge was seen though new roasts are held up",
		guard: func(f *Facts) bool {
			return f.NoCharge && (f.ChargeByGate && f.GateOpen || f.ChargeByProbe && f.Plunge)
		}},
	{From: []State{Warming, Ready}, To: RunDown, Name: ChargeBarred, Reason: "beans seem to be in the drum though new roasts are held up",
		guard: func(f *Facts) bool { return f.NoCharge && f.Unsaid }},
	{From: []State{Warming, Ready}, To: RunDown, Name: "warm-barred", Reason: "new roasts are held up",
		guard: func(f *Facts) bool { return f.NoWarm }},
	{From: []State{Warming}, To: Ready, Name: "warm-enough", Reason: "drum and air have been warm for the soak time",
		guard: func(f *Facts) bool { return f.Soaked }},
	{From: []State{Ready}, To: Warming, Name: "lost-warmth", Reason: "drum or air have left their band",
		guard: func(f *Facts) bool { return f.LostWarm && !f.GateOpen && !f.AskCharged && !f.Plunge }},
	{From: []State{Warming, Ready}, To: RunDown, Name: "warm-limit", Reason: "the machine was kept warm too long without a charge",
		guard: func(f *Facts) bool { return f.WarmLimit }},

	{From: []State{Warming, Ready, Charging}, To: Roasting, Name: "charged", Reason: "the operator said the beans are in",
		guard: func(f *Facts) bool { return f.AskCharged }},
	{From: []State{Ready}, To: Charging, Name: "gate-open", Reason: "the charge gate opened",
		guard: func(f *Facts) bool { return f.ChargeByGate && f.GateOpen }},
	{From: []State{Charging}, To: Roasting, Name: "beans-in", Reason: "the bean probe fell after the gate opened",
		guard: func(f *Facts) bool { return f.Plunge }},
	{From: []State{Charging}, To: Ready, Name: "no-beans", Reason: "no beans came after the gate opened",
		guard: func(f *Facts) bool { return f.ChargeLimit }},
	{From: []State{Ready}, To: Roasting, Name: "plunge", Reason: "the bean probe fell as it does at charge",
		guard: func(f *Facts) bool { return f.ChargeByProbe && f.Plunge }},

	{From: []State{Warming, Ready}, To: Roasting, Name: Unsaid, Reason: "the bean probe shows beans that nobody has said",
		guard: func(f *Facts) bool { return f.Unsaid }},

	{From: []State{Roasting}, To: Discharging, Name: "drop-asked", Reason: "the operator asked for the drop",
		guard: func(f *Facts) bool { return f.AskDrop || f.AskDropped }},
	{From: []State{Roasting}, To: Discharging, Name: "door-open", Reason: "the discharge door opened",
		guard: func(f *Facts) bool { return f.DoorOpen }},
	{From: []State{Roasting}, To: Discharging, Name: "drop-due", Reason: "the recipe's drop is reached",
		guard: func(f *Facts) bool { return f.DropDue }},
	{From: []State{Discharging}, To: Cooling, Name: "emptied", Reason: "the operator said the beans are out",
		guard: func(f *Facts) bool { return f.AskDropped && f.InS > 0 }},
	{From: []State{Discharging}, To: Cooling, Name: "door-shut", Reason: "the discharge door was open and is shut again",
		guard: func(f *Facts) bool { return f.DoorSeen && !f.DoorOpen }},

	{From: []State{Cooling}, To: RunDown, Name: UnsaidLate, Reason: "the bean probe shows beans in the drum while others cool",
		guard: func(f *Facts) bool { return f.Unsaid }},
	{From: []State{Cooling}, To: RunDown, Name: CooledBarred, Reason: "the tray is cool and new roasts are held up",
		guard: func(f *Facts) bool { return f.NoWarm && (f.AskCoolDone || f.AskNext || f.TrayCool) }},
	{From: []State{Cooling}, To: Warming, Name: "cooled", Reason: "the tray is cool; the machine warms for the next batch",
		guard: func(f *Facts) bool { return f.AskCoolDone || f.AskNext || f.TrayCool }},

	{From: []State{RunDown}, To: Cold, Name: "cool-enough", Reason: "all has been below the run-down limit",
		guard: func(f *Facts) bool { return f.Cool && !f.TrayHot }},

	{From: []State{Warming, Ready, Roasting, Cooling}, To: Held, Name: "hold", Reason: "hold was asked",
		guard: func(f *Facts) bool { return f.AskHold }},
	{From: []State{Held}, To: Roasting, Name: "resume-roast", Reason: "the roast goes on",
		guard: func(f *Facts) bool { return f.AskResume && f.BeansIn }},
	{From: []State{Held}, To: Discharging, Name: "drop-held", Reason: "the operator asked for the drop",
		guard: func(f *Facts) bool { return f.BeansIn && (f.AskDrop || f.AskDropped || f.DoorOpen) }},
	{From: []State{Held}, To: Cooling, Name: "resume-cooling", Reason: "cooling goes on",
		guard: func(f *Facts) bool { return f.AskResume && !f.BeansIn && f.TrayHot }},
	{From: []State{Held}, To: Warming, Name: "resume", Reason: "warming goes on",
		guard: func(f *Facts) bool { return f.AskResume && !f.NoWarm && !f.BeansIn && !f.TrayHot }},
}

// Next is the transition that the facts allow from a state, nil for none.
func Next(s State, f *Facts) *Transition {
	for i := range Table {
		t := &Table[i]
		for _, from := range t.From {
			if from == s && t.guard(f) {
				return t
			}
		}
	}
	return nil
}

// Allowed reports whether a request can move the machine on from this state
// with the facts as they are: it looks for a row that the request makes true.
// It leaves the facts as they were.
func Allowed(s State, f *Facts, ask func(*Facts)) bool {
	before, kept := Next(s, f), *f
	ask(f)
	after := Next(s, f)
	*f = kept
	return after != nil && after != before
}
