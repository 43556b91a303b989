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

func positive(v float64) bool { return v > 0 && !math.IsInf(v, 1) }
