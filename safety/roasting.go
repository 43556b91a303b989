package safety

import "drumwright/io/point"

// Of the batch (estimates, common practice, no source).
const (
	overdueK   = 8.0
	overdueS   = 60.0
	secondK    = 12.0 // the bean probe lags by half a minute: more comes too late
	coldSkinC  = 120.0
	coldFirstS = 30.0
)

// dropOverdue is active when the beans have passed the end of the roast.
func dropOverdue(_ *Gate, v *view) finding {
	x := v.img.In[point.Bean]
	switch {
	case !(v.RoastS > settledS):
	case v.DropC > 0 && sound(x) && x.V > v.DropC+overdueK:
		return finding{active: true, value: x.V, limit: v.DropC + overdueK, unit: "°C", detail: "bean"}
	case v.LatestS > 0 && v.RoastS > v.LatestS+overdueS:
		return finding{active: true, value: v.RoastS, limit: v.LatestS + overdueS, unit: "s", detail: "since charge"}
	}
	return finding{detail: "bean"}
}

// doubleCharge is active when the bean probe falls a second time.
func doubleCharge(g *Gate, v *view) finding {
	x := v.img.In[point.Bean]
	return finding{active: sound(x) && g.peakC-x.V >= secondK, unknown: unknown(x), value: g.peakC - x.V, limit: secondK, unit: "K", detail: "bean"}
}

// coldCharge is active just after a charge into a cold drum or without heat.
func coldCharge(g *Gate, v *view) finding {
	x := v.img.In[point.DrumSkin]
	f := finding{unknown: unknown(x), value: x.V, limit: coldSkinC, unit: "°C", detail: "drum_skin"}
	f.active = v.SinceChargeS > 0 && v.SinceChargeS < coldFirstS && sound(x) && x.V < coldSkinC
	return f
}
