package record

import (
	"time"

	"drumwright/io/point"
)

// View is a scan as programs outside see it: the JSON of the panel and, in
// parts, of MQTT. Units are in the names or beside the value. A Number that is
// not known is null, never 0; a measured value is given while it is usable
// (good or uncertain) and its quality always stands beside it.
type View struct {
	Stamp
	Status
	Measured
}

// StatusView is the part that changes with the sequence.
type StatusView struct {
	Stamp
	Status
}

// MeasuredView is the part that changes with every scan.
type MeasuredView struct {
	Stamp
	Measured
}

// AlarmsView is the part that calls for a person.
type AlarmsView struct {
	Stamp
	SafetyView
	Horn        bool        `json:"horn"`        // the alarms sound
	Flood       bool        `json:"flood"`       // more than one person can follow
	Activations uint64      `json:"activations"` // since start, of all alarms
	NotShown    int         `json:"not_shown"`   // that the list has no room for
	Alarms      []AlarmView `json:"alarms"`      // all that are not normal, in the order of the table
}

// AlarmView is one alarm. Times are scan time; what has not happened is null.
type AlarmView struct {
	Cause         string `json:"cause"`
	Text          string `json:"text"`
	Priority      string `json:"priority"` // low, medium, high or critical
	State         string `json:"state"`    // see AlarmState
	FirstOut      bool   `json:"first_out"`
	Suppressed    bool   `json:"suppressed"`
	Chattering    bool   `json:"chattering"`
	Escalated     bool   `json:"escalated"`
	Count         uint32 `json:"count"` // since start
	RaisedS       Number `json:"raised_s"`
	ReturnedS     Number `json:"returned_s"`
	AcknowledgedS Number `json:"acknowledged_s"`
	By            string `json:"acknowledged_by"`
	Silences      uint8  `json:"silences"` // since it last came
	Value         Number `json:"value"`    // when it last came
	Limit         Number `json:"limit"`
	Unit          string `json:"unit"`
}

// Stamp says when something was so and how far it may be trusted.
type Stamp struct {
	Time    string `json:"time"`    // UTC, RFC 3339 with milliseconds
	Quality string `json:"quality"` // worst among the points that the machine has
	Scan    uint64 `json:"scan"`    // number of the scan since start
	ScanS   Number `json:"scan_s"`  // scan time since start
}

// Status is what the sequence and the gate are doing.
type Status struct {
	State    string        `json:"state"`
	InStateS Number        `json:"in_state_s"`
	Next     string        `json:"next"`       // what the operator does next
	ReadyInS Number        `json:"ready_in_s"` // while warming: foreseen until ready; null = not foreseen
	NoReady  string        `json:"no_ready"`   // while warming: why it is not, as a sentence
	Recipe   string        `json:"recipe"`     // that is loaded; "" = none
	GreenKg  Number        `json:"green_kg"`   // that it asks for
	Commands []OfferView   `json:"commands"`   // all that there are, in the order of a shop's day
	Batch    *BatchView    `json:"batch"`
	Forecast *ForecastView `json:"forecast"` // of the loaded recipe; null without a preflight
	AirMode  string        `json:"air_mode"`
	BaseMode string        `json:"base_mode"`
	Safety   SafetyView    `json:"safety"`
}

// OfferView says whether a command would be taken now.
type OfferView struct {
	Kind    Kind   `json:"kind"`
	Local   bool   `json:"local_only"` // taken at the machine only
	Refused string `json:"refused"`    // why it would be refused at the machine; "" = it would be taken
}

// BatchView is the batch that runs; absent (null) between batches.
type BatchView struct {
	ID               uint64 `json:"id"`
	Recipe           string `json:"recipe"`
	RecipeHash       string `json:"recipe_hash"`
	GreenKg          Number `json:"green_kg"`
	SinceChargeS     Number `json:"since_charge_s"`
	TurnS            Number `json:"turn_s"`
	TurnC            Number `json:"turn_c"`
	FirstCrackS      Number `json:"first_crack_s"`
	CrackDueS        Number `json:"first_crack_due_s"` // foreseen, since charge; null once heard, or while too far away
	CrackDueSdS      Number `json:"first_crack_due_sd_s"`
	DevelopmentS     Number `json:"development_s"`     // since first crack, to the drop or to now
	DevelopmentRatio Number `json:"development_ratio"` // of the roast so far
	DropS            Number `json:"drop_s"`
	DropC            Number `json:"drop_c"`
	TargetDropC      Number `json:"target_drop_c"` // of the recipe, or as it was changed
	DropDueS         Number `json:"drop_due_s"`    // expected, since charge; null = not foreseen
	LongerS          Number `json:"longer_s"`      // by which the drop was put off
	DropLeastC       Number `json:"drop_least_c"`  // to which the drop can still be changed; null = it cannot
	DropMostC        Number `json:"drop_most_c"`
	Stage            int    `json:"stage"` // from 0
	LossAtDrop       Number `json:"loss_at_drop"`

	Amended *AmendedView `json:"amended"` // null = the recipe's curve is followed as it is
}

// AmendedView is a curve as people have changed it, see Amended.
type AmendedView struct {
	FromS  Number `json:"from_s"`
	CurveS Number `json:"curve_s"`
	EndS   Number `json:"end_s"`
	FromK  Number `json:"from_k"`
	EndK   Number `json:"end_k"`
}

// SafetyView is what the gate decided.
type SafetyView struct {
	HeatPermitted bool     `json:"heat_permitted"`
	Tripped       bool     `json:"tripped"`
	SafeState     string   `json:"safe_state"`
	SafeStateName string   `json:"safe_state_name"`
	FirstCause    string   `json:"first_cause"`
	Standing      []string `json:"standing"` // causes that stand or are latched
	HeldBack      string   `json:"held_back"`
	Trips         uint64   `json:"trips"` // since start
}

// Measured is everything with a number that moves.
type Measured struct {
	Points  map[string]PointView  `json:"points"` // by role; roles that the machine has not are left out
	Bean    BeanView              `json:"bean"`
	Air     LoopView              `json:"air"`
	Base    LoopView              `json:"base"`
	Drum    DrumView              `json:"drum"`
	Trial   *TrialView            `json:"experiment"` // on a loop: that runs, or the last; null = none since start
	Outputs map[string]OutputView `json:"outputs"`    // by role
}

// PointView is one measured value.
type PointView struct {
	Value   Number `json:"value"`
	Unit    string `json:"unit"` // "" for contacts, counters and status
	Quality string `json:"quality"`
	Cause   string `json:"cause,omitempty"` // why it is not good
	AgeS    Number `json:"age_s"`
}

// BeanView is the estimate and the curve it is led along. All estimates are
// null while none is being made.
type BeanView struct {
	Active       bool   `json:"active"`
	TargetC      Number `json:"target_c"`
	TargetKPerS  Number `json:"target_k_per_s"`
	TrueC        Number `json:"true_c"`
	TrueSdC      Number `json:"true_sd_c"`
	RateKPerS    Number `json:"rate_k_per_s"`
	RateSdKPerS  Number `json:"rate_sd_k_per_s"`
	MoistureDB   Number `json:"moisture_dry_basis"`
	Loss         Number `json:"loss"`
	LossSd       Number `json:"loss_sd"`
	ProbeLagS    Number `json:"probe_lag_s"`
	HeatFactor   Number `json:"heat_factor"`
	LearnedKPerS Number `json:"learned_k_per_s"` // added to the wanted rate by what earlier batches taught
	LearnedK     Number `json:"learned_k"`       // what that has done to the probe so far, reckoned
	LimitedHigh  bool   `json:"limited_high"`
	LimitedLow   bool   `json:"limited_low"`
	Bound        string `json:"bound"`   // what holds the loop back, see Bound; "" = nothing
	ShortC       Number `json:"short_c"` // forecast at the end of the curve; null = the loop is not closed
	LateS        Number `json:"late_s"`
}

// LoopView is one heat loop. The set point is null while the loop is off, the
// measured temperature while no probe of the loop is usable.
type LoopView struct {
	Mode      string `json:"mode"`
	SetC      Number `json:"set_c"`
	MeasuredC Number `json:"measured_c"`
	Duty      Number `json:"duty"` // share of rated power, 0..1
	PowerW    Number `json:"power_w"`
	Limited   bool   `json:"limited"`
}

// TrialView is an experiment on a loop. Figures of the rest are null until it is
// known, those of a relay until it has swung once.
type TrialView struct {
	Loop       string `json:"loop"`
	Method     string `json:"method"`
	Phase      string `json:"phase"`
	Why        string `json:"why"`
	Done       bool   `json:"done"`
	StartS     Number `json:"start_s"`   // scan time
	ChangedS   Number `json:"changed_s"` // scan time of the last change of the duty
	BaseC      Number `json:"base_c"`
	NoiseK     Number `json:"noise_k"`
	BaseDuty   Number `json:"base_duty"`
	Duty       Number `json:"duty"`
	StepDuty   Number `json:"step_duty"`
	LimitK     Number `json:"limit_k"`
	HystK      Number `json:"hysteresis_k"`
	Cycles     int    `json:"cycles"`
	PeriodS    Number `json:"period_s"`
	AmplitudeK Number `json:"amplitude_k"`
}

// DrumView is the drum and the air through it.
type DrumView struct {
	SetMMPerS      Number `json:"set_mm_per_s"`
	SetHz          Number `json:"set_hz"`
	MeasuredMMPerS Number `json:"measured_mm_per_s"`
	MeasuredRPM    Number `json:"measured_rpm"`
	FlowSetKgPerH  Number `json:"flow_set_kg_per_h"`
	FlowKgPerH     Number `json:"flow_kg_per_h"`
}

// OutputView is what was asked of an output and what it got, in the
// engineering unit of its role; powers are shares 0..1.
type OutputView struct {
	Wish   Number `json:"wish"`
	Permit Number `json:"permit"`
}

// EventView is one event.
type EventView struct {
	Stamp
	State string `json:"state"`
	Batch uint64 `json:"batch"` // 0 = none
	Kind  string `json:"kind"`
	Name  string `json:"name"`
	Text  string `json:"text"`
	Value Number `json:"value"`
	Limit Number `json:"limit"`
}

// NewView makes the whole view of a scan.
func NewView(s *Scan) View {
	st := stamp(s)
	return View{Stamp: st, Status: status(s), Measured: measured(s)}
}

// NewStatusView makes the part of the view that changes with the sequence.
func NewStatusView(s *Scan) StatusView { return StatusView{stamp(s), status(s)} }

// NewMeasuredView makes the part of the view that changes with every scan.
func NewMeasuredView(s *Scan) MeasuredView { return MeasuredView{stamp(s), measured(s)} }

// NewAlarmsView makes the part of the view that calls for a person.
func NewAlarmsView(s *Scan) AlarmsView {
	a := &s.Alarms
	v := AlarmsView{Stamp: stamp(s), SafetyView: safety(s), Horn: a.Horn, Flood: a.Flood, Activations: a.Activations, NotShown: a.NotShown, Alarms: []AlarmView{}}
	for i := range a.List[:a.Num] {
		if x := &a.List[i]; x.State != AlarmNormal {
			v.Alarms = append(v.Alarms, x.view())
		}
	}
	return v
}

// NewEventView makes the view of event i of the scan, 0 ≤ i < s.NumEvents.
func NewEventView(s *Scan, i int) EventView {
	e := &s.Events[i]
	return EventView{Stamp: stamp(s), State: s.State, Batch: s.Batch.ID, Kind: e.Kind.String(),
		Name: e.Name, Text: e.Text, Value: Number(e.Value), Limit: Number(e.Limit)}
}

// Changed reports whether the status part of the view says something else in b
// than in a, running times aside.
func Changed(a, b *Scan) bool {
	return a.State != b.State || a.Next != b.Next || a.NoReady != b.NoReady || a.NotNow != b.NotNow || a.Air.Mode != b.Air.Mode || a.Base.Mode != b.Base.Mode ||
		a.Forecast != b.Forecast || a.Batch.ID != b.Batch.ID || a.Batch.Recipe != b.Batch.Recipe || a.Batch.Stage != b.Batch.Stage ||
		a.Batch.TurnS != b.Batch.TurnS || a.Batch.TargetDropC != b.Batch.TargetDropC || a.Batch.LongerS != b.Batch.LongerS || a.Batch.Amended != b.Batch.Amended || a.Batch.FirstCrackS != b.Batch.FirstCrackS || a.Batch.DropS != b.Batch.DropS ||
		AlarmsChanged(a, b)
}

// AlarmsChanged reports whether what the gate decided differs between a and b.
func AlarmsChanged(a, b *Scan) bool { return a.Safety != b.Safety || a.Alarms.changed(&b.Alarms) }

// TimeString writes a wall clock reading the way every view does.
func TimeString(unixNano int64) string {
	return time.Unix(0, unixNano).UTC().Format("2006-01-02T15:04:05.000Z07:00")
}

func stamp(s *Scan) Stamp {
	return Stamp{Time: TimeString(s.UnixNano), Quality: worst(&s.Image).String(), Scan: s.N, ScanS: Number(s.ScanS)}
}

func worst(m *point.Image) point.Quality {
	w := point.Absent
	for i := range m.In {
		w = max(w, m.In[i].Quality)
	}
	return w
}

func status(s *Scan) Status {
	v := Status{State: s.State, InStateS: Number(s.InS), Next: s.Next, ReadyInS: unless0(s.ReadyInS, s.ReadyInS), NoReady: s.NoReady, Recipe: s.Batch.Recipe, GreenKg: unless0(s.Batch.GreenKg, s.Batch.GreenKg),
		AirMode: s.Air.Mode.String(), BaseMode: s.Base.Mode.String(), Safety: safety(s)}
	v.Commands = make([]OfferView, NumKinds)
	for i, k := range Kinds {
		v.Commands[i] = OfferView{Kind: k, Local: k.LocalOnly(), Refused: s.NotNow[i]}
	}
	v.Forecast = s.Forecast.view()
	if b := &s.Batch; b.ID != 0 {
		devS, devRatio := development(unless0(b.FirstCrackS, b.FirstCrackS), endS(b))
		v.Batch = &BatchView{CrackDueS: unless0(b.CrackDueS, b.CrackDueS), CrackDueSdS: unless0(b.CrackDueS, b.CrackDueSdS), DevelopmentS: devS, DevelopmentRatio: devRatio,
			ID: b.ID, Recipe: b.Recipe, RecipeHash: b.RecipeHash, GreenKg: Number(b.GreenKg),
			SinceChargeS: unless0(b.SinceS, b.SinceS), TurnS: unless0(b.TurnS, b.TurnS), TurnC: unless0(b.TurnS, b.TurnC),
			FirstCrackS: unless0(b.FirstCrackS, b.FirstCrackS), DropS: unless0(b.DropS, b.DropS), DropC: unless0(b.DropS, b.DropC),
			TargetDropC: unless0(b.TargetDropC, b.TargetDropC), Stage: b.Stage, LossAtDrop: unless0(b.DropS, b.LossAtDrop),
			DropDueS: unless0(b.DropDueS, b.DropDueS), LongerS: Number(b.LongerS), DropLeastC: unless0(b.DropLeastC, b.DropLeastC), DropMostC: unless0(b.DropLeastC, b.DropMostC)}
		if a := &b.Amended; *a != (Amended{}) {
			v.Batch.Amended = &AmendedView{Number(a.FromS), Number(a.CurveS), Number(a.EndS), Number(a.FromK), Number(a.EndK)}
		}
	}
	return v
}

func safety(sc *Scan) SafetyView {
	s := &sc.Safety
	v := SafetyView{HeatPermitted: s.HeatPermitted, Tripped: s.Tripped, SafeState: s.SafeState,
		SafeStateName: s.SafeStateName, FirstCause: s.First, HeldBack: s.HeldBack, Trips: s.Trips, Standing: []string{}}
	for i := range sc.Alarms.List[:sc.Alarms.Num] {
		if a := &sc.Alarms.List[i]; a.State.Stands() {
			v.Standing = append(v.Standing, a.ID)
		}
	}
	return v
}

func measured(s *Scan) Measured {
	v := Measured{Points: make(map[string]PointView), Outputs: make(map[string]OutputView, point.NumOutputs)}
	for i := range point.NumInputs {
		p := s.Image.In[i]
		if p.Quality == point.Absent {
			continue
		}
		v.Points[i.String()] = PointView{Value: given(p.Usable(), p.V), Unit: i.Role().Unit,
			Quality: p.Quality.String(), Cause: p.Cause.String(), AgeS: Number(p.AgeS)}
	}
	for o := range point.NumOutputs {
		v.Outputs[o.String()] = OutputView{Wish: Number(s.Wish[o]), Permit: Number(s.Permit[o])}
	}
	in := &s.Image.In
	v.Bean = bean(&s.Bean)
	v.Air = loop(&s.Air, in[point.InletAir].Usable())
	v.Base = loop(&s.Base, in[point.DrumSkin].Usable() || in[point.DrumSkin2].Usable())
	d := &s.Drum
	v.Drum = DrumView{SetMMPerS: Number(d.SetMMPerS), SetHz: Number(d.SetHz),
		MeasuredMMPerS: unless0(d.MeasuredMMPerS, d.MeasuredMMPerS), MeasuredRPM: unless0(d.MeasuredRPM, d.MeasuredRPM),
		FlowSetKgPerH: Number(d.FlowSetKgPerH), FlowKgPerH: Number(d.FlowKgPerH)}
	if t := &s.Trial; t.Loop != "" {
		v.Trial = &TrialView{Loop: t.Loop, Method: t.Method, Phase: t.Phase, Why: t.Why, Done: t.Done, StartS: Number(t.StartS),
			ChangedS: unless0(t.StepDuty, t.ChangedS), BaseC: unless0(t.StepDuty, t.BaseC), NoiseK: unless0(t.StepDuty, t.NoiseK),
			BaseDuty: unless0(t.StepDuty, t.BaseDuty), Duty: unless0(t.StepDuty, t.Duty), StepDuty: unless0(t.StepDuty, t.StepDuty),
			LimitK: Number(t.LimitK), HystK: unless0(t.HystK, t.HystK), Cycles: t.Cycles, PeriodS: unless0(t.PeriodS, t.PeriodS), AmplitudeK: unless0(t.PeriodS, t.AmplitudeK)}
	}
	return v
}

func bean(b *Bean) BeanView {
	on := !b.EstimatorOff
	return BeanView{Active: b.Active, TargetC: unless0(b.TargetC, b.TargetC), TargetKPerS: unless0(b.TargetC, b.TargetKPerS),
		TrueC: given(on, b.TrueC), TrueSdC: given(on, b.TrueSdC), RateKPerS: given(on, b.RateKPerS), RateSdKPerS: given(on, b.RateSdKPerS),
		MoistureDB: given(on, b.MoistureDB), Loss: given(on, b.Loss), LossSd: given(on, b.LossSd),
		ProbeLagS: given(on, b.ProbeLagS), HeatFactor: given(on, b.HeatFactor), LearnedKPerS: given(b.Active, b.LearnedKPerS), LearnedK: given(b.Active, b.LearnedK),
		LimitedHigh: b.LimitedHigh, LimitedLow: b.LimitedLow,
		Bound: b.Bound.String(), ShortC: given(b.Active, b.ShortC), LateS: given(b.Active, b.LateS)}
}

func loop(l *Loop, measured bool) LoopView {
	return LoopView{Mode: l.Mode.String(), SetC: given(l.Mode != Off, l.SetC), MeasuredC: given(measured, l.MeasuredC),
		Duty: Number(l.Duty), PowerW: Number(l.PowerW), Limited: l.Limited}
}

// unless0 gives v unless key, whose zero means "not yet" or "not known", is 0.
func unless0(key, v float64) Number { return given(key != 0, v) }

func given(ok bool, v float64) Number {
	if !ok {
		return Unknown
	}
	return Number(v)
}
