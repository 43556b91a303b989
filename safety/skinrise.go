package safety

import (
	"math"

	"drumwright/io/point"
)

// How a cold, empty drum must warm (estimates, common practice, no source).
const (
	fromColdC    = 100.0          // a skin that reads more has risen
	riseLeastK   = 15.0           // that the drum should have risen before it is judged
	riseShare    = 0.5            // of what it should have risen
	stefanW      = 5.670374419e-8 // W/(m² K⁴), CODATA 2018
	kelvinOffset = 273.15
)

// skinRise follows how an empty drum warms from cold by what its heaters are
// given: panels with their own heat, then the air that blows through.
type skinRise struct {
	begun  bool
	fromC  float64 // skin when heat came
	skinC  float64 // where it should be now
	panelC float64
}

func (s *skinRise) notice(g *Gate, v *view) {
	x := v.img.In[point.DrumSkin]
	if v.BeansIn || !g.heating || !sound(x) || x.V >= fromColdC || !(g.machine.Bed.DrumHeat > 0) {
		*s = skinRise{}
		return
	}
	if !s.begun {
		*s = skinRise{begun: true, fromC: x.V, skinC: x.V, panelC: x.V}
	}
	bed, panel, room := &g.machine.Bed, &g.machine.Heaters.Radiant, v.roomC()
	fourth := func(c float64) float64 { return math.Pow(math.Max(0, c+kelvinOffset), 4) }
	radiantW := panel.AreaM2 * panel.Emissivity * stefanW * (fourth(s.panelC) - fourth(s.skinC))
	gapS := math.Min(v.gapS, 1) // steps must stay short for the fastest part
	if c := float64(panel.PanelJPK); c > 0 {
		s.panelC += gapS * (g.drawn[1]*g.powerW[1] - radiantW - float64(panel.PanelWPK)*(s.panelC-room)) / c
	}
	toSkinW := radiantW - float64(bed.DrumLoss)*(s.skinC-room)
	if in, wPerK := v.img.In[point.InletAir], g.flowKgPerH(v)/3600*airJPerKgK; sound(in) && wPerK > 0 {
		toSkinW -= wPerK * math.Expm1(-float64(bed.GasToDrum)/wPerK) * (in.V - s.skinC)
	}
	s.skinC += gapS * toSkinW / float64(bed.DrumHeat)
}

// skinNotRising is active when the skin sensor shows clearly less rise than the
// heat that the drum was given must make.
func skinNotRising(g *Gate, v *view) finding {
	x, s := v.img.In[point.DrumSkin], &g.skinRise
	should := s.skinC - s.fromC
	f := finding{unknown: unknown(x), limit: 100 * riseShare, unit: "%", detail: "drum_skin, of the rise that it should show"}
	if s.begun && should > riseLeastK {
		f.value = 100 * (x.V - s.fromC) / should
		f.active = f.value < f.limit
	}
	return f
}
