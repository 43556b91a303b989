package record

import (
	"errors"

	"drumwright/io/point"
)

// ErrNoBatch is returned for a batch that the journal does not hold.
var ErrNoBatch = errors.New("no such batch in the journal")

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
	MilestoneNoCrack      = "no first crack" // it was noted by mistake
	MilestoneDrop         = "drop"
	MilestoneCooled       = "cooled"
	MilestoneAborted      = "aborted"
)

// NoteChargeLate is the name of the Note that a charge became known so late that the
// batch's estimate is off at first.
const NoteChargeLate = "charge-late"

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

	// By Derive, and by the scale if the batch was weighed.
	DevelopmentS     Number `json:"development_s"` // from first crack to drop
	DevelopmentRatio Number `json:"development_ratio"`
	WeighedGreenKg   Number `json:"weighed_green_kg"`
	WeighedKg        Number `json:"weighed_kg"`
	WeighedLoss      Number `json:"weighed_loss"`

	// Worked out when the batch has ended.
	EnergyKWh     Number `json:"energy_kwh"`       // both heaters, charge to drop
	OffCurveRmsC  Number `json:"off_curve_rms_c"`  // probe against the curve, from 60 s after the turning point to the drop
	OffCurveMostC Number `json:"off_curve_most_c"` // in the same time

	// Entered by people.
	Lot          string   `json:"lot"`
	MoisturePct  Number   `json:"moisture_pct"`
	DensityGPerL Number   `json:"density_g_per_l"`
	CupTotal     Number   `json:"cup_total"`
	Tags         []string `json:"tags"`
	Notes        int      `json:"notes"` // how many there are
}

// KeptDetail is one batch with everything kept of it. The texts are empty if
// the journal was never given a file with that hash.
type KeptDetail struct {
	KeptBatch
	RecipeText  string       `json:"recipe_text"`
	MachineText string       `json:"machine_text"`
	Samples     []KeptSample `json:"samples"`
	Events      []KeptEvent  `json:"events"`
	Entries     []Entry      `json:"entries"` // oldest first, with what was corrected
}

// KeptSample is one sample. Temperatures are by the name of their point,
// unknown while the point was not usable; points that the machine has not are
// left out. Estimates are unknown while none was made.
type KeptSample struct {
	Time          string               `json:"time"` // UTC
	ScanS         Number               `json:"scan_s"`
	SinceChargeS  Number               `json:"since_charge_s"`
	State         string               `json:"state"`
	Stage         int                  `json:"stage"`
	HeatPermitted bool                 `json:"heat_permitted"`
	Temperatures  map[string]KeptValue `json:"temperatures_c"`
	TargetC       Number               `json:"target_c"`
	TrueC         Number               `json:"true_c"`
	TrueSdC       Number               `json:"true_sd_c"`
	RateKPerS     Number               `json:"rate_k_per_s"`
	RateSdKPerS   Number               `json:"rate_sd_k_per_s"`
	MoistureDB    Number               `json:"moisture_dry_basis"`
	Loss          Number               `json:"loss"`
	LossSd        Number               `json:"loss_sd"`
	HeatFactor    Number               `json:"heat_factor"`
	AirMode       string               `json:"air_mode"`
	AirSetC       Number               `json:"air_set_c"`
	AirDuty       Number               `json:"air_duty"`   // what control asked for, share of rated power
	AirPermit     Number               `json:"air_permit"` // what the gate let through
	BaseMode      string               `json:"base_mode"`
	BaseSetC      Number               `json:"base_set_c"`
	BaseDuty      Number               `json:"base_duty"`
	BasePermit    Number               `json:"base_permit"`
	DrumSetMMPerS Number               `json:"drum_set_mm_per_s"`
	DrumMMPerS    Number               `json:"drum_mm_per_s"`
	FlowSetKgPerH Number               `json:"flow_set_kg_per_h"`
	FlowKgPerH    Number               `json:"flow_kg_per_h"`
	AirCurrentA   Number               `json:"air_heater_current_a"`
	BaseCurrentA  Number               `json:"radiant_current_a"`
	MainsV        Number               `json:"mains_v"`
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

// AlarmKinds are the kinds of events that the history of alarms is made of.
var AlarmKinds = []EventKind{Trip, Warning, Realarm, Acknowledged, Silenced, Escalated, Returned, Cleared, Reset, Flood}

// KeptAlarm is one event in the history of alarms. Its name is that of the
// cause; a reset has its own, and says in its text what it lifted.
type KeptAlarm struct {
	KeptEvent
	Batch uint64 `json:"batch"` // 0 = none
}

// NewKeptSample makes the sample of a scan.
func NewKeptSample(s *Scan) KeptSample {
	m, in := measured(s), &s.Image.In
	k := KeptSample{Time: TimeString(s.UnixNano), ScanS: Number(s.ScanS), SinceChargeS: unless0(s.Batch.SinceS, s.Batch.SinceS),
		State: s.State, Stage: s.Batch.Stage, HeatPermitted: s.Safety.HeatPermitted, Temperatures: make(map[string]KeptValue),
		TargetC: m.Bean.TargetC, TrueC: m.Bean.TrueC, TrueSdC: m.Bean.TrueSdC, RateKPerS: m.Bean.RateKPerS, RateSdKPerS: m.Bean.RateSdKPerS,
		MoistureDB: m.Bean.MoistureDB, Loss: m.Bean.Loss, LossSd: m.Bean.LossSd, HeatFactor: m.Bean.HeatFactor,
		AirMode: m.Air.Mode, AirSetC: m.Air.SetC, AirDuty: m.Air.Duty, AirPermit: Number(s.Permit[point.AirHeaterPower]),
		BaseMode: m.Base.Mode, BaseSetC: m.Base.SetC, BaseDuty: m.Base.Duty, BasePermit: Number(s.Permit[point.RadiantPower]),
		DrumSetMMPerS: m.Drum.SetMMPerS, DrumMMPerS: m.Drum.MeasuredMMPerS, FlowSetKgPerH: m.Drum.FlowSetKgPerH, FlowKgPerH: m.Drum.FlowKgPerH,
		AirCurrentA:  given(in[point.AirHeaterCurrent].Usable(), in[point.AirHeaterCurrent].V),
		BaseCurrentA: given(in[point.RadiantCurrent].Usable(), in[point.RadiantCurrent].V),
		MainsV:       given(in[point.MainsVoltage].Usable(), in[point.MainsVoltage].V)}
	for i := range point.NumInputs {
		if v := in[i]; i.Role().Kind == point.Temperature && v.Quality != point.Absent {
			k.Temperatures[i.String()] = KeptValue{given(v.Usable(), v.V), v.Quality.String()}
		}
	}
	return k
}

// NewKeptEvent makes the kept form of event i of the scan, 0 ≤ i < s.NumEvents.
func NewKeptEvent(s *Scan, i int) KeptEvent {
	e := &s.Events[i]
	return KeptEvent{Time: TimeString(s.UnixNano), ScanS: Number(s.ScanS), State: s.State, Kind: e.Kind.String(),
		Name: e.Name, Text: e.Text, Value: Number(e.Value), Limit: Number(e.Limit)}
}

// Keep brings what is known of the running batch up to date. What identifies
// it, its times of day and its result are left alone.
func (k *KeptBatch) Keep(b *Batch) {
	k.TurnS, k.TurnC = unless0(b.TurnS, b.TurnS), unless0(b.TurnS, b.TurnC)
	k.FirstCrackS = unless0(b.FirstCrackS, b.FirstCrackS)
	k.DropS, k.DropC, k.LossAtDrop = unless0(b.DropS, b.DropS), unless0(b.DropS, b.DropC), unless0(b.DropS, b.LossAtDrop)
	k.TargetDropC = unless0(b.TargetDropC, b.TargetDropC)
}
