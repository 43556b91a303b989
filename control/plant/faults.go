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
	beanExhaustSwapped
	beanProbeOutOfBed
	beanProbeNoise
	inletScaledF
	skinReversed
	skinProbeLoose
	converterShift
	airHeaterHalfWave
	radiantHalfWave
	airHeaterWeak
	airOutputFrozen
	radiantOutputFrozen
	filterBlocking
	provingStuckOpen
	blowerReversed
	drumOverspeed
	noisePulses
	collectorFire
	traySmoulder
	coAlarm
	cabinetHot
	brownOut
	drumLabours
	phaseLost
	supplyLost
	writeIgnored
	writeRefused
	foreignMaster
	deviceExchanged
	heaterOutputsSwapped
	airStuck
	controlSupplyLost
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

	beanExhaustSwapped:  {"bean_exhaust_swapped", "Bean probe and exhaust probe are exchanged at their terminals."},
	beanProbeOutOfBed:   {"bean_probe_out_of_bed", "The bean probe has slipped out of the bed and feels the gas over it."},
	beanProbeNoise:      {"bean_probe_noise", "Every fifth sample of the bean probe is 30 °C too high."},
	inletScaledF:        {"inlet_scaled_f", "The inlet air converter counts in degrees Fahrenheit."},
	skinReversed:        {"skin_reversed", "The drum skin thermocouple is connected the wrong way round."},
	skinProbeLoose:      {"skin_probe_loose", "The drum skin sensor has come off and feels a twentieth of the skin's heat."},
	converterShift:      {"converter_shift", "The cold junction of the thermocouple converter reads 30 °C too high, and with it every probe."},
	airHeaterHalfWave:   {"air_heater_half_wave", "The air heater's solid-state relay conducts one half of the wave only."},
	radiantHalfWave:     {"radiant_half_wave", "The panels' solid-state relay conducts one half of the wave only."},
	airHeaterWeak:       {"air_heater_weak", "One of the air heater's three elements is broken."},
	airOutputFrozen:     {"air_output_frozen", "The air heater's output stays at what it was and takes no more commands."},
	radiantOutputFrozen: {"radiant_output_frozen", "The panels' output stays at what it was and takes no more commands."},
	filterBlocking:      {"filter_blocking", "The filter blocks by one part in a hundred each second, down to half of the air."},
	provingStuckOpen:    {"proving_stuck_open", "The air proving switch reports no air whatever the flow."},
	blowerReversed:      {"blower_reversed", "The blower turns backwards and gives two fifths of its air."},
	drumOverspeed:       {"drum_overspeed", "The drum turns two fifths faster than its drive is told."},
	noisePulses:         {"noise_pulses", "Mains hum gives the shaft sensor ten pulses a second, whether the drum turns or not."},
	collectorFire:       {"collector_fire", "Chaff burns in the collector: 5 K each second with air, a tenth of it without."},
	traySmoulder:        {"tray_smoulder", "Beans smoulder in the cooling tray: 6 kW for each kilogram."},
	coAlarm:             {"co_alarm", "The carbon monoxide alarm of the room sounds."},
	cabinetHot:          {"cabinet_hot", "A loose terminal heats the control cabinet by 6 K each minute."},
	brownOut:            {"brown_out", "The supply sags to 65 % of its voltage."},
	drumLabours:         {"drum_labours", "A bearing goes: the drum's motor draws 40 % more than it should."},
	phaseLost:           {"phase_lost", "The phase relay reports that a phase of the supply is missing."},
	supplyLost:          {"supply_lost", "The machine's mains are gone; the fieldbus devices keep their own power."},

	heaterOutputsSwapped: {"heater_outputs_swapped", "The outputs of air heater and panels are exchanged."},
	airStuck:             {"air_stuck", "The air stays at three tenths of the usual, whatever the blower is told."},
	controlSupplyLost:    {"control_supply_lost", "The 24 V control supply is gone: contactor and heater relays let go, the drives run on."},

	// Seen in the registers only; the physics know nothing of them.
	writeIgnored:    {"write_ignored", "The device acknowledges what is written for the air heater, and keeps what it had."},
	writeRefused:    {"write_refused", "The device refuses what is written for the air heater, and keeps what it had."},
	foreignMaster:   {"foreign_master", "Another master writes to the air heater's output twice a second."},
	deviceExchanged: {"device_exchanged", "Other devices answer in place of those that the machine file means."},
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
