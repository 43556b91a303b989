package drum

import (
	"errors"
	"fmt"
	"math"
)

// RoastedLossFrac is the loss of mass for which Setup states the bulk density
// of roasted beans.
const RoastedLossFrac = 0.20

// Setup is a drum and the beans in it, each figure with what is known of it.
type Setup struct {
	RadiusMM     Figure // inner radius
	LengthMM     Figure // inner length
	SkinMMSPerHz Figure // skin speed for each Hz of the drive
	PaddleMM     Figure // height of the paddles above the wall; 0 for a smooth drum
	ShaftMM      Figure // diameter of the shaft; 0 for none
	Paddles      int    // paddles around the drum; 0 for a smooth drum

	BatchG         Figure // green mass
	GreenKgPerM3   Figure // bulk density of green beans, weighed in a jug
	RoastedKgPerM3 Figure // the same for beans that have lost RoastedLossFrac
	TiltDeg        Figure // slope of the turning bed's surface
	FrictionDeg    Figure // friction angle of beans on drum steel

	BaseHz       float64 // frequency up to which the motor has full torque
	MinHz, MaxHz float64 // drive limits
}

// Stage is a moment of a roast at which the drum is looked at.
type Stage struct {
	Name     string  `json:"name"`
	LossFrac float64 `json:"loss_frac"` // share of green mass lost
	SkinMMS  Figure  `json:"skin_mm_per_s"`
}

// Quantity is one figure of a stage.
type Quantity int

// The quantities of a stage, in the order in which a person reads them.
const (
	MassG Quantity = iota
	BulkKgPerM3
	BedML
	SkinMMS
	DrumRPM
	DriveHz
	Froude
	CriticalPercent
	ToWarnMMS
	FillPercent
	DepthMM
	ChordMM
	ToeDeg
	ShoulderDeg
	CirculationCM2PerS
	TurnoverS
	FirstOffDeg
	FlightReposeDeg
	LastOffDeg
	LandingMM
	BeyondToeMM
	ShaftPassMM
	HighestMM
	WallCarryDeg
	WallOffDeg
	LiftTorqueNM
	MotorTorquePercent
	NumQuantities
)

// quantities says what each figure is: name for programs, words for people,
// unit, decimals worth showing, and where it comes from.
var quantities = [NumQuantities]struct {
	key, words, unit string
	decimals         int
	method           string
}{
	MassG:              {"mass_g", "beans in the drum", "g", 0, "green mass less the loss"},
	BulkKgPerM3:        {"bulk_kg_per_m3", "bulk density", "kg/m³", 0, "falls exponentially with loss between the two jug weights"},
	BedML:              {"bed_ml", "volume of the bed", "ml", 0, "mass over bulk density"},
	SkinMMS:            {"skin_mm_per_s", "skin speed", "mm/s", 0, "as given for the stage"},
	DrumRPM:            {"drum_rpm", "drum turns", "rpm", 1, "skin speed over circumference"},
	DriveHz:            {"drive_hz", "drive frequency", "Hz", 1, "skin speed over the drive's constant"},
	Froude:             {"froude", "Froude number v²/(gR)", "", 3, "v²/(gR), R the inner radius"},
	CriticalPercent:    {"critical_percent", "of the speed that pins beans to the wall", "%", 0, "root of the Froude number"},
	ToWarnMMS:          {"to_warn_mm_per_s", "margin to Froude 0.4, where carrying over begins to threaten", "mm/s", 0, "common practice, no source"},
	FillPercent:        {"fill_percent", "drum cross-section filled", "%", 1, "bed volume over drum volume"},
	DepthMM:            {"depth_mm", "depth of the bed", "mm", 1, "circular segment at rest"},
	ChordMM:            {"chord_mm", "width of the bed's surface", "mm", 0, "circular segment at rest"},
	ToeDeg:             {"toe_deg", "toe of the bed, from the bottom", "°", 0, "tilt less half the segment's angle; negative is the falling side"},
	ShoulderDeg:        {"shoulder_deg", "shoulder of the bed, from the bottom", "°", 0, "tilt plus half the segment's angle"},
	CirculationCM2PerS: {"circulation_cm2_per_s", "bed passing the surface, per length of drum", "cm²/s", 0, "rigid turning below the surface"},
	TurnoverS:          {"turnover_s", "time to turn the bed over once", "s", 2, "bed area over circulation"},
	FirstOffDeg:        {"first_off_deg", "first bean leaves, above the shaft's height", "°", 0, "slide limit at the paddle's tip; shoulder of the bed in a smooth drum"},
	FlightReposeDeg:    {"flight_repose_deg", "beans lie on a paddle at the shaft's height at this slope", "°", 0, "kinetic angle of repose of a flight, Schofield & Glikin 1962 (from memory, original not seen)"},
	LastOffDeg:         {"last_off_deg", "last bean leaves, above the shaft's height", "°", 0, "slide along the paddle from its root, integrated"},
	LandingMM:          {"landing_mm", "last bean lands past the shaft's centre line", "mm", 0, "free flight to bed or wall; negative is short of it"},
	BeyondToeMM:        {"beyond_toe_mm", "bare wall between toe and landing", "mm", 0, "0 where it lands on the bed"},
	ShaftPassMM:        {"shaft_pass_mm", "last bean passes the shaft's surface at", "mm", 0, "free flight; negative would hit the shaft"},
	HighestMM:          {"highest_mm", "highest point of its flight above the shaft's centre", "mm", 0, "free flight"},
	WallCarryDeg:       {"wall_carry_deg", "a single bean creeps up a bare wall, from the bottom", "°", 0, "friction limit on a smooth wall"},
	WallOffDeg:         {"wall_off_deg", "a bean pressed to a bare wall falls off, above the shaft's height", "°", 0, "sine equals the Froude number, no friction"},
	LiftTorqueNM:       {"lift_torque_nm", "torque to hold the bed up, at the drum", "N·m", 2, "weight times lever of the bed's centre; bearings and seals are not in it"},
	MotorTorquePercent: {"motor_torque_percent", "torque that the motor has left, of its rated", "%", 0, "falls with base frequency over frequency above it"},
}

// Key is the quantity's name for programs.
func (q Quantity) Key() string { return quantities[q].key }

// Words says what the quantity is.
func (q Quantity) Words() string { return quantities[q].words }

// Unit is the quantity's unit.
func (q Quantity) Unit() string { return quantities[q].unit }

// Decimals is how many decimals are worth showing.
func (q Quantity) Decimals() int { return quantities[q].decimals }

// Shows reports whether the quantity says anything of this drum: nothing is
// carried and thrown without paddles.
func (s *Setup) Shows(q Quantity) bool { return s.Paddles > 0 || q < FirstOffDeg || q > HighestMM }

// StageResult is a stage worked out.
type StageResult struct {
	Stage
	Figures  [NumQuantities]Figure
	Motion   Motion    // on a smooth wall
	MotionMM [2]Figure // skin speeds at which that motion begins and ends; the end may be +Inf
	Bed      Bed
	First    Throw // off the paddle's tip, or off the shoulder of a smooth drum
	Last     Throw // off the paddle's root
	Remarks  []string
}

// inputs are the uncertain inputs of a stage in a fixed order.
func (s *Setup) inputs(st *Stage) []Figure {
	return []Figure{s.RadiusMM, s.LengthMM, s.SkinMMSPerHz, s.PaddleMM, s.ShaftMM, s.BatchG, s.GreenKgPerM3, s.RoastedKgPerM3, s.TiltDeg, s.FrictionDeg, st.SkinMMS}
}

// Check refuses what cannot be a roasting drum, all faults at once.
func (s *Setup) Check() error {
	errs := []error{
		s.RadiusMM.check("drum radius", "mm", 20, 600),
		s.LengthMM.check("drum length", "mm", 30, 1500),
		s.SkinMMSPerHz.check("skin speed for each Hz", "mm/s/Hz", 0.2, 60),
		s.PaddleMM.check("paddle height", "mm", 0, s.RadiusMM.Value/2),
		s.ShaftMM.check("shaft diameter", "mm", 0, s.RadiusMM.Value),
		s.BatchG.check("green mass", "g", 20, 60000),
		s.GreenKgPerM3.check("green bulk density", "kg/m³", 400, 900),
		s.RoastedKgPerM3.check("roasted bulk density", "kg/m³", 200, s.GreenKgPerM3.Value),
		s.TiltDeg.check("tilt of the bed", "°", 5, 70),
		s.FrictionDeg.check("friction angle", "°", 5, 45),
	}
	if s.Paddles < 0 || s.Paddles > 24 || s.Paddles > 0 != (s.PaddleMM.Value > 0) {
		errs = append(errs, fmt.Errorf("%d paddles of %g mm: give 1 to 24 paddles and their height, or neither for a smooth drum", s.Paddles, s.PaddleMM.Value))
	}
	if !positive(s.BaseHz) || !positive(s.MinHz) || !(s.MaxHz > s.MinHz) || math.IsInf(s.MaxHz, 1) {
		errs = append(errs, fmt.Errorf("drive: base %g Hz, lowest %g Hz, highest %g Hz; all must be above 0, the lowest below the highest", s.BaseHz, s.MinHz, s.MaxHz))
	}
	return errors.Join(errs...)
}

// BulkAt is the bulk density, kg/m³, at a loss: exponential between the two that
// were weighed. It is a model of the swelling; more jugs would be better.
func BulkAt(greenKgPerM3, roastedKgPerM3, lossFrac float64) float64 {
	return greenKgPerM3 * math.Pow(roastedKgPerM3/greenKgPerM3, lossFrac/RoastedLossFrac)
}

// raw is one evaluation of a stage.
type raw struct {
	f           [NumQuantities]float64
	bed         Bed
	first, last Throw
	err         error
}

// Work works a stage out, with the uncertainty of every figure.
func (s *Setup) Work(st Stage) (*StageResult, error) {
	if err := errors.Join(s.Check(), st.SkinMMS.check("skin speed", "mm/s", 20, 1500)); err != nil {
		return nil, err
	}
	if !(st.LossFrac >= 0 && st.LossFrac <= 0.3) {
		return nil, fmt.Errorf("stage %s: loss %g, allowed is 0 to 0.3", st.Name, st.LossFrac)
	}
	nominal, unc := propagate(s.inputs(&st), func(x []float64) raw { return s.evaluate(x, st.LossFrac) }, func(r *raw) []float64 { return r.f[:] })
	if nominal.err != nil {
		return nil, fmt.Errorf("stage %s: %w", st.Name, nominal.err)
	}
	r := &StageResult{Stage: st, Bed: nominal.bed, First: nominal.first, Last: nominal.last}
	for q := range NumQuantities {
		r.Figures[q] = Figure{nominal.f[q], unc[q], quantities[q].method}
	}
	if st.SkinMMS.Method != "" {
		r.Figures[SkinMMS].Method = st.SkinMMS.Method
	}
	m, lo, hi := MotionAt(r.Figures[Froude].Value)
	r.Motion = m
	d := Drive{s.RadiusMM.Value, s.SkinMMSPerHz.Value}
	relative := s.RadiusMM.Uncertainty / s.RadiusMM.Value / 2 // v goes with the root of R
	for i, fr := range []float64{lo, hi} {
		v := d.SkinFromFroude(fr)
		r.MotionMM[i] = Figure{Value: v, Method: "Froude limit on a smooth wall, after Mellmann 2001 (from memory, original not seen)"}
		if !math.IsInf(v, 1) {
			r.MotionMM[i].Uncertainty = v * relative
		}
	}
	r.Remarks = s.remarks(r)
	return r, nil
}

func (s *Setup) evaluate(x []float64, loss float64) (r raw) {
	radius, length, k, paddle, shaft, batch, green, roasted, tilt, friction, v := x[0], x[1], x[2], x[3], x[4], x[5], x[6], x[7], x[8], x[9], x[10]
	d := Drive{radius, k}
	f := &r.f
	f[MassG] = batch * (1 - loss)
	f[BulkKgPerM3] = BulkAt(green, min(roasted, green), loss)
	f[BedML] = f[MassG] / f[BulkKgPerM3] * 1000
	if r.bed, r.err = NewBed(radius, length, f[BedML]); r.err != nil {
		return r
	}
	b := &r.bed
	f[SkinMMS], f[DrumRPM], f[DriveHz], f[Froude] = v, d.RPMFromSkin(v), d.HzFromSkin(v), d.Froude(v)
	f[CriticalPercent] = 100 * math.Sqrt(f[Froude])
	f[ToWarnMMS] = d.SkinFromFroude(FroudeWarn) - v
	f[FillPercent], f[DepthMM], f[ChordMM] = 100*b.FillFrac, b.DepthMM, b.ChordMM
	f[ToeDeg], f[ShoulderDeg] = tilt-degrees(b.HalfAngleRad), tilt+degrees(b.HalfAngleRad)
	f[CirculationCM2PerS], f[TurnoverS] = b.CirculationMM2PerS(v)/100, b.TurnoverS(v)
	c := section{radiusMM: radius, tiltRad: radians(tilt), axisToBed: radius - b.DepthMM, skinMMS: v,
		friction: math.Tan(radians(friction)), paddleMM: paddle, shoulderUp: radians(f[ShoulderDeg]) - math.Pi/2}
	if s.Paddles > 0 {
		r.first, r.last = c.offPaddle(radius-paddle), c.offPaddle(radius)
	} else {
		r.first = c.offShoulder()
		r.last = r.first
	}
	f[FirstOffDeg], f[LastOffDeg] = degrees(r.first.LeaveElevationRad), degrees(r.last.LeaveElevationRad)
	f[LandingMM], f[BeyondToeMM] = -r.last.Land.X, r.last.BeyondToeMM
	f[ShaftPassMM], f[HighestMM] = r.last.ShaftPassMM-shaft/2, r.last.HighestMM
	f[WallCarryDeg] = degrees(WallCarryRad(radians(friction), f[Froude]))
	f[WallOffDeg] = degrees(WallElevationRad(f[Froude]))
	f[FlightReposeDeg] = degrees(FlightReposeRad(c.friction, f[Froude]*(radius-paddle)/radius, 0))
	f[LiftTorqueNM] = f[MassG] / 1000 * GravityMPerS2 * b.CentroidMM / 1000 * math.Sin(radians(tilt))
	f[MotorTorquePercent] = 100 * min(1, s.BaseHz/f[DriveHz])
	return r
}

// Levels for remarks; all are common practice, no source.
const (
	fillDeepPercent  = 35.0
	froudeSlow       = 0.05
	derateBelowShare = 0.5 // of base frequency: a fan on the motor's shaft cools too little
)

// remarks says in plain words what a builder should notice.
func (s *Setup) remarks(r *StageResult) (out []string) {
	say := func(when bool, format string, args ...any) {
		if when {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	f := &r.Figures
	fr, u := f[Froude].Value, f[Froude].Uncertainty
	say(fr >= FroudeRefuse, "Froude %.2f: beans are carried round; do not run this", fr)
	say(fr >= FroudeWarn && fr < FroudeRefuse, "Froude %.2f is above %.1f: expect beans over the top", fr, FroudeWarn)
	say(fr < froudeSlow, "Froude %.3f is below %.2f: the bed may slump instead of turning", fr, froudeSlow)
	say(u > 0 && fr-u < froudeCataracting && fr+u > froudeCataracting, "within its uncertainty the motion may be cascading or cataracting")
	say(r.Motion == Cataracting && f[FillPercent].Value < 100*fillCataracting, "the table of motions names cataracting from %.0f %% fill only: in a bed this thin take the motion as a hint", 100*fillCataracting)
	say(f[FillPercent].Value > fillDeepPercent, "more than %.0f %% full: little room to fall", fillDeepPercent)
	say(s.Paddles > 0 && f[BeyondToeMM].Value > 0, "the last beans strike bare wall %.0f mm beyond the toe", f[BeyondToeMM].Value)
	say(s.Paddles > 0 && f[ShaftPassMM].Value < 0, "the last beans meet the shaft")
	say(s.Paddles > 0 && f[LandingMM].Value <= 0, "the last beans land short of the shaft")
	hz := f[DriveHz].Value
	say(hz > s.MaxHz || hz < s.MinHz, "%.1f Hz is outside the drive's %g to %g Hz", hz, s.MinHz, s.MaxHz)
	say(hz > s.BaseHz, "above the motor's base frequency of %g Hz: %.0f %% of rated torque is left, and breakdown torque falls with the square", s.BaseHz, f[MotorTorquePercent].Value)
	say(hz < derateBelowShare*s.BaseHz, "below half the base frequency a fan on the motor's shaft cools too little for long running: watch the motor's temperature")
	return out
}

func degrees(rad float64) float64 { return rad * 180 / math.Pi }
func radians(deg float64) float64 { return deg * math.Pi / 180 }
