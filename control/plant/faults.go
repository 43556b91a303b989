package plant

import (
	"fmt"
	"math"
	"strings"
)

// Fault is one thing that can go wrong on the machine.
type Fault struct {
	Name string // for scripts and tests
	What string // one sentence
}

type faultID int

const (
	drumStall faultID = iota
	beltSlip
	drumDriveFault
	drumPulsesLost
	airLost
	airWeak
	blowerDriveFault
	provingStuckClosed
	beanProbeOpen
	beanProbeFrozen
	beanProbeShort
	beanProbeDrift
	inletProbeOpen
	exhaustProbeOpen
	skinProbeOpen
	airHeaterStuckOn
	radiantStuckOn
	airHeaterBroken
	radiantBroken
	contactorWelded
	highLimitOpen
	estopPressed
	coverOpen
	coolingFanFailed
	mainsLow
	beanFire
	unitSilent
	numFaults
)

var faultTable = [numFaults]Fault{
	drumStall:          {"drum_stall", "The drum shaft stands still while its drive goes on turning the motor."},
	beltSlip:           {"belt_slip", "The belt slips, so the drum turns a quarter slower than its drive says."},
	drumDriveFault:     {"drum_drive_fault", "The drum drive trips and shows a fault; the drum coasts to rest."},
	drumPulsesLost:     {"drum_pulses_lost", "The shaft sensor gives no pulses although the drum turns."},
	airLost:            {"air_lost", "The blower moves no air although its drive runs."},
	airWeak:            {"air_weak", "A blocked filter lets through half of the air."},
	blowerDriveFault:   {"blower_drive_fault", "The blower drive trips and shows a fault; the air dies away."},
	provingStuckClosed: {"proving_stuck_closed", "The air proving switch reports air whatever the flow."},
	beanProbeOpen:      {"bean_probe_open", "The bean probe is broken and its converter reports an open circuit."},
	beanProbeFrozen:    {"bean_probe_frozen", "The bean probe converter repeats its last value."},
	beanProbeShort:     {"bean_probe_short", "The bean probe is shorted at its terminals and reads the room."},
	beanProbeDrift:     {"bean_probe_drift", "The bean probe comes to read 20 °C low over five minutes."},
	inletProbeOpen:     {"inlet_probe_open", "The inlet air probe is broken and its converter reports an open circuit."},
	exhaustProbeOpen:   {"exhaust_probe_open", "The exhaust probe is broken and its converter reports an open circuit."},
	skinProbeOpen:      {"skin_probe_open", "The drum skin probe is broken and its converter reports an open circuit."},
	airHeaterStuckOn:   {"air_heater_stuck_on", "The air heater's solid-state relay has failed closed: full power whenever the contactor is in."},
	radiantStuckOn:     {"radiant_stuck_on", "The panels' solid-state relay has failed closed: full power whenever the contactor is in."},
	airHeaterBroken:    {"air_heater_broken", "The air heater element is broken and draws nothing."},
	radiantBroken:      {"radiant_broken", "The panels are broken and draw nothing."},
	contactorWelded:    {"contactor_welded", "The heat contactor stays in whatever its coil does."},
	highLimitOpen:      {"high_limit_open", "The independent high limit is open although nothing is too hot."},
	estopPressed:       {"estop_pressed", "The emergency stop is pressed: heat, drum and blower lose their power."},
	coverOpen:          {"cover_open", "The drum cover contact reports open."},
	coolingFanFailed:   {"cooling_fan_failed", "The cooling fan does not turn when asked to."},
	mainsLow:           {"mains_low", "The supply sags to 80 % of its voltage."},
	beanFire:           {"bean_fire", "Beans burn in the drum: 3 kW for each kilogram charged, a tenth of it without air."},
	unitSilent:         {"unit_silent", "A fieldbus unit stops answering; the physics go on."},
}

// Faults lists every fault in the order of the table. The slice is the caller's.
func Faults() []Fault { return append([]Fault(nil), faultTable[:]...) }

func findFault(name string) (faultID, error) {
	for i := range faultTable {
		if faultTable[i].Name == name {
			return faultID(i), nil
		}
	}
	names := make([]string, 0, len(faultTable))
	for i := range faultTable {
		names = append(names, faultTable[i].Name)
	}
	return 0, fmt.Errorf("plant fault %q is not known; choose one of %s", name, strings.Join(names, ", "))
}

// faults holds, for each fault, the machine time from which it is present; +Inf
// is never.
type faults struct{ fromS [numFaults]float64 }

func (f *faults) clearAll() {
	for i := range f.fromS {
		f.fromS[i] = math.Inf(1)
	}
}

func (m *Machine) has(id faultID) bool { return m.faults.fromS[id] <= m.timeS }

// Inject makes a fault present from now on.
func (m *Machine) Inject(name string) error { return m.InjectAt(name, m.timeS) }

// InjectAt makes a fault present from a machine time on, s. A time already past
// means now.
func (m *Machine) InjectAt(name string, atS float64) error {
	id, err := findFault(name)
	if err != nil {
		return err
	}
	if math.IsNaN(atS) {
		return fmt.Errorf("plant fault %s: start time is not a number; give seconds of machine time", name)
	}
	m.faults.fromS[id] = max(atS, m.timeS)
	return nil
}

// Clear takes a fault away again, or calls off one that was still to come. What
// the fault did to the machine stays: heat, a tripped drive that waits for its
// run command to go, a limit that waits to be reset.
func (m *Machine) Clear(name string) error {
	id, err := findFault(name)
	if err != nil {
		return err
	}
	m.faults.fromS[id] = math.Inf(1)
	return nil
}

// Active reports whether a fault is present now; an unknown name is not.
func (m *Machine) Active(name string) bool {
	id, err := findFault(name)
	return err == nil && m.has(id)
}

// FaultSinceS is the machine time from which a fault is, or will be, present, s;
// +Inf if it is not and will not be.
func (m *Machine) FaultSinceS(name string) float64 {
	id, err := findFault(name)
	if err != nil {
		return math.Inf(1)
	}
	return m.faults.fromS[id]
}
