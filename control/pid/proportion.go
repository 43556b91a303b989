package pid

import (
	"fmt"
	"math"
)

// Proportioner turns a duty into on and off within a fixed window, counted in
// scans: on first, then off. The duty is latched at the start of a window.
// What a window could not give, because of whole scans or minimum times, is
// carried into the next, so the mean stays exact.
type Proportioner struct {
	window, minOn, minOff int // scans

	at, on   int     // scan within the window, scans on in it
	carry    float64 // scans owed (positive) or given too much
	offScans int     // scans since the output last went off
	isOn     bool
}

// NewProportioner rounds the times to whole scans, minimum times upwards.
// Windows of 0.5 to 2 s suit solid-state relays, 15 to 30 s or more
// contactors (common practice, no source). Minimum times may be 0.
func NewProportioner(windowS, minOnS, minOffS, periodS float64) (*Proportioner, error) {
	if !finite(periodS) || periodS <= 0 || !finite(windowS) || windowS < 2*periodS || windowS > 1e6*periodS {
		return nil, fmt.Errorf("pid proportioner: window is %g s at a scan of %g s, allowed is 2 to a million scans", windowS, periodS)
	}
	if !(minOnS >= 0 && minOffS >= 0 && minOnS+minOffS <= windowS) {
		return nil, fmt.Errorf("pid proportioner: minimum on is %g s and minimum off %g s, allowed is 0 or more and together at most the window of %g s; lengthen the window", minOnS, minOffS, windowS)
	}
	// A hair is taken off so that 0.3 s at 0.1 s is 3 scans and not 4.
	up := func(s float64) int { return int(math.Ceil(s/periodS - 1e-9)) }
	p := &Proportioner{window: int(math.Round(windowS / periodS)), minOn: up(minOnS), minOff: up(minOffS)}
	if p.minOn+p.minOff > p.window {
		return nil, fmt.Errorf("pid proportioner: minimum on of %d and minimum off of %d scans do not fit the window of %d scans; lengthen the window", p.minOn, p.minOff, p.window)
	}
	p.offScans = p.minOff
	return p, nil
}

// Step gives the state for this scan. A duty of 0 or less, or no number,
// switches off at once, even inside the minimum on time, and clears what is
// owed; above 1 counts as 1.
func (p *Proportioner) Step(duty float64) bool {
	if !(duty > 0) {
		p.at, p.on, p.carry = 0, 0, 0
		return p.set(false)
	}
	if p.at == 0 {
		if !p.isOn && p.offScans < p.minOff {
			return p.set(false) // cut off early before: the window waits
		}
		want := min(duty, 1)*float64(p.window) + p.carry
		p.on = p.nearest(want)
		p.carry = want - float64(p.on)
	}
	on := p.at < p.on
	p.at = (p.at + 1) % p.window
	return p.set(on)
}

// nearest gives the allowed number of on scans closest to want.
func (p *Proportioner) nearest(want float64) int {
	n := max(0, min(p.window, int(math.Round(want))))
	if n < p.minOn {
		if want > float64(p.minOn)/2 {
			return p.minOn
		}
		return 0
	}
	if n > p.window-p.minOff {
		if want >= float64(p.window)-float64(p.minOff)/2 {
			return p.window
		}
		return p.window - p.minOff
	}
	return n
}

func (p *Proportioner) set(on bool) bool {
	if on {
		p.offScans = 0
	} else if p.offScans < p.window {
		p.offScans++
	}
	p.isOn = on
	return on
}
