package say

import (
	"math"
	"slices"

	"drumwright/io/record"
)

// Button is a command that would be taken now.
type Button struct {
	Kind  record.Kind `json:"kind"`
	Label string      `json:"label"`
	Hint  string      `json:"hint"` // what it brings with it, in a few words; may be empty
	Hold  bool        `json:"hold"` // cannot be undone: held, or tapped twice
	Ask   string      `json:"ask"`  // what must be written with it, "" for nothing
	Free  bool        `json:"free"` // everybody at the machine may give it, whoever has control

	Number *Figure `json:"number"` // that must be given with it; null = none
}

// Figure is a number that a command needs.
type Figure struct {
	Member string        `json:"member"` // of the command
	Label  string        `json:"label"`
	Unit   string        `json:"unit"`
	Now    record.Number `json:"now"`
	Least  record.Number `json:"least"`
	Most   record.Number `json:"most"`
}

// Refusal is a command that would not be taken now, and why not.
type Refusal struct {
	Kind  record.Kind `json:"kind"`
	Label string      `json:"label"`
	Why   string      `json:"why"`
}

// buttons are the words of each command where a state has none of its own.
var buttons = map[record.Kind]Button{
	record.StartWarming: {Label: "Start warming", Hint: "drum, air, then heat", Hold: true},
	record.Charged:      {Label: "Beans are in", Hold: true},
	record.FirstCrack:   {Label: "First crack heard"},
	record.NoCrack:      {Label: "Take back first crack"},
	record.DropAt:       {Label: "Change remaining target"},
	record.AcceptLater:  {Label: "Accept the later drop", Hint: "plan the end as foreseen"},
	record.Longer:       {Label: "15" + thin + "s longer", Hint: "puts the drop off, once"},
	record.DropNow:      {Label: "Drop now", Hold: true},
	record.Dropped:      {Label: "Drum is empty", Hold: true},
	record.CoolDone:     {Label: "Beans are cold", Hint: "the tray is empty, warm on"},
	record.Hold:         {Label: "Hold here", Hint: "heat to zero, all turns"},
	record.Resume:       {Label: "Carry on", Hold: true},
	record.Stop:         {Label: "Run down", Hint: "heat off until cool", Hold: true},
	record.Acknowledge:  {Label: "Acknowledge", Hint: "I have seen it; nothing more"},
	record.Silence:      {Label: "Silence horn", Hint: "sounds again after 60 s"},
	record.ResetTrip:    {Label: "Reset trip", Hint: "after looking at the machine", Hold: true, Ask: "What was found"},
	record.LoadRecipe:   {Label: "Load recipe"},
}

// own are the words that a command has in one state only.
var own = map[string]map[record.Kind]Button{
	"charging": {record.Charged: {Label: "Beans are all in"}},
	"roasting": {
		record.Stop:    {Label: "Heat off, cool", Hint: "ends the roast", Hold: true},
		record.Dropped: {Label: "Beans are out", Hold: true},
	},
	"discharging": {record.Dropped: {Label: "Drum is empty"}},
	"run-down":    {record.StartWarming: {Label: "Warm again", Hold: true}},
	"cold":        {record.Stop: {Label: "Cool: drum and air on", Hold: true}},
	"tripped":     {record.Dropped: {Label: "Beans are out", Hold: true}},
}

// arrangement is what a state shows, in order: the first that would be taken is
// the main button. What stands in notNow is told with its reason when refused.
type arrangement struct{ show, notNow []record.Kind }

var arrangements = map[string]arrangement{
	"cold":        {[]record.Kind{record.StartWarming, record.Stop, record.Dropped}, []record.Kind{record.StartWarming, record.Charged}},
	"warming":     {[]record.Kind{record.Stop, record.Hold}, []record.Kind{record.Charged}},
	"ready":       {[]record.Kind{record.Charged, record.Stop, record.Hold}, []record.Kind{record.Charged}},
	"charging":    {[]record.Kind{record.Charged, record.Stop}, []record.Kind{record.DropNow}},
	"roasting":    {[]record.Kind{record.AcceptLater, record.DropNow, record.Longer, record.Hold, record.Stop, record.NoCrack, record.DropAt}, []record.Kind{record.Charged, record.LoadRecipe}},
	"discharging": {[]record.Kind{record.Dropped, record.Stop}, []record.Kind{record.Charged}},
	"cooling":     {[]record.Kind{record.CoolDone, record.Stop, record.Hold}, []record.Kind{record.Charged}},
	"run-down":    {[]record.Kind{record.StartWarming, record.Dropped}, []record.Kind{record.StartWarming, record.Charged}},
	"held":        {[]record.Kind{record.Resume, record.DropNow, record.Stop}, []record.Kind{record.Charged}},
	"tripped":     {[]record.Kind{record.Acknowledge, record.Silence, record.ResetTrip, record.Stop, record.Dropped}, []record.Kind{record.ResetTrip, record.StartWarming}},
}

// apart are commands that have a place of their own on every screen.
var apart = []record.Kind{record.CallFire, record.LoadRecipe, record.SetManual, record.SetAutomatic, record.TryLoop, record.TurnDrum, record.NextBatch}

func word(v *record.View, k record.Kind) Button {
	b, ok := own[v.State][k]
	restarted := v.Safety.FirstCause == "restart_hot"
	if !ok {
		b = buttons[k]
	}
	if k == record.DropAt && v.Batch != nil {
		b.Number = &Figure{Member: "drop_c", Label: "Drop at", Unit: "°C", Now: v.Batch.TargetDropC, Least: v.Batch.DropLeastC, Most: v.Batch.DropMostC}
	}
	if restarted && k == record.Stop {
		b = Button{Label: "Cool: drum and air on", Hint: "after the horn, without heat", Hold: true}
	}
	b.Kind, b.Free = k, k.Need() == record.RoleNone
	return b
}

// offer sorts the commands of the view into those with a button here, the
// others that would be taken, and those worth a reason.
func offer(v *record.View) (shown, others []Button, notNow []Refusal) {
	at := arrangements[v.State]
	show := at.show
	if b := v.Batch; v.State == "roasting" && b != nil && math.IsNaN(float64(b.FirstCrackS)) {
		switch crack := []record.Kind{record.FirstCrack}; {
		case v.Bean.TrueC >= crackDueC:
			show = slices.Concat(crack, show)
		case v.Bean.TrueC >= crackMayC:
			show = slices.Concat(show, crack)
		}
	}
	if v.State != "tripped" { // an alarm can call in every state
		show = slices.Concat(show, []record.Kind{record.Acknowledge, record.Silence})
	}
	if v.State == "roasting" && dropNear(v) { // the sentence on top counts to it, or says that it is too late
		at.notNow = slices.Concat(at.notNow, []record.Kind{record.DropAt, record.Longer})
	}
	if v.State == "roasting" && outOfReach(v) {
		at.notNow = slices.Concat(at.notNow, []record.Kind{record.AcceptLater})
	}
	refused := make(map[record.Kind]string)
	for _, c := range v.Commands {
		refused[c.Kind] = c.Refused
		if c.Refused == "" && !slices.Contains(show, c.Kind) && !slices.Contains(apart, c.Kind) {
			others = append(others, word(v, c.Kind))
		}
	}
	for _, k := range show {
		if why, known := refused[k]; known && why == "" {
			shown = append(shown, word(v, k))
		}
	}
	for _, k := range at.notNow {
		if why := refused[k]; why != "" {
			notNow = append(notNow, Refusal{k, word(v, k).Label, sentence(why)})
		}
	}
	return shown, others, notNow
}
