package heat

import (
	"drumwright/control/bean"
	"drumwright/control/pid"
)

const (
	// powerReserve of the limit is left to feedback when a reference is laid out.
	powerReserve = 0.02
	// scaleFloor of full power is the least the adaptation acts on, so that it
	// stays usable near ambient.
	scaleFloor = 0.15
	// The adaptation may take off or add this share: heater, mains and flow
	// meter together are not further off.
	adaptMin, adaptMax = -0.35, 0.6
	// trackingShare of Ti is the tracking time of the anti-windup.
	trackingShare = 0.6
	// intakeFilterS smooths the intake probe, whose steps would go straight
	// into the storage term.
	intakeFilterS = 15
)

// AirIn is what one scan brings to the air loop.
type AirIn struct {
	Mode       pid.Mode
	SetC       float64 // operator's set point
	RemoteC    float64 // outer loop's set point, used in Cascade
	MeasuredC  float64 // inlet air
	IntakeC    float64 // air going into the heater
	FlowKgPerS float64 // air mass flow
	MainsRatio float64 // mains voltage over nominal; 0 if not measured
	ManualDuty float64 // put out in Manual
}

// AirOut is what one scan gives.
type AirOut struct {
	Duty         float64 // 0..1
	PowerW       float64 // what the duty amounts to
	LimitW       float64 // most that flow and mains allow
	SetC         float64 // set point in use
	ReferenceC   float64 // where the inlet air should be now
	ModelC       float64 // what the probe should read now
	FeedForwardW float64
	FeedbackW    float64
	Adaptation   float64 // learned share added to the feed-forward
	AtMin, AtMax bool    // the reference or the power is held by a limit
	LowFlow      bool    // no power because of too little air
}

// AirLoop controls the inlet air temperature by the heater power.
//
// Order within a scan: Step, then Track with the duty that really went out.
// Without Track the loop takes its own duty as applied.
type AirLoop struct {
	p AirLoopParams

	flow, intakeC float64 // filtered
	rampC         float64 // set point after the slew
	refC          float64 // wanted inlet air
	ductC, modelC float64 // the same behind duct and behind probe
	elementC      float64 // element temperature that belongs to refC
	adapt         float64
	slope         pid.Slope
	fade          fade

	out      AirOut
	appliedW float64
	fullW    float64 // power at duty 1 in the last scan
	capW     float64 // what others let through, as far as Track has shown

	running bool // a valid scan has been seen
	align   bool // the references start from the reading
	cut     bool // the last output was cut by others: nothing to learn from it
	pending bool // the last scan has not been integrated yet
	wishW   float64
	errorK  float64
	scaleW  float64
	tuning  pid.Series
}

// NewAirLoop builds the loop with its heater off.
func NewAirLoop(p AirLoopParams) (*AirLoop, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	p = p.filled()
	return &AirLoop{p: p, align: true, fullW: p.MaxPowerW, capW: p.MaxPowerW}, nil
}

// Step runs one scan. An input that is not a finite number gives Hold.
func (l *AirLoop) Step(in AirIn) AirOut {
	setC := in.Mode.SetPoint(in.SetC, in.RemoteC)
	if !finite(setC, in.MeasuredC, in.IntakeC, in.FlowKgPerS) || (in.Mode == pid.Manual && !finite(in.ManualDuty)) {
		return l.Hold()
	}
	l.settle()
	h := l.p.PeriodS
	if !l.running {
		l.flow, l.intakeC, l.running = in.FlowKgPerS, in.IntakeC, true
	}
	l.flow += lagShare(h, l.p.FlowFilterS) * (in.FlowKgPerS - l.flow)
	l.intakeC += lagShare(h, intakeFilterS) * (in.IntakeC - l.intakeC)
	l.fullW = l.p.MaxPowerW * mainsFactor(in.MainsRatio)

	// The filter must not hide a blower that has just stopped.
	if min(in.FlowKgPerS, l.flow) < l.p.MinFlowShare*l.p.NominalFlowKgPerS {
		return l.idle(AirOut{SetC: setC, AtMax: true, LowFlow: true}, in.MeasuredC, 0)
	}
	gc := l.flow * bean.AirCpJPerKgK((l.heldC(in.MeasuredC)+l.intakeC)/2)
	eps := l.p.effectiveness(l.flow, gc)
	limitW := clamp(gc*eps*(l.p.ElementMaxC-l.intakeC), 0, l.fullW)
	if !l.cut {
		l.capW += lagShare(h, l.p.ReferenceLagS) * (limitW - l.capW)
	}
	if in.Mode == pid.Manual {
		powerW := clamp(in.ManualDuty*l.fullW, 0, limitW)
		return l.idle(AirOut{SetC: setC, LimitW: limitW}, in.MeasuredC, powerW)
	}
	perK := 1 / (l.p.Efficiency * eps) // element excess per K of inlet air excess
	if l.align {
		l.align, l.fade.seat = false, true
		l.rampC, l.refC, l.ductC, l.modelC = in.MeasuredC, in.MeasuredC, in.MeasuredC, in.MeasuredC
		l.elementC = l.intakeC + (l.refC-l.intakeC)*perK
		l.slope.Unseat()
	}
	o := AirOut{SetC: setC, LimitW: limitW, Adaptation: l.adapt}

	l.layOut(&o, gc, perK, min(limitW, l.capW))
	l.model()
	staticW := gc * (l.refC - l.intakeC) / l.p.Efficiency
	elementC := l.intakeC + (l.refC-l.intakeC)*perK
	o.FeedForwardW = staticW + l.p.ElementHeatJPerK*(elementC-l.elementC)/h
	l.elementC = elementC

	l.tuning = l.p.Tuning(l.flow, (l.refC+l.intakeC)/2)
	l.errorK = l.modelC - in.MeasuredC
	l.scaleW = max(staticW, scaleFloor*l.p.MaxPowerW)
	slope := l.slope.Step(l.errorK, l.tuning.TdS/AirDerivativeN, h)
	o.FeedbackW = l.tuning.Kc * (l.errorK + l.tuning.TdS*slope)

	l.wishW = l.fade.over(o.FeedForwardW+l.adapt*l.scaleW+o.FeedbackW, l.appliedW, lagShare(h, l.p.ReferenceLagS))
	o.PowerW = clamp(l.wishW, 0, limitW)
	o.AtMin = o.AtMin || l.wishW < 0
	o.AtMax = o.AtMax || l.wishW > limitW
	o.ReferenceC, o.ModelC = l.refC, l.modelC
	l.pending = true
	return l.emit(o)
}

// Track tells the duty that really went out this scan, after gate and driver:
// the duty, not the on and off of a time-proportioned output.
// A duty of 0 where the loop gave one counts as heat off: the reference then
// starts anew from the reading, and what was learned is kept. A lesser cut
// bounds the reference to what it lets through.
func (l *AirLoop) Track(appliedDuty float64) {
	if !finite(appliedDuty) {
		return
	}
	l.appliedW = clamp(appliedDuty, 0, 1) * l.fullW
	if appliedDuty <= 0 && l.out.Duty > 0 {
		l.align, l.pending = true, false
	} else if appliedDuty < l.out.Duty-cutDuty {
		l.capW, l.cut, l.pending = l.appliedW, true, false
	}
}

// Hold repeats the last applied duty and lets nothing move, for a scan without
// a valid reading. How long to hold is the caller's decision.
func (l *AirLoop) Hold() AirOut {
	l.settle()
	l.slope.Unseat()
	l.fade.seat = true
	l.out.Duty, l.out.PowerW = l.appliedW/l.fullW, l.appliedW
	return l.out
}

// layOut moves the reference towards the set point as fast as slew, lag and
// power allow. The power needed is linear in the new reference, so the limits
// on power are limits on the reference.
func (l *AirLoop) layOut(o *AirOut, gc, perK, limitW float64) {
	h := l.p.PeriodS
	l.rampC = pid.RateLimit(l.rampC, o.SetC, l.p.SlewKPerS*h)
	wantK := l.refC + lagShare(h, l.p.ReferenceLagS)*(l.rampC-l.refC) - l.intakeC

	storeWPerK := l.p.ElementHeatJPerK / h
	slopeW := gc/l.p.Efficiency + storeWPerK*perK
	baseW := storeWPerK * (l.intakeC - l.elementC)
	if gc*(l.refC-l.intakeC)/l.p.Efficiency > scaleFloor*l.p.MaxPowerW {
		slopeW += l.adapt * gc / l.p.Efficiency
	} else {
		baseW += l.adapt * scaleFloor * l.p.MaxPowerW
	}
	lowK, highK := -baseW/slopeW, ((1-powerReserve)*limitW-baseW)/slopeW
	o.AtMin, o.AtMax = wantK < lowK, wantK > highK
	l.refC = l.intakeC + clamp(wantK, lowK, highK)
}

// model runs the reference through duct and probe. The duct lag takes in the
// scan and a half between reading and heat.
func (l *AirLoop) model() {
	h := l.p.PeriodS
	l.ductC += lagShare(h, l.p.ductS(l.flow)+1.5*h) * (l.refC - l.ductC)
	l.modelC += lagShare(h, l.p.ProbeTauS) * (l.ductC - l.modelC)
}

// idle gives a power that is not controlled: the references will start from
// the reading.
func (l *AirLoop) idle(o AirOut, measuredC, powerW float64) AirOut {
	l.align = true
	o.PowerW, o.Adaptation, o.ReferenceC, o.ModelC = powerW, l.adapt, measuredC, measuredC
	return l.emit(o)
}

func (l *AirLoop) emit(o AirOut) AirOut {
	l.appliedW, l.cut = o.PowerW, false
	o.Duty = o.PowerW / l.fullW
	l.out = o
	return o
}

// heldC is the temperature that air properties are taken at.
func (l *AirLoop) heldC(measuredC float64) float64 {
	if l.align {
		return measuredC
	}
	return l.refC
}

// settle adapts by the last scan, now that its applied power is known. The
// adaptation multiplies, so a wrong mains voltage found at one set point is
// right at the next.
func (l *AirLoop) settle() {
	if !l.pending {
		return
	}
	l.pending = false
	t := l.tuning
	rateW := t.Kc/t.TiS*l.errorK + (l.appliedW-l.wishW)/(trackingShare*t.TiS)
	l.adapt = clamp(l.adapt+l.p.PeriodS*rateW/l.scaleW, adaptMin, adaptMax)
}
