package drum

import (
	"errors"
	"fmt"
	"math"
)

// Probe is the bean probe that is to be placed in the face.
type Probe struct {
	SheathMM     Figure  // diameter
	ImmersedMM   Figure  // length that reaches into the drum
	FilmWPerM2K  Figure  // heat exchange with the bed
	FaceLessBedK Figure  // face plate less beans
	RatePerMinK  float64 // rate of rise at which the lag is stated
	GapMM        float64 // from the face to the nearest edge of the paddles; 0 unknown
}

// Rules of placing, all common practice without a source, or judgement.
const (
	CoverMM       = 8.0  // beans over the tip: one bean
	WallClearMM   = 8.0  // from the wall: nearer it reads beans that lie on the wall
	AbsentShare   = 0.30 // of the bed, on paddles or in flight
	ClearanceMM   = 15.0 // to anything that moves: less traps beans
	depthLeastMM  = WallClearMM + CoverMM
	depthGoodMM   = 20.0
	targetShare   = 0.45 // of the mean of full and thinned green depth
	PlacedPercent = 95.0 // of the time the tip must be covered at the glass
)

// Eye of the bed, about which it turns and where beans linger: a third of the
// depth below the surface (from a mass balance with a linear velocity profile
// and an active layer of 0.4 of the depth).
const eyeShare = 0.33

// Place is a point of the face: angle from the bottom towards the rising side,
// and distance from the drum's wall.
type Place struct {
	AngleDeg float64 `json:"angle_deg"`
	WallMM   float64 `json:"wall_mm"`
}

// XY is the place in the cross-section.
func (p Place) XY(radiusMM float64) XY {
	sin, cos := math.Sincos(radians(p.AngleDeg))
	r := radiusMM - p.WallMM
	return XY{r * sin, -r * cos}
}

// Border is how far from the wall a probe may reach at one angle.
type Border struct {
	AngleDeg float64 `json:"angle_deg"`
	FromMM   float64 `json:"from_mm"` // least distance from the wall
	ToMM     float64 `json:"to_mm"`   // greatest
}

// SheathRow is what a sheath of one diameter does in this place.
type SheathRow struct {
	DiameterMM     float64 `json:"diameter_mm"`
	ResponseS      Figure  `json:"response_s"`
	StemErrorK     Figure  `json:"stem_error_k"`
	LengthFor1MM   Figure  `json:"length_for_1_percent_mm"`
	BehindK        Figure  `json:"behind_k"`
	RateHighPerMin Figure  `json:"rate_high_k_per_min"`
}

// Placement is where the bean probe goes, and what is to be expected of it.
type Placement struct {
	Possible     bool        `json:"possible"` // the least green bed covers a probe
	Best         Place       `json:"best"`
	Region       []Border    `json:"region"`           // places under beans at every stage; empty if there are none
	CoverFullMM  Figure      `json:"cover_full_mm"`    // beans over the tip, shallowest stage, all beans in the bed
	CoverThinMM  Figure      `json:"cover_thin_mm"`    // the same with AbsentShare of them away
	FromEyeMM    Figure      `json:"from_eye_mm"`      // from the eye of the bed; above 0 is on the wall's side
	PastPaddleMM float64     `json:"past_paddle_mm"`   // from the circle that the paddles' tips sweep; below 0 is inside it
	LeastBatchG  Figure      `json:"least_batch_g"`    // green mass below which no place is covered
	ThinDepthMM  Figure      `json:"thin_depth_mm"`    // depth of the shallowest bed with AbsentShare away
	Shallowest   string      `json:"shallowest"`       // stage with the thinnest bed
	Sheaths      []SheathRow `json:"sheaths"`          // the usual diameters and the one given
	Given        SheathRow   `json:"given"`            // the one given
	Remarks      []string    `json:"remarks"`          // what a builder must know
	Checks       []string    `json:"checks"`           // what to look at when the face is back on
	RadiusMM     float64     `json:"drum_radius_mm"`   // for drawing
	PaddleMM     float64     `json:"paddle_height_mm"` // for drawing
}

// bedOf is the bed of a stage with part of it away.
func bedOf(radius, length, batch, green, roasted, loss, absent float64) Bed {
	ml := batch * (1 - loss) / BulkAt(green, min(roasted, green), loss) * 1000 * (1 - absent)
	b, err := NewBed(radius, length, ml)
	if err != nil {
		return Bed{radiusMM: radius}
	}
	return b
}

// cover is how many mm of beans lie over a place in a bed.
func cover(b *Bed, tiltDeg float64, p Place) float64 {
	return (b.radiusMM-p.WallMM)*math.Cos(radians(p.AngleDeg-tiltDeg)) - (b.radiusMM - b.DepthMM)
}

// Put finds the place for the bean probe that is under beans through all the
// stages and as far from wall, surface and paddles as the machine allows.
func (s *Setup) Put(stages []Stage, p Probe) (*Placement, error) {
	if len(stages) == 0 {
		return nil, errors.New("probe placement: no stage is given")
	}
	if err := errors.Join(s.Check(), p.check()); err != nil {
		return nil, err
	}
	thinnest, depth := 0, math.Inf(1)
	for i, st := range stages {
		b := bedOf(s.RadiusMM.Value, s.LengthMM.Value, s.BatchG.Value, s.GreenKgPerM3.Value, s.RoastedKgPerM3.Value, st.LossFrac, AbsentShare)
		if b.DepthMM < depth {
			thinnest, depth = i, b.DepthMM
		}
	}
	if depth <= 0 {
		return nil, fmt.Errorf("probe placement: %.0f g of beans do not fit the drum", s.BatchG.Value)
	}
	out := &Placement{Shallowest: stages[thinnest].Name, RadiusMM: s.RadiusMM.Value, PaddleMM: s.PaddleMM.Value}
	loss := stages[thinnest].LossFrac
	out.place(s, loss)
	out.figures(s, loss)
	out.sheaths(p)
	out.Remarks = out.remarks(s, p)
	out.Checks = checksAfter(s, out)
	return out, nil
}

func (p *Probe) check() error {
	return errors.Join(
		p.SheathMM.check("sheath diameter", "mm", 0.25, 8),
		p.ImmersedMM.check("immersed length", "mm", 3, 300),
		p.FilmWPerM2K.check("heat exchange of the sheath", "W/m²K", 10, 1000),
		p.FaceLessBedK.check("face plate less beans", "K", -250, 250),
		Figure{Value: p.RatePerMinK}.check("rate of rise", "K/min", 0, 60),
		Figure{Value: p.GapMM}.check("gap between face and paddles", "mm", 0, 300),
	)
}

// place finds region and best place: the middle of the tilts, at the target
// depth, held within what is covered at the ends of the tilt's uncertainty.
func (out *Placement) place(s *Setup, loss float64) {
	at := func(absent float64) Bed {
		return bedOf(s.RadiusMM.Value, s.LengthMM.Value, s.BatchG.Value, s.GreenKgPerM3.Value, s.RoastedKgPerM3.Value, loss, absent)
	}
	full, thin := at(0), at(AbsentShare)
	tilt, u := s.TiltDeg.Value, s.TiltDeg.Uncertainty
	most := func(angle float64) float64 {
		far := math.Abs(angle-tilt) + u
		if far >= 90 {
			return 0
		}
		return thin.radiusMM - (thin.radiusMM-thin.DepthMM+CoverMM)/math.Cos(radians(far))
	}
	for a := tilt - 45; a <= tilt+45; a++ {
		if to := most(a); to >= WallClearMM {
			out.Region = append(out.Region, Border{a, WallClearMM, to})
		}
	}
	out.Possible = len(out.Region) > 0
	target := targetShare * (full.DepthMM + thin.DepthMM) / 2
	out.Best = Place{tilt, max(WallClearMM, min(target, most(tilt)))}
	out.PastPaddleMM = out.Best.WallMM - s.PaddleMM.Value
}

// figures states the margins of the best place with their uncertainty.
func (out *Placement) figures(s *Setup, loss float64) {
	in := []Figure{s.RadiusMM, s.LengthMM, s.BatchG, s.GreenKgPerM3, s.RoastedKgPerM3, s.TiltDeg}
	type margins [5]float64
	best := out.Best
	v, u := propagate(in, func(x []float64) (m margins) {
		full := bedOf(x[0], x[1], x[2], x[3], x[4], loss, 0)
		thin := bedOf(x[0], x[1], x[2], x[3], x[4], loss, AbsentShare)
		m[0], m[1] = cover(&full, x[5], best), cover(&thin, x[5], best)
		m[2] = m[1] - eyeShare*thin.DepthMM
		m[3] = thin.DepthMM
		// The batch whose thinned bed is just deep enough.
		lo, hi := 0.0, 1.0
		for bedOf(x[0], x[1], hi, x[3], x[4], loss, AbsentShare).DepthMM < depthLeastMM && hi < 1e6 {
			hi *= 2
		}
		for range 50 {
			mid := (lo + hi) / 2
			if bedOf(x[0], x[1], mid, x[3], x[4], loss, AbsentShare).DepthMM < depthLeastMM {
				lo = mid
			} else {
				hi = mid
			}
		}
		m[4] = hi
		return m
	}, func(m *margins) []float64 { return m[:] })
	f := func(i int, method string) Figure { return Figure{v[i], u[i], method} }
	out.CoverFullMM = f(0, "circular segment at rest, all beans in the bed")
	out.CoverThinMM = f(1, "circular segment, 30 % of the beans on paddles or in flight (common practice, no source)")
	out.FromEyeMM = f(2, "eye at a third of the depth below the surface, from a mass balance")
	out.ThinDepthMM = f(3, "circular segment, 30 % of the beans away")
	out.LeastBatchG = f(4, "green mass whose thinned bed is a bean deeper than the probe's clearance from the wall")
}

// usualSheathsMM are the diameters that suppliers keep.
var usualSheathsMM = [...]float64{1.0, 1.5, 2.0, 3.0, 4.5, 6.0}

func (out *Placement) sheaths(p Probe) {
	for _, d := range usualSheathsMM {
		out.Sheaths = append(out.Sheaths, p.row(Figure{Value: d}))
	}
	out.Given = p.row(p.SheathMM)
}

// brakePerMin2K is the fall of the rate of rise for which its error is stated:
// 1 K/min each minute, as in the middle of many roasts (common practice, no
// source).
const brakePerMin2K = 1.0

func (p *Probe) row(diameter Figure) SheathRow {
	in := []Figure{diameter, p.ImmersedMM, p.FilmWPerM2K, p.FaceLessBedK}
	type vals [5]float64
	v, u := propagate(in, func(x []float64) vals {
		s := Sheath{DiameterMM: x[0], ImmersedMM: x[1], FilmWPerM2K: max(x[2], 1), RootLessBedK: x[3], AlongWPerMK: SheathAlongWPerMK,
			HeatMJPerM3K: SheathHeatMJPerM3K, RatePerMinK: p.RatePerMinK, BrakePerMin2K: brakePerMin2K}
		return vals{s.ResponseS(), s.StemErrorK(), s.LengthMM(0.01), s.BehindK(), s.RateHighPerMinK()}
	}, func(v *vals) []float64 { return v[:] })
	f := func(i int, method string) Figure { return Figure{v[i], u[i], method} }
	return SheathRow{diameter.Value,
		f(0, "rho c d/(4 h); heat exchange and materials from memory: measure it with the warm test"),
		f(1, "fin with insulated tip, 1/cosh(mL)"),
		f(2, "fin with insulated tip"),
		f(3, "rate of rise times response"),
		f(4, "1 K/min per minute times response")}
}

func (out *Placement) remarks(s *Setup, p Probe) (list []string) {
	say := func(when bool, format string, args ...any) {
		if when {
			list = append(list, fmt.Sprintf(format, args...))
		}
	}
	thin := out.ThinDepthMM.Value
	say(thin < depthLeastMM, "no place is covered: with part of the beans in flight the %s bed is %.0f mm deep where %.0f mm are needed; charge at least %.0f g", out.Shallowest, thin, depthLeastMM, out.LeastBatchG.Value)
	say(thin >= depthLeastMM && !out.Possible, "covered only while the bed lies at the tilt given; turned by its uncertainty the probe comes bare: look through the glass before drilling")
	say(thin >= depthLeastMM && thin < depthGoodMM, "the thinned %s bed is %.0f mm deep; %.0f mm would be comfortable", out.Shallowest, thin, depthGoodMM)
	say(out.FromEyeMM.Value < 0, "the place lies above the eye of the thinned bed, where beans are loose and the reading unsteady")
	if s.Paddles > 0 && out.PastPaddleMM < ClearanceMM {
		say(true, "the paddles pass this place or come within %.0f mm of it: the probe must end in the gap between face and paddles, %.0f mm from their edge, or the paddle needs a notch there", ClearanceMM, ClearanceMM)
		say(p.GapMM == 0, "the gap between face and paddles is not given: measure it before buying the probe")
		say(p.GapMM > 0 && p.GapMM-ClearanceMM < p.ImmersedMM.Value, "the gap of %.0f mm leaves %.0f mm for the probe, less than the %.0f mm given: notch the paddle, or accept the greater stem error of a shorter probe",
			p.GapMM, max(0, p.GapMM-ClearanceMM), p.ImmersedMM.Value)
	}
	say(p.ImmersedMM.Value < out.Given.LengthFor1MM.Value, "%.0f mm under beans is short: conduction along the sheath stays below 1 %% of the difference from %.0f mm", p.ImmersedMM.Value, out.Given.LengthFor1MM.Value)
	return list
}

// checksAfter is what to look at when the face is back on.
func checksAfter(s *Setup, out *Placement) []string {
	checks := []string{
		"Isolate the machine, then turn the drum by hand through a whole turn: nothing touches the probe.",
		"Leave room for growth: a steel drum lengthens by about 0.0024 mm for each mm and 200 K (coefficient from memory).",
		fmt.Sprintf("Drum turning cold behind the glass, beans of the first and the last stage in turn, each at its speed: the tip is covered %.0f %% of the time in a video of both.", PlacedPercent),
		"No bean-free slot follows a paddle over the tip, and no bean wedges between probe and paddle.",
		"Hot, with beans: the reading ripples less than 0.5 K in the rhythm of the paddles.",
		"Change the drum's speed by a tenth: the reading must not jump. If it does, the tip is in and out of the bed.",
		"Probe straight, gland tight, cable off everything hot and turning. Look again at each cleaning.",
		"Then charge a batch and have its record looked at: that measures lag and bed share, which are only estimated here.",
	}
	if s.Paddles == 0 {
		checks[3] = "No bean wedges between probe and wall."
	}
	return checks
}
