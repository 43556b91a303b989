package main

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"drumwright/control/calibrate"
	"drumwright/profiles"
)

func (o *calibrateOptions) drum(m *profiles.Machine) (*calibrated, error) {
	var points []calibrate.Point
	method := "tachometer"
	for _, text := range o.at {
		p, err := comparison(text)
		if err != nil {
			return nil, err
		}
		points = append(points, p)
	}
	for _, text := range o.turns {
		method = "counted turns"
		s := turnsText.FindStringSubmatch(text)
		if s == nil {
			return nil, fmt.Errorf("--turns %q: write HZ=TURNS/SECONDS, such as 50=20/39.6", text)
		}
		hz, n, t := number(s[1]), number(s[2]), number(s[3])
		if !(hz > 0 && n > 0 && t > 0) {
			return nil, fmt.Errorf("--turns %q: all three must be above 0", text)
		}
		v := 2 * math.Pi * 1000 * float64(m.Drum.RadiusM) * n / t
		points = append(points, calibrate.Point{Read: hz, True: v, U: v * handS / t})
	}
	k, u, err := calibrate.FitRatio(points)
	if err != nil {
		return nil, fmt.Errorf("drum: %w; give --at or --turns", err)
	}
	c := &calibrated{value: k, u: u, unit: "mm/s/Hz", method: method, text: fmt.Sprintf("drum: %.4f ± %.4f mm/s per Hz; the machine file has %.4f.", k, u, m.SkinMMPerSPerHz())}
	return c, nil
}

// handS is how closely a stopwatch is started and stopped by hand, s (common
// practice, no source).
const handS = 0.3

func (o *calibrateOptions) flow(m *profiles.Machine) (*calibrated, error) {
	if len(o.at) < 2 {
		return nil, errors.New("flow: give --at HZ=FLOW±U at two blower frequencies or more")
	}
	c := &calibrated{unit: "kg/h", method: "measured cold"}
	last := calibrate.Point{Read: -1, True: -1}
	for _, text := range o.at {
		p, err := comparison(text)
		if err != nil {
			return nil, err
		}
		if p.Read <= last.Read || p.True <= last.True {
			return nil, fmt.Errorf("flow: %s does not rise from the point before it: give them in rising order", text)
		}
		last = p
		c.flow = append(c.flow, flowPoint{p.Read, p.True, p.U})
		c.text += fmt.Sprintf("%.4g Hz: %.4g ± %.2g kg/h\n", p.Read, p.True, p.U)
		c.value, c.u = p.True, p.U
	}
	c.text = strings.TrimSpace(c.text)
	return c, nil
}
