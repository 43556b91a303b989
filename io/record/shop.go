package record

// MachineView is what a screen must know of the machine beside its scans; it
// does not change while the daemon runs.
type MachineView struct {
	Name       string       `json:"name"`
	Site       string       `json:"site"`
	Note       string       `json:"note"`
	Hash       string       `json:"hash"` // SHA-256 of the machine file
	Version    string       `json:"version"`
	Simulated  bool         `json:"simulated"`  // nothing here is real
	TimeScale  float64      `json:"time_scale"` // scan time against life
	Strips     StripsView   `json:"strips"`
	FirePlan   FirePlanView `json:"fire_plan"`
	NotCovered []string     `json:"not_covered"` // what is not watched for want of a point, in words
	Exceptions []string     `json:"exceptions"`  // causes that do not trip for a while, in words
}

// StripsView is the scale of each loop.
type StripsView struct {
	Base  StripView `json:"base"`  // drum skin, °C
	Inlet StripView `json:"inlet"` // inlet air, °C
	Drum  StripView `json:"drum"`  // skin speed, mm/s
	Flow  StripView `json:"flow"`  // air, kg/h
}

// StripView is the scale of one loop: from 0 to Top. Limits that there are not
// are null.
type StripView struct {
	Unit  string  `json:"unit"`
	Top   float64 `json:"top"`
	Band  float64 `json:"band"`  // tolerance to both sides of the set point
	Least Number  `json:"least"` // below it is too little
	Most  Number  `json:"most"`  // the set point is never led above
	Trip  Number  `json:"trip"`  // heat goes off at or above
}

// FirePlanView is what the shop's fire plan says; empty = not filled in.
type FirePlanView struct {
	Number  string `json:"number"`
	Address string `json:"address"`
	Meeting string `json:"meeting_point"`
	Own     string `json:"own_line"`
}

// RecipeRow is a recipe in the list of recipes.
type RecipeRow struct {
	Name    string  `json:"name"` // as commands name it
	Title   string  `json:"title"`
	Coffee  string  `json:"coffee"`
	GreenKg Number  `json:"green_kg"`
	Curve   bool    `json:"curve"`  // it leads the beans along a curve
	Faults  string  `json:"faults"` // why it cannot be used on this machine, "" if it can
	Drop    string  `json:"drop"`   // in words
	LatestS float64 `json:"latest_s"`
}

// RecipeView is one recipe.
type RecipeView struct {
	RecipeRow
	Note     string      `json:"note"`
	Hash     string      `json:"hash"`
	Moisture Number      `json:"moisture"` // wet basis; null = not stated
	InletC   Number      `json:"inlet_c"`
	SkinC    Number      `json:"skin_c"`
	Points   []CurveView `json:"points"` // of the wanted curve, as written; none = inlet air by stage
	Dense    []CurveView `json:"dense"`  // the curve as it is followed, every 5 s
	Stages   []StageView `json:"stages"`
	Speeds   []SpeedView `json:"speeds"` // of the recipe, or of the machine where it has none
	DropC    Number      `json:"drop_c"`
	DropLoss Number      `json:"drop_loss"`
	Text     string      `json:"text"` // the file

	Advice     []string `json:"advice"`     // allowed, and worth a thought
	Understood []string `json:"understood"` // temperatures written in °F
}

// CurveView is a point of the wanted curve.
type CurveView struct {
	AtS   float64 `json:"at_s"`
	BeanC float64 `json:"bean_c"`
}

// StageView is one stage; what it leaves as it is is null.
type StageView struct {
	When       string `json:"when"`
	InletC     Number `json:"inlet_c"`
	SkinC      Number `json:"skin_c"`
	FlowKgPerH Number `json:"flow_kg_per_h"`
}

// SpeedView is the drum's skin speed at an estimated loss.
type SpeedView struct {
	Loss   float64 `json:"loss"`
	MMPerS float64 `json:"mm_per_s"`
}
