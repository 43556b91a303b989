package safety

import (
	"math"

	"drumwright/io/point"
	"drumwright/profiles"
)

// Plausibility of the probes (estimates, common practice, no source).
const (
	shortK       = 10.0  // from the room counts as a short while something is hot
	hotC         = 120.0 // that something
	plungeKPerS  = 25.0  // no bean probe falls so fast in beans
	settledS     = 60.0  // after charge the bean probe is in the bed
	coldMostC    = 45.0  // a cold machine is below
	coldHoursS   = 8 * 3600.0
	inGasK       = 5.0   // bean and exhaust closer than this: both feel gas
	swappedK     = 10.0  // that exhaust falls more than the beans at charge
	unnoticedK   = 25.0  // the same where no charge was seen: more than their lags make
	chargedC     = 120.0 // a hot charge begins above
	reversedK    = 5.0   // below the room, while others are far above
	reversedHotK = 20.0
	jumpK        = 15.0  // between two samples
	coolingKPerS = 0.004 // over trendSpanS; four times the noise of its slope at 0.15 K
	trendSpanS   = 60.0
	shiftK       = 5.0 // of all probes at once
	forgetKPerS  = 0.5
	hotterAirK   = 30.0 // over the beans: air that heats them whatever they evaporate
)

// beanShort is active when a bean probe reads the room while the machine is
// hot: a shorted thermocouple reads its own terminals.
func beanShort(_ *Gate, v *view) finding {
	room := v.roomC()
	hot := false
	for _, i := range [...]point.Input{point.Exhaust, point.DrumSkin} {
		x := v.img.In[i]
		hot = hot || sound(x) && x.V > hotC
	}
	f := finding{limit: room + shortK, unit: "°C"}
	for _, i := range [...]point.Input{point.Bean, point.Bean2} {
		x := v.img.In[i]
		if f.value = x.V; hot && sound(x) && x.V < room+shortK {
			f.active, f.detail = true, i.String()
			return f
		}
		f.unknown = f.unknown || unknown(x)
	}
	f.detail = point.Bean.String()
	return f
}

// beanPlunge is active when the bean probe falls in the bed faster than beans
// can make it.
func beanPlunge(g *Gate, v *view) finding {
	rate, ok := g.slope[slopeBean].PerS()
	return finding{active: ok && v.SinceChargeS > settledS && rate < -plungeKPerS, unknown: !ok, value: rate, limit: -plungeKPerS, unit: "K/s", detail: "bean"}
}

// beansApart is active when two bean probes in the bed differ by more than a
// share of the site's value.
func beansApart(share float64) func(*Gate, *view) finding {
	return func(g *Gate, v *view) finding {
		a, b := v.img.In[point.Bean], v.img.In[point.Bean2]
		limit := share * float64(g.limits.ProbesApartK)
		f := finding{unknown: unknown(a) || unknown(b), value: math.Abs(a.V - b.V), limit: limit, unit: "K", detail: "bean and bean_2"}
		f.active = sound(a) && sound(b) && f.value > limit && v.SinceChargeS > settledS
		return f
	}
}

// compared are the probes that agree in a cold machine.
var compared = [...]point.Input{point.Bean, point.Bean2, point.InletAir, point.DrumSkin, point.DrumSkin2, point.Exhaust,
	point.HeaterElement, point.HighLimit, point.Ambient}

// coldApart is active when the probes of a cold machine do not agree: a wrong
// unit, a wrong kind of thermocouple, drift. Cold is a machine that has not
// heated since the start, or for hours, and of whose probes two thirds say so.
// Metal that is still warm from before a restart is told from a wrong probe by
// its falling: a wrong scale stays where it is.
func coldApart(g *Gate, v *view) finding {
	f := finding{limit: float64(g.limits.ColdApartK), unit: "K", detail: "all probes"}
	if g.heated && g.heatOffS < coldHoursS {
		return f
	}
	n, cold, sum := 0, 0, 0.0
	for _, i := range compared {
		if x := v.img.In[i]; sound(x) {
			if n++; x.V > -10 && x.V < coldMostC {
				cold++
				sum += x.V
			}
		}
	}
	if n < 3 || 3*cold < 2*n {
		return f
	}
	mean, low, high := sum/float64(cold), math.Inf(1), math.Inf(-1)
	for k, i := range compared {
		if x := v.img.In[i]; sound(x) {
			if rate, ok := g.trend[k].PerS(); ok && x.V > mean+f.limit && rate < -coolingKPerS && !g.heated {
				continue
			}
			if far := math.Abs(x.V - mean); far > f.value {
				f.value, f.detail = far, i.String()
			}
			low, high = math.Min(low, x.V), math.Max(high, x.V)
		}
	}
	f.value = high - low
	f.active = f.value > f.limit
	return f
}

// chargeMemory is how far bean, exhaust and inlet air fell at charge.
type chargeMemory struct {
	peakC      [3]float64 // before, forgotten at forgetKPerS
	lowC       [3]float64 // since
	wasS       float64
	wrongK     float64 // that exhaust fell more
	swapped    bool
	unnoticedK float64 // the same where no charge has been noticed
}

func (g *Gate) noticeCharge(v *view) {
	c := &g.charge
	bean := v.img.In[point.Bean]
	if !v.BeansIn {
		c.swapped = false
	}
	seen := true
	for k, i := range [...]point.Input{point.Bean, point.Exhaust, point.InletAir} {
		x := v.img.In[i]
		switch {
		case !sound(x):
			seen = false
		case v.SinceChargeS <= 0 || c.wasS <= 0:
			c.peakC[k] = math.Max(x.V, c.peakC[k]-forgetKPerS*v.gapS)
			c.lowC[k] = x.V
		default:
			c.lowC[k] = math.Min(c.lowC[k], x.V)
		}
	}
	fell := func(k int) float64 { return c.peakC[k] - c.lowC[k] }
	if v.SinceChargeS >= settledS && c.wasS > 0 && c.wasS < settledS && c.peakC[0] > chargedC {
		c.wrongK = fell(1) - fell(0)
		c.swapped = c.wrongK > swappedK
	}
	// Where the fall of the bean probe tells of the charge, a charge behind
	// exchanged probes is not noticed at all. Only beans cool the exhaust while the
	// air that goes in stays as hot as it was.
	c.unnoticedK = 0
	if seen && v.SinceChargeS <= 0 && c.wasS <= 0 && g.heating && c.peakC[1] > chargedC && fell(2) < swappedK && c.lowC[1] > v.roomC()+shortK {
		c.unnoticedK = fell(1) - fell(0)
	}
	c.wasS = v.SinceChargeS
	// One jump of a noisy probe makes no peak, and beans cool of themselves when
	// the air that blows on them is hardly hotter than they are.
	believed := g.jumps[0].believed
	switch in := v.img.In[point.InletAir]; {
	case v.SinceChargeS < 1.5*settledS:
		g.peakC = 0
	case sound(bean):
		g.peakC = math.Max(believed, g.peakC)
		if !g.heating || !sound(in) || in.V < believed+hotterAirK {
			g.peakC = believed
		}
	}
}

func swapped(g *Gate, _ *view) finding {
	c := &g.charge
	if c.unnoticedK > unnoticedK {
		return finding{active: true, value: c.unnoticedK, limit: unnoticedK, unit: "K", detail: "exhaust fell more than bean, and no charge was seen"}
	}
	return finding{active: c.swapped, value: c.wrongK, limit: swappedK, unit: "K", detail: "exhaust fell more than bean"}
}

// outOfBed is active when bean and exhaust read the same late in a roast: both
// feel gas, which is hotter than the beans as long as it heats them.
func outOfBed(g *Gate, v *view) finding {
	a, b := v.img.In[point.Bean], v.img.In[point.Exhaust]
	f := finding{unknown: unknown(a) || unknown(b), value: math.Abs(a.V - b.V), limit: inGasK, unit: "K", detail: "bean and exhaust"}
	// Past the recipe's end, with a person to drop, both come to rest together.
	over := v.DropC > 0 && a.V >= v.DropC-1
	f.active = sound(a) && sound(b) && f.value < inGasK && v.SinceChargeS > settledS && g.airBalance.feelsBed() && g.heating && g.asked[0] > 0.3 && !over
	return f
}

// reversed is active when a probe reads below the room while two others are
// well above it: a thermocouple connected the wrong way round falls as it heats.
func reversed(_ *Gate, v *view) finding {
	room, hot := v.roomC(), 0
	for _, i := range compared {
		if x := v.img.In[i]; sound(x) && x.V > room+reversedHotK {
			hot++
		}
	}
	f := finding{limit: room - reversedK, unit: "°C"}
	for _, i := range jumpy {
		x := v.img.In[i]
		if sound(x) && x.V < room-reversedK && hot >= 2 {
			f.active, f.value, f.detail = true, x.V, i.String()
			return f
		}
		f.unknown = f.unknown || unknown(x)
	}
	return f
}

// jumpy are the probes whose jumps are counted.
var jumpy = [...]point.Input{point.Bean, point.InletAir, point.DrumSkin, point.Exhaust}

// jumps counts samples that are further from the last believed one than a
// probe can move, in seconds. The third in a row is believed: that was a step.
type jumps struct {
	believed float64
	begun    bool
	row      int
	bucket   [60]float64 // s of bad samples in each of the last seconds
	count    [60]int
	at       int
	inS      float64
	n10      int
	s60      float64
}

func (j *jumps) add(x point.Value, gapS float64) {
	for j.inS += math.Min(gapS, 60); j.inS >= 1; j.inS-- {
		j.at = (j.at + 1) % len(j.bucket)
		j.n10 -= j.count[(j.at+len(j.count)-10)%len(j.count)]
		j.s60 -= j.bucket[j.at]
		j.bucket[j.at], j.count[j.at] = 0, 0
	}
	switch {
	case !sound(x):
	case !j.begun || math.Abs(x.V-j.believed) <= jumpK || j.row == 2:
		j.believed, j.begun, j.row = x.V, true, 0
	default:
		j.row++
		j.count[j.at]++
		j.n10++
		j.bucket[j.at] += math.Min(gapS, 1)
		j.s60 += math.Min(gapS, 1)
	}
}

// noisy is active when a probe jumps more often than a step of its own would.
func noisy(g *Gate, v *view) finding {
	for k, i := range jumpy {
		if n := g.jumps[k].n10; n > 3 {
			return finding{active: true, value: float64(n), limit: 3, unit: "jumps in 10 s", detail: i.String()}
		}
	}
	return finding{}
}

// swamped is active when a tenth of a minute's samples of a probe are jumps.
func swamped(g *Gate, v *view) finding {
	for k, i := range jumpy {
		if s := g.jumps[k].s60; s > 6 {
			return finding{active: true, value: s, limit: 6, unit: "s of jumps in a minute", detail: i.String()}
		}
	}
	return finding{}
}

// oneConverter are the probes that may hang on one converter.
var oneConverter = [...]point.Input{point.Bean, point.InletAir, point.DrumSkin, point.Exhaust, point.HeaterElement}

// shift compares the probes of one unit with what they read half a second to a
// second ago and takes of it what they have not moved by in the time before: in a
// machine that warms each has a rate of its own, but only a converter moves all
// of them in one scan.
type shift struct {
	mates    [len(oneConverter)]bool // probes on the unit of the bean probe
	mark     [3]shiftMark            // newest first
	together bool
	byK      float64
}

type shiftMark struct {
	c     [len(oneConverter)]float64
	atS   float64
	taken bool
}

const markS = 0.5 // between two marks at the least

func newShift(m *profiles.Machine) shift {
	var s shift
	home := m.In[point.Bean]
	for k, i := range oneConverter {
		s.mates[k] = m.HasIn[i] && m.In[i].Bus == home.Bus && m.In[i].Unit == home.Unit
	}
	return s
}

func (s *shift) add(v *view) {
	n, low, high := 0, math.Inf(1), math.Inf(-1)
	old, was := &s.mark[1], &s.mark[2]
	for k, i := range oneConverter {
		if x := v.img.In[i]; s.mates[k] && sound(x) && was.taken {
			by := x.V - old.c[k]
			beside := by - (old.c[k]-was.c[k])/(old.atS-was.atS)*(v.ScanS-old.atS)
			if math.IsNaN(beside) {
				continue
			}
			if n++; by*beside <= 0 {
				by = 0
			} else if math.Abs(beside) < math.Abs(by) {
				by = beside
			}
			low, high = math.Min(low, by), math.Max(high, by)
		}
	}
	if s.together, s.byK = false, 0; n >= 3 {
		s.byK = (low + high) / 2
		s.together = (low > shiftK || high < -shiftK) && high-low < math.Max(shiftK, math.Abs(s.byK)/4)
	}
	if v.gapS == 0 || s.mark[0].taken && v.ScanS-s.mark[0].atS < markS-1e-9 {
		return
	}
	s.mark[2], s.mark[1] = s.mark[1], s.mark[0]
	s.mark[0].atS, s.mark[0].taken = v.ScanS, true
	for k, i := range oneConverter {
		if s.mark[0].c[k] = math.NaN(); sound(v.img.In[i]) {
			s.mark[0].c[k] = v.img.In[i].V
		}
	}
}

func shifted(g *Gate, _ *view) finding {
	return finding{active: g.shift.together, value: g.shift.byK, limit: shiftK, unit: "K in 1 s", detail: "all probes of one unit"}
}
