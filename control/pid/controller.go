package pid

import (
	"errors"
	"fmt"
)

// AntiWindup is the way the integral is kept from running away while the
// output cannot follow.
type AntiWindup uint8

const (
	// BackCalculation drives the integral so that the controller's wish
	// follows the output that really went out. The normal choice.
	BackCalculation AntiWindup = iota
	// Conditional stops the integral while the output cannot follow and the
	// error would drive it further away. For loops with large, short-lived
	// feed-forward, which back-calculation would mistake for windup.
	Conditional
)

// Config is what a controller is built from.
type Config struct {
	Gains Gains
	// PeriodS is the scan period in s. It is constant in the formulas: a
	// jittering one would put its jitter into the derivative.
	PeriodS float64
	// Min and Max limit the output, in output units.
	Min, Max float64
	// RatePerS limits the change of the output per second; 0 means no limit.
	RatePerS float64
	// AntiWindup picks the mode; the zero value is BackCalculation.
	AntiWindup AntiWindup
}

// Validate reports every setting that cannot work.
func (c Config) Validate() error {
	errs := []error{c.Gains.Validate()}
	if !finite(c.PeriodS) || c.PeriodS <= 0 {
		errs = append(errs, fmt.Errorf("pid config: PeriodS is %g s, allowed is more than 0; set the scan period", c.PeriodS))
	}
	if !finite(c.Min) || !finite(c.Max) || c.Min >= c.Max {
		errs = append(errs, fmt.Errorf("pid config: output limits are Min %g and Max %g, allowed is Min below Max, both finite", c.Min, c.Max))
	}
	if !finite(c.RatePerS) || c.RatePerS < 0 {
		errs = append(errs, fmt.Errorf("pid config: RatePerS is %g, allowed is 0 (no limit) or more", c.RatePerS))
	}
	if c.AntiWindup > Conditional {
		errs = append(errs, fmt.Errorf("pid config: AntiWindup is %d, allowed is BackCalculation or Conditional", c.AntiWindup))
	}
	return errors.Join(errs...)
}

// In is what one scan brings. Measured and the set points share a unit;
// FeedForward and ManualOutput are in output units.
type In struct {
	Mode         Mode
	SetPoint     float64 // the operator's
	Remote       float64 // the outer loop's, used in Cascade
	Measured     float64
	FeedForward  float64 // added before the limits
	ManualOutput float64 // put out in Manual
}

// Out is what one scan gives.
type Out struct {
	Output   float64 // inside the limits
	Wish     float64 // the same before limits: P + I + D + feed-forward
	SetPoint float64 // the one in use
	P, I, D  float64
	// AtMin and AtMax say that a limit or the rate limit holds the output
	// above or below the wish.
	AtMin, AtMax bool
}

// Controller is one PID loop. Order within a scan: Step, then the output goes
// through whatever may still change it (selector, interlock, driver), then
// Applied with what really went out. Without Applied the controller takes its
// own output as applied.
type Controller struct {
	cfg   Config
	slope Slope

	integral float64 // in output units, so that a new Ti moves nothing
	applied  float64 // what went out last
	out      Out

	setPoint, measured float64 // of the last scan, for the change of gains
	mode               Mode
	running            bool // a valid sample has been seen
	align              bool // next automatic scan starts from applied
	pending            bool // the last scan has not been integrated yet
}

// New builds a controller in Manual with its output at 0, or at the limit
// nearest to 0.
func New(cfg Config) (*Controller, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	c := &Controller{cfg: cfg}
	c.applied = c.clamp(0)
	c.out.Output = c.applied
	return c, nil
}

// Step runs one scan. A reading, set point or feed-forward that is not a
// finite number gives Hold.
func (c *Controller) Step(in In) Out {
	r := in.Mode.SetPoint(in.SetPoint, in.Remote)
	if !finite(in.Measured) || !finite(in.FeedForward) || !finite(r) || (in.Mode == Manual && !finite(in.ManualOutput)) {
		return c.Hold()
	}
	c.settle()
	if c.running && in.Mode != c.mode {
		// A new source of the set point may jump: the integral takes up what
		// the proportional part makes of it, and the slope does not see it.
		c.align = true
		c.slope.last += c.cfg.Gains.C * (r - c.setPoint)
	}
	g := &c.cfg.Gains
	c.mode, c.setPoint, c.measured, c.running = in.Mode, r, in.Measured, true
	p := g.Kc * (g.B*r - in.Measured)
	d := g.Kc * g.TdS * c.slope.Step(g.C*r-in.Measured, g.filterS(), c.cfg.PeriodS)

	var wish float64
	if in.Mode == Manual {
		wish = in.ManualOutput
	} else {
		if c.align {
			c.integral, c.align = c.applied-p-d-in.FeedForward, false
		}
		wish = p + c.integral + d + in.FeedForward
		c.pending = true
	}
	u := c.clamp(wish)
	if c.cfg.RatePerS > 0 {
		u = c.clamp(RateLimit(c.applied, u, c.cfg.RatePerS*c.cfg.PeriodS))
	}
	c.applied = u
	c.out = Out{
		Output: u, Wish: wish, SetPoint: r, P: p, I: c.integral, D: d,
		AtMin: u > wish, AtMax: u < wish,
	}
	return c.out
}

// Applied tells what really went out this scan. The anti-windup and the rate
// limit start from it. A value that is no number is ignored.
func (c *Controller) Applied(u float64) {
	if finite(u) {
		c.applied = u
	}
}

// Track makes the next automatic scan start from u, whatever happened before:
// after heat was off, after the inner loop of a cascade left Cascade, or
// before the first scan.
func (c *Controller) Track(u float64) {
	if !finite(u) {
		return
	}
	c.pending, c.align, c.applied = false, true, c.clamp(u)
}

// Hold repeats the last applied output and lets nothing move: for a scan
// without a valid reading. How long to hold is the caller's decision. The next
// Step takes its reading as a first one, so the gap makes no derivative kick.
func (c *Controller) Hold() Out {
	c.settle()
	c.slope.Unseat()
	c.applied = c.clamp(c.applied)
	c.out.Output, c.out.I = c.applied, c.integral
	return c.out
}

// SetGains changes the settings without moving the output: the integral takes
// up what the proportional and derivative parts give or lose.
func (c *Controller) SetGains(g Gains) error {
	if err := g.Validate(); err != nil {
		return err
	}
	if c.running {
		c.settle()
		o := &c.cfg.Gains
		c.integral += o.Kc*(o.B*c.setPoint-c.measured) - g.Kc*(g.B*c.setPoint-c.measured)
		c.integral += (o.Kc*o.TdS - g.Kc*g.TdS) * c.slope.perS
		// A new C makes another signal of the same set point: the last sample
		// moves along, or the difference would look like a slope.
		c.slope.last += (g.C - o.C) * c.setPoint
	}
	c.cfg.Gains = g
	return nil
}

// Gains gives the settings in use.
func (c *Controller) Gains() Gains { return c.cfg.Gains }

// settle integrates the last scan, now that its applied output is known.
func (c *Controller) settle() {
	if !c.pending {
		return
	}
	c.pending = false
	g := &c.cfg.Gains
	if g.TiS == 0 {
		return
	}
	step := g.Kc * c.cfg.PeriodS / g.TiS * (c.setPoint - c.measured)
	missing := c.applied - c.out.Wish
	if c.cfg.AntiWindup == Conditional {
		// step has the sign of Kc e: frozen only if it drives the wish
		// further away from what went out.
		if step*missing < 0 {
			return
		}
		c.integral += step
		return
	}
	// A tracking time below the period would overshoot its own target.
	c.integral += step + min(1, c.cfg.PeriodS/g.trackingS())*missing
}

func (c *Controller) clamp(u float64) float64 { return max(c.cfg.Min, min(c.cfg.Max, u)) }
