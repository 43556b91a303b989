package safety

import (
	"drumwright/io/point"
	"drumwright/profiles"
)

// Fire outside the drum (estimates, common practice, no source).
const (
	collectorRiseKPerS = 3.0
	trayHotC           = 80.0
	trayCoolingS       = 120.0
	trayRiseKPerS      = 0.5
	trayRiseAfterS     = 60.0
)

func below(t profiles.Trip, k float64) profiles.Trip {
	t.At -= profiles.Celsius(k)
	return t
}

func collectorRise(g *Gate, _ *view) finding {
	rate, ok := g.slope[slopeCollector].PerS()
	return finding{active: ok && rate > collectorRiseKPerS, unknown: !ok, value: rate, limit: collectorRiseKPerS, unit: "K/s", detail: "collector"}
}

// trayHot is active when beans that should long be cool are hot.
func trayHot(_ *Gate, v *view) finding {
	x := v.img.In[point.CoolingTray]
	return finding{active: sound(x) && x.V > trayHotC && v.TrayS > trayCoolingS, unknown: unknown(x), value: x.V, limit: trayHotC, unit: "°C", detail: "cooling_tray"}
}

// trayRise is active when beans in the tray become hotter.
func trayRise(g *Gate, v *view) finding {
	rate, ok := g.slope[slopeTray].PerS()
	return finding{active: ok && rate > trayRiseKPerS && v.TrayS > trayRiseAfterS, unknown: !ok, value: rate, limit: trayRiseKPerS, unit: "K/s", detail: "cooling_tray"}
}

// flareS and flareC are how long a suspected fire is left alone and how cool
// the beans must be before it is reset: air on a smothered fire makes it flare
// (estimates, common practice, no source).
const (
	flareS = 900.0
	flareC = 100.0
)

// flaring says why a suspected fire is not reset yet, "" when it may be.
func (g *Gate) flaring(i int) string {
	if g.table[i].State != S2 {
		return ""
	}
	x := g.v.img.In[point.Bean]
	switch {
	case g.scanS-g.latchS[i] < flareS:
		return "a suspected fire is left shut for fifteen minutes"
	case !sound(x) || x.V >= flareC:
		return "the bean probe does not show less than 100 °C yet"
	}
	return ""
}
