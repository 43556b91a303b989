package heat

import (
	"math"

	"drumwright/control/bean"
	"drumwright/control/pid"
)

const (
	// gasFilterS smooths the heat from the air, whose noise would go straight
	// into the storage term of the panel.
	gasFilterS = 10
	// roomFilterS smooths the room's temperature for the same reason; rooms are
	// slow.
	roomFilterS = 120
	// takeOverS is the time constant in which the difference at a take-over
	// dies away; fast against drum and panel.
	takeOverS = 20
	// waitK is how far the skin may be behind its reference, with the power at
	// its limit, before the ramp waits.
	waitK = 1
)

// BaseIn is what one scan brings to the base loop.
type BaseIn struct {
	Mode       pid.Mode
	SetC       float64 // operator's set point
	RemoteC    float64 // outer loop's set point, used in Cascade
	SkinC      float64 // drum skin
	AmbientC   float64 // room
	InletC     float64 // inlet air; no number keeps the last heat from the air
	FlowKgPerS float64 // air mass flow; 0 takes no heat from the air
	BedWPerK   float64 // drum wall to beans, W/K; 0 = no beans
	BedC       float64 // beans; looked at where BedWPerK is not 0, no number keeps the last heat
	MainsRatio float64 // mains voltage over nominal; 0 if not measured
	ManualDuty float64 // put out in Manual
}

// BaseOut is what one scan gives.
type BaseOut struct {
	Duty         float64 // 0..1
	PowerW       float64 // what the duty amounts to
	LimitW       float64 // most that the mains allow
	SetC         float64 // set point in use
	ReferenceC   float64 // where the skin should be now
	AirHeatW     float64 // taken off the feed-forward, from air to drum
	BedHeatW     float64 // added to it, from drum to beans
	FeedForwardW float64
	FeedbackW    float64
	AtMin, AtMax bool // the power is held by a limit
}

// BaseLoop controls the drum skin temperature by the radiant power.
//
// Order within a scan: Step, then Track with the duty that really went out.
// Without Track the loop takes its own duty as applied.
type BaseLoop struct {
	p    BaseLoopParams
	pid  *pid.Controller
	fade fade

	rampC, midC, refC float64 // set point after the slew, after one lag, after both
	panelC            float64 // panel temperature that belongs to the reference
	airW              float64 // filtered heat from the air
	bedW              float64 // filtered heat to the beans
	ambientC          float64 // filtered room

	out      BaseOut
	appliedW float64
	fullW    float64
	align    bool // the references start from the reading
	running  bool // a heat from the air has been seen
	seenRoom bool
}

// NewBaseLoop builds the loop with its panel off.
func NewBaseLoop(p BaseLoopParams) (*BaseLoop, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	p = p.filled()
	// Its limits are out of the way: power is limited here, where the fading
	// difference of a take-over has been added, and told by Applied.
	c, err := pid.New(pid.Config{
		Gains: p.Gains(), PeriodS: p.PeriodS, Min: -1e3 * p.MaxPowerW, Max: 1e3 * p.MaxPowerW,
		AntiWindup: pid.Conditional,
	})
	if err != nil {
		return nil, err
	}
	return &BaseLoop{p: p, pid: c, align: true, fullW: p.MaxPowerW}, nil
}

// Step runs one scan. An input that is not a finite number gives Hold; a bad
// inlet air reading does not, see BaseIn.
func (l *BaseLoop) Step(in BaseIn) BaseOut {
	setC := in.Mode.SetPoint(in.SetC, in.RemoteC)
	if !finite(setC, in.SkinC, in.AmbientC) || (in.Mode == pid.Manual && !finite(in.ManualDuty)) {
		return l.Hold()
	}
	l.fullW = l.p.MaxPowerW * mainsFactor(in.MainsRatio)
	o := BaseOut{SetC: setC, LimitW: l.fullW, ReferenceC: in.SkinC}
	if in.Mode == pid.Manual {
		l.pid.Hold()
		l.align = true
		o.PowerW = clamp(in.ManualDuty, 0, 1) * l.fullW
		return l.emit(o)
	}
	if l.align {
		l.fade.seat = true
		l.rampC, l.midC, l.refC = in.SkinC, in.SkinC, in.SkinC
		l.pid.Hold() // no slope across the gap
	}
	o.FeedForwardW, o.AirHeatW = l.feedForward(in, setC)
	o.ReferenceC, o.BedHeatW = l.refC, l.bedW

	c := l.pid.Step(pid.In{Mode: pid.Auto, SetPoint: l.refC, Measured: in.SkinC, FeedForward: o.FeedForwardW})
	o.FeedbackW = c.Wish - o.FeedForwardW
	wishW := l.fade.over(c.Wish, l.appliedW, lagShare(l.p.PeriodS, takeOverS))
	o.PowerW = clamp(wishW, 0, l.fullW)
	o.AtMin, o.AtMax = wishW < 0, wishW > l.fullW
	o = l.emit(o)
	l.pid.Applied(o.PowerW - l.fade.powerW)
	return o
}

// Track tells the duty that really went out this scan, after gate and driver:
// the duty, not the on and off of a time-proportioned output.
// A duty of 0 where the loop gave one counts as heat off: the reference then
// starts anew from the reading, and the integral is kept.
func (l *BaseLoop) Track(appliedDuty float64) {
	if !finite(appliedDuty) {
		return
	}
	if appliedDuty <= 0 && l.out.Duty > 0 {
		l.align = true
	} else if appliedDuty < l.out.Duty-cutDuty {
		l.out.AtMax = true // someone else's limit holds the ramp as ours does
	}
	l.appliedW = clamp(appliedDuty, 0, 1) * l.fullW
	l.pid.Applied(l.appliedW - l.fade.powerW)
}

// Hold repeats the last applied duty and lets nothing move, for a scan without
// a valid reading. How long to hold is the caller's decision.
func (l *BaseLoop) Hold() BaseOut {
	l.pid.Hold()
	l.fade.seat = true
	l.out.Duty, l.out.PowerW = l.appliedW/l.fullW, l.appliedW
	return l.out
}

// feedForward moves the reference and gives the power it needs: what the drum
// stores and loses, less what the air gives it, and what the panel must store
// and lose to radiate that.
func (l *BaseLoop) feedForward(in BaseIn, setC float64) (powerW, airW float64) {
	h := l.p.PeriodS
	share := lagShare(h, l.p.ReferenceLagS)
	// A reference that runs away from a panel at its limit would ask for the
	// way back too late: the ramp waits.
	behindK := l.refC - in.SkinC
	if !(l.out.AtMax && setC > l.rampC && behindK > waitK) && !(l.out.AtMin && setC < l.rampC && behindK < -waitK) {
		l.rampC = pid.RateLimit(l.rampC, setC, l.p.SlewKPerS*h)
	}
	l.midC += share * (l.rampC - l.midC)
	lastC := l.refC
	l.refC += share * (l.midC - l.refC)

	if !l.seenRoom {
		l.ambientC, l.seenRoom = in.AmbientC, true
	}
	l.ambientC += lagShare(h, roomFilterS) * (in.AmbientC - l.ambientC)
	if finite(in.InletC, in.FlowKgPerS) {
		w := l.fromAirW(in.InletC, in.FlowKgPerS)
		if !l.running {
			l.airW, l.running = w, true
		}
		l.airW += lagShare(h, gasFilterS) * (w - l.airW)
	}
	if w := in.BedWPerK * (l.refC - in.BedC); in.BedWPerK == 0 || finite(w) {
		if in.BedWPerK == 0 {
			w = 0
		}
		l.bedW += lagShare(h, gasFilterS) * (w - l.bedW)
	}
	radiantW := l.p.DrumHeatJPerK*(l.refC-lastC)/h + l.p.DrumLossWPerK*(l.refC-l.ambientC) - l.airW + l.bedW

	drumK := l.refC + bean.KelvinOffset
	// A panel cannot be colder than the room, however much the drum should lose.
	roomK := l.ambientC + bean.KelvinOffset
	panelC := math.Sqrt(math.Sqrt(max(radiantW/l.p.radiationWPerK4()+drumK*drumK*drumK*drumK, roomK*roomK*roomK*roomK))) - bean.KelvinOffset
	if l.align {
		// Its real temperature is unknown here: no storage to make up.
		l.panelC, l.align = panelC, false
	}
	powerW = radiantW + l.p.PanelLossWPerK*(panelC-l.ambientC) + l.p.PanelHeatJPerK*(panelC-l.panelC)/h
	l.panelC = panelC
	return powerW, l.airW
}

// fromAirW is the heat the inlet air gives to a drum wall at the reference
// temperature; the reference, so that no reading feeds back through it.
func (l *BaseLoop) fromAirW(inletC, flowKgPerS float64) float64 {
	if flowKgPerS <= 0 {
		return 0
	}
	gc := flowKgPerS * bean.AirCpJPerKgK(inletC)
	return -gc * math.Expm1(-l.p.GasExchangeWPerK/gc) * (inletC - l.refC)
}

func (l *BaseLoop) emit(o BaseOut) BaseOut {
	l.appliedW = o.PowerW
	o.Duty = o.PowerW / l.fullW
	l.out = o
	return o
}
