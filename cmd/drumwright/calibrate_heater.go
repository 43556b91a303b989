package main

import (
	"errors"
	"fmt"
	"regexp"

	"drumwright/control/bean"
	"drumwright/control/calibrate"
	"drumwright/profiles"
)

// heaterFlags is what was measured of a heater, in one of three ways, each with the
// voltage meanwhile.
type heaterFlags struct {
	amps, meter, air, rise, volts string
	duty                          float64
}

// arrivesU is how surely the share of the air heater's heat that reaches the air is
// known, as a share of it (common practice, no source).
const arrivesU = 0.05

var meterText = regexp.MustCompile(`^\s*` + numeral + `\s*(?:±|\+-|\+/-)\s*` + numeral + `\s*/\s*` + numeral + `\s*$`)

func (o *calibrateOptions) heater(m *profiles.Machine, item string) (*calibrated, error) {
	key, ratedW := "heaters.air.power", float64(m.Heaters.Air.PowerW)
	if item == itemRadiant {
		key, ratedW = "heaters.radiant.power", float64(m.Heaters.Radiant.PowerW)
	}
	ways := 0
	for _, text := range [...]string{o.amps, o.meter, o.air} {
		if text != "" {
			ways++
		}
	}
	if ways != 1 {
		return nil, fmt.Errorf("%s: give one of --amps, --meter and, for the air heater, --air with --rise and --duty; and --volts", item)
	}
	v, err := measured("--volts", o.volts)
	if err != nil {
		return nil, err
	}
	c := &calibrated{unit: "W"}
	nominal := float64(m.Heaters.RatedV)
	switch {
	case o.amps != "":
		a, err := measured("--amps", o.amps)
		if err != nil {
			return nil, err
		}
		c.method = "current and voltage at full power"
		c.value, c.u = calibrate.RatedW(a.True, a.U, v.True, v.U, nominal)
	case o.meter != "":
		s := meterText.FindStringSubmatch(o.meter)
		if s == nil {
			return nil, fmt.Errorf("--meter %q: write WH±U/SECONDS, such as 33.4±0.3/30", o.meter)
		}
		wh, whU, t := number(s[1]), number(s[2]), number(s[3])
		if !(wh > 0 && whU > 0 && t > 0) {
			return nil, fmt.Errorf("--meter %q: all three must be above 0", o.meter)
		}
		c.method = "energy by a meter over a time, at full power"
		c.value, c.u = calibrate.MeteredW(wh, whU, t, handS, v.True, v.U, nominal)
	default:
		if err := o.balance(m, item, v, nominal, c); err != nil {
			return nil, err
		}
	}
	c.text = fmt.Sprintf("%s: %.0f ± %.0f W at %.0f V; the machine file has %.0f W.", key, c.value, c.u, nominal, ratedW)
	return c, nil
}

// balance works out the power from what the air takes up.
func (o *calibrateOptions) balance(m *profiles.Machine, item string, v calibrate.Point, nominal float64, c *calibrated) error {
	if item != itemAir {
		return errors.New("--air: only the air heater is measured by the air that it warms; use --amps or --meter")
	}
	flow, err := measured("--air", o.air)
	if err != nil {
		return err
	}
	rise, err := measured("--rise", o.rise)
	if err != nil {
		return err
	}
	if !(o.duty > 0 && o.duty <= 100) {
		return fmt.Errorf("--duty is %g, allowed is above 0 to 100 percent: what the heater was at, steadily", o.duty)
	}
	const roomC = 20
	cp := bean.AirCpJPerKgK(roomC + rise.True/2)
	eff := float64(m.Heaters.Air.Efficiency)
	c.method = fmt.Sprintf("energy balance of the air: %s kg/h warmed by %s K at %g %% duty, %.0f %% of the heat arriving", o.air, o.rise, o.duty, 100*eff)
	c.value, c.u = calibrate.BalanceW(flow.True/3600, flow.U/3600, cp, rise.True, rise.U, o.duty/100, eff, arrivesU*eff, v.True, v.U, nominal)
	return nil
}
