package record

// Results of a kept batch.
const (
	BatchOpen    = "open"    // runs now
	BatchDone    = "done"    // was dropped and cooled
	BatchAborted = "aborted" // ended in any other way, also by a restart
)

// The names that Milestone events carry.
const (
	MilestoneCharge       = "charge"
	MilestoneTurningPoint = "turning point"
	MilestoneFirstCrack   = "first crack"
	MilestoneDrop         = "drop"
	MilestoneCooled       = "cooled"
)

// KeptBatch is a batch as the journal keeps it. What never happened is null.
type KeptBatch struct {
	ID          uint64 `json:"id"`
	Result      string `json:"result"` // BatchOpen, BatchDone or BatchAborted
	Recipe      string `json:"recipe"`
	RecipeHash  string `json:"recipe_hash"`
	MachineHash string `json:"machine_hash"`
	GreenKg     Number `json:"green_kg"`
	Charged     string `json:"charged"` // UTC
	Ended       string `json:"ended"`   // UTC; "" while open
	TurnS       Number `json:"turn_s"`  // seconds since charge, as all here
	TurnC       Number `json:"turn_c"`
	FirstCrackS Number `json:"first_crack_s"`
	DropS       Number `json:"drop_s"`
	DropC       Number `json:"drop_c"`
	TargetDropC Number `json:"target_drop_c"`
	LossAtDrop  Number `json:"loss_at_drop"` // estimated, share of green mass
}

// KeptDetail is one batch with everything kept of it. The texts are empty if
// the journal was never given a file with that hash.
type KeptDetail struct {
	KeptBatch
	RecipeText  string       `json:"recipe_text"`
	MachineText string       `json:"machine_text"`
	Samples     []KeptSample `json:"samples"`
	Events      []KeptEvent  `json:"events"`
}

// KeptSample is one sample of a batch. Temperatures are in °C by the name of
// their point, null while the point was not usable; points that the machine
// has not are left out. Estimates are null while none was made.
type KeptSample struct {
	Time           string               `json:"time"` // UTC
	ScanS          Number               `json:"scan_s"`
	SinceChargeS   Number               `json:"since_charge_s"`
	State          string               `json:"state"`
	Stage          int                  `json:"stage"`
	Temperatures   map[string]KeptValue `json:"temperatures_c"`
	TargetC        Number               `json:"target_c"`
	TrueC          Number               `json:"true_c"`
	TrueSdC        Number               `json:"true_sd_c"`
	RateKPerS      Number               `json:"rate_k_per_s"`
	RateSdKPerS    Number               `json:"rate_sd_k_per_s"`
	MoistureDB     Number               `json:"moisture_dry_basis"`
	Loss           Number               `json:"loss"`
	LossSd         Number               `json:"loss_sd"`
	HeatFactor     Number               `json:"heat_factor"`
	AirMode        string               `json:"air_mode"`
	AirSetC        Number               `json:"air_set_c"`
	AirDuty        Number               `json:"air_duty"`
	AirPermit      Number               `json:"air_permit"` // share of rated power that the gate let through
	BaseMode       string               `json:"base_mode"`
	BaseSetC       Number               `json:"base_set_c"`
	BaseDuty       Number               `json:"base_duty"`
	BasePermit     Number               `json:"base_permit"`
	DrumSetMMPerS  Number               `json:"drum_set_mm_per_s"`
	DrumMMPerS     Number               `json:"drum_mm_per_s"`
	FlowSetKgPerH  Number               `json:"flow_set_kg_per_h"`
	FlowKgPerH     Number               `json:"flow_kg_per_h"`
	HeatPermitted  bool                 `json:"heat_permitted"`
	CurrentAirA    Number               `json:"air_heater_current_a"`
	CurrentBaseA   Number               `json:"radiant_current_a"`
	MainsVoltageV  Number               `json:"mains_voltage_v"`
	DrumTurningRPM Number               `json:"drum_rpm"`
}

// KeptValue is a measured value with its quality.
type KeptValue struct {
	Value   Number `json:"value"`
	Quality string `json:"quality"`
}

// KeptEvent is one event of a batch.
type KeptEvent struct {
	Time  string `json:"time"` // UTC
	ScanS Number `json:"scan_s"`
	State string `json:"state"`
	Kind  string `json:"kind"`
	Name  string `json:"name"`
	Text  string `json:"text"`
	Value Number `json:"value"`
	Limit Number `json:"limit"`
}
