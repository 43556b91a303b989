package drum

import (
	"errors"
	"fmt"
	"math"
)

// GravityMPerS2 is the acceleration used in the Froude number. The standard
// value is 9.80665; two digits are plenty for a number used in bands.
const GravityMPerS2 = 9.81

// Froude bands for the operator, smooth wall (common practice, no source).
// Lifting paddles throw beans at lower Froude numbers than a smooth wall does.
const (
	FroudeWarn   = 0.4
	FroudeRefuse = 0.7
)

// Drive ties drive frequency to drum skin speed. Skin speed is proportional to
// frequency, so one constant is enough; it is best measured with a tachometer
// on the drum, because nameplate figures leave the belt and the slip out.
type Drive struct {
	// RadiusMM is the inner radius of the drum, mm.
	RadiusMM float64
	// SkinMMSPerHz is the skin speed for each hertz of drive output, mm/s per Hz.
	SkinMMSPerHz float64
}

// NewDrive checks that both numbers are finite and above zero.
func NewDrive(radiusMM, skinMMSPerHz float64) (Drive, error) {
	var errs []error
	if !positive(radiusMM) {
		errs = append(errs, fmt.Errorf("drum drive: radius is %g mm, must be finite and above 0; measure the inner radius", radiusMM))
	}
	if !positive(skinMMSPerHz) {
		errs = append(errs, fmt.Errorf("drum drive: skin speed constant is %g mm/s per Hz, must be finite and above 0; measure it with a tachometer at two frequencies", skinMMSPerHz))
	}
	if len(errs) > 0 {
		return Drive{}, errors.Join(errs...)
	}
	return Drive{RadiusMM: radiusMM, SkinMMSPerHz: skinMMSPerHz}, nil
}

// Nameplate describes a drive train by its plates, for a first guess only.
type Nameplate struct {
	RadiusMM  float64 // inner drum radius, mm
	GearRatio float64 // motor turns for one drum turn, all stages together
	Poles     int     // motor poles, even
	SlipFrac  float64 // motor slip at the usual load, 0 to below 1
}

// Drive works out the constant 4 pi R (1-s) / (p i), which follows from the
// synchronous speed 120 f / p of a machine with p poles.
func (n Nameplate) Drive() (Drive, error) {
	switch {
	case n.Poles < 2 || n.Poles%2 != 0:
		return Drive{}, fmt.Errorf("drum nameplate: %d poles, must be an even number from 2; read the motor plate", n.Poles)
	case !positive(n.GearRatio):
		return Drive{}, fmt.Errorf("drum nameplate: gear ratio is %g, must be finite and above 0; count motor turns for one drum turn", n.GearRatio)
	case !(n.SlipFrac >= 0 && n.SlipFrac < 1):
		return Drive{}, fmt.Errorf("drum nameplate: slip is %g, must be from 0 to below 1; small motors have 0.02 to 0.05", n.SlipFrac)
	}
	return NewDrive(n.RadiusMM, 4*math.Pi*n.RadiusMM*(1-n.SlipFrac)/(float64(n.Poles)*n.GearRatio))
}

// TachoReading is one tachometer reading: drive output in Hz, drum in rpm.
type TachoReading struct{ Hz, RPM float64 }

// tachoAgreement is how far the two constants of a calibration may differ
// before the readings are refused (common practice, no source).
const tachoAgreement = 0.02

// CalibrateDrive takes the constant from readings at two frequencies. It
// refuses them if their constants differ by more than 2 percent, which means a
// slipping belt or a wrong reading.
func CalibrateDrive(radiusMM float64, a, b TachoReading) (Drive, error) {
	for _, r := range [...]TachoReading{a, b} {
		if !positive(r.Hz) || !positive(r.RPM) {
			return Drive{}, fmt.Errorf("drum calibration: reading %g rpm at %g Hz, both must be finite and above 0; read again with the drum turning", r.RPM, r.Hz)
		}
	}
	if a.Hz == b.Hz {
		return Drive{}, fmt.Errorf("drum calibration: both readings at %g Hz, two different frequencies are needed; repeat one", a.Hz)
	}
	ka, kb := a.RPM/a.Hz, b.RPM/b.Hz
	mean := (ka + kb) / 2
	if diff := math.Abs(ka-kb) / mean; diff > tachoAgreement {
		return Drive{}, fmt.Errorf("drum calibration: %.4g and %.4g rpm per Hz differ by %.1f %%, at most %.0f %% is allowed; look for belt slip and read again",
			ka, kb, 100*diff, 100*tachoAgreement)
	}
	return NewDrive(radiusMM, mean*2*math.Pi*radiusMM/60)
}

// HzFromSkin gives the drive frequency, Hz, for a skin speed, mm/s.
func (d Drive) HzFromSkin(skinMMS float64) float64 { return skinMMS / d.SkinMMSPerHz }

// SkinFromHz gives the skin speed, mm/s, for a drive frequency, Hz.
func (d Drive) SkinFromHz(hz float64) float64 { return hz * d.SkinMMSPerHz }

// RPMFromSkin gives drum turns a minute for a skin speed, mm/s.
func (d Drive) RPMFromSkin(skinMMS float64) float64 {
	return skinMMS / (2 * math.Pi * d.RadiusMM) * 60
}

// SkinFromRPM gives the skin speed, mm/s, for drum turns a minute.
func (d Drive) SkinFromRPM(rpm float64) float64 { return rpm / 60 * 2 * math.Pi * d.RadiusMM }

// RPMFromHz gives drum turns a minute for a drive frequency, Hz.
func (d Drive) RPMFromHz(hz float64) float64 { return d.RPMFromSkin(d.SkinFromHz(hz)) }

// Froude is v²/(gR), the centripetal acceleration at the wall over gravity: 1
// means beans stay on the wall all round. Beware of other definitions, which
// use the diameter or the square root.
func (d Drive) Froude(skinMMS float64) float64 {
	v := skinMMS / 1000
	return v * v / (GravityMPerS2 * d.RadiusMM / 1000)
}

// CriticalRPM is the speed at which the Froude number is 1.
func (d Drive) CriticalRPM() float64 {
	return math.Sqrt(GravityMPerS2/(d.RadiusMM/1000)) * 60 / (2 * math.Pi)
}

// PulsePeriodS is the time between two shaft pulses, s, at a skin speed, mm/s,
// with pulsesPerRev marks on the drum shaft. It is +Inf for a drum that does
// not turn or a shaft without marks: there is no pulse to wait for.
func (d Drive) PulsePeriodS(skinMMS float64, pulsesPerRev int) float64 {
	rpm := d.RPMFromSkin(skinMMS)
	if !(rpm > 0) || pulsesPerRev <= 0 {
		return math.Inf(1)
	}
	return 60 / (float64(pulsesPerRev) * rpm)
}

// SlipFrac is the share of the expected drum speed that is missing:
// 1 - measured/(expected at this drive output frequency). Use the output
// frequency, not the set point, or every ramp looks like slip. It is 0 when the
// drive is at rest, where slip has no meaning.
func (d Drive) SlipFrac(measuredRPM, outputHz float64) float64 {
	want := d.RPMFromHz(outputHz)
	if !(want > 0) {
		return 0
	}
	return 1 - measuredRPM/want
}

func positive(v float64) bool { return v > 0 && !math.IsInf(v, 1) }
