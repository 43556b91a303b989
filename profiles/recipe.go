package profiles

// Recipe is one way to roast one coffee. It fixes either the bean probe's curve
// (the bean loop then finds the inlet air) or the inlet air by stage.
type Recipe struct {
	Name   string        `yaml:"recipe" need:"yes" doc:"name of the recipe"`
	Coffee string        `yaml:"coffee" doc:"which coffee this is for, in words"`
	Note   string        `yaml:"note" doc:"anything worth remembering"`
	Charge Charge        `yaml:"charge" need:"yes" doc:"what goes in, and how warm the machine is then"`
	Curve  []CurvePoint  `yaml:"bean_curve" doc:"wanted bean probe temperature over time since charge, from after the turning point to drop; left out = inlet air by stage"`
	Stages []Stage       `yaml:"stages" doc:"air flow, drum skin and, without a curve, inlet air"`
	Speed  []SpeedAtLoss `yaml:"drum_speed" doc:"skin speed over estimated loss for this coffee; default the machine's schedule"`
	Drop   Drop          `yaml:"drop" need:"yes" doc:"when the beans go out"`
	CoolS  Seconds       `yaml:"cool" range:"10..3600" doc:"cooling time; default the machine's"`

	File string `yaml:"-"`
	Hash string `yaml:"-"` // SHA-256 of the file, hex

	lines map[string]int // where keys stand, for the messages of Fit
}

// Charge is the start of a batch.
type Charge struct {
	Green    Kilograms `yaml:"green" need:"yes" range:"0.02..60" doc:"green mass"`
	Moisture Share     `yaml:"moisture" range:"0.05..0.16" default:"11 %" doc:"moisture of the green coffee, wet basis; left out, it is taken as less surely known"`
	Air      Celsius   `yaml:"inlet" need:"yes" range:"60..400" doc:"inlet air before and at charge"`
	Skin     Celsius   `yaml:"skin" need:"yes" range:"40..300" doc:"drum skin at charge"`
	Flow     KgPerHour `yaml:"flow" range:"1..2000" doc:"air flow at charge; default the machine's nominal"`

	MoistureKnown bool `yaml:"-"` // the file states the moisture
}

// CurvePoint is one point of the wanted curve.
type CurvePoint struct {
	AtS  Seconds `yaml:"at" need:"yes" range:"10..2400" doc:"time since charge"`
	Bean Celsius `yaml:"bean" need:"yes" range:"40..240" doc:"bean probe temperature"`
}

// Stage changes set points when its moment comes.
type Stage struct {
	When  Trigger    `yaml:"when" need:"yes" doc:"charge, a time since charge (2 min), bean 150 °C, loss 6 %, first crack, or a time after it (first crack + 30 s)"`
	Inlet *Celsius   `yaml:"inlet" range:"60..400" doc:"inlet air set point; not in a recipe with a curve"`
	Skin  *Celsius   `yaml:"skin" range:"40..300" doc:"drum skin set point"`
	Flow  *KgPerHour `yaml:"flow" range:"1..2000" doc:"air flow"`
	OverS Seconds    `yaml:"over" range:"0..600" doc:"time over which the inlet air set point is led there; default at once, within the loop's slew"`
}

// Trigger is the moment at which a stage begins.
type Trigger struct {
	Kind  TriggerKind
	Value float64 // s, °C or share, by kind
}

// TriggerKind is the kind of moment.
type TriggerKind uint8

// The kinds of moments.
const (
	AtCharge   TriggerKind = iota
	AtTime                 // seconds since charge
	AtBean                 // bean probe rises through, °C, after the turning point
	AtLoss                 // estimated loss reaches, share
	AfterCrack             // seconds after first crack was heard
)

// Drop is the end of the roast: the first of the conditions that comes true.
type Drop struct {
	Bean       *Celsius `yaml:"bean" range:"120..240" doc:"bean probe reaches"`
	Loss       *Share   `yaml:"loss" range:"0.05..0.25" doc:"estimated loss reaches"`
	AfterCrack *Seconds `yaml:"after_first_crack" range:"5..900" doc:"time after first crack was heard"`
	Operator   bool     `yaml:"operator" doc:"true: only the operator drops; the others merely announce"`
	LatestS    Seconds  `yaml:"latest" need:"yes" range:"60..1800" doc:"time since charge at which heat goes off whatever else; the batch is then to be dropped by hand"`
}
