package point

// Input is a role that a measured point can play on a roaster. The list is
// fixed: a machine file binds registers to these names and to no others.
type Input uint8

// The input roles. Temperatures are in °C.
const (
	Bean                 Input = iota // bean probe, °C
	Bean2                             // second bean probe, °C
	InletAir                          // air after the heater, before the drum, °C
	DrumSkin                          // drum skin over the panels, °C
	DrumSkin2                         // second drum skin sensor, °C
	Exhaust                           // air leaving the drum, °C
	HeaterElement                     // air heater element or its sheath, °C
	HighLimit                         // probe of the independent high limit, °C
	Ambient                           // room, °C
	CoolingTray                       // beans or air in the cooling tray, °C
	DrumPulses                        // shaft pulse counter, counts
	DrumTurning                       // drum speed measured by a device, rpm
	AirFlow                           // measured air mass flow, kg/h
	AirProving                        // air proving switch, 1 = air proven
	BlowerStatus                      // blower drive: DriveStopped, DriveRunning or DriveFault
	BlowerFault                       // blower drive's fault word, 0 = none
	DrumStatus                        // drum drive: DriveStopped, DriveRunning or DriveFault
	DrumFault                         // drum drive's fault word, 0 = none
	DrumHz                            // drum drive's output frequency, Hz
	CoolingFanRunning                 // cooling fan proven, 1 = running
	CoverClosed                       // covers and guards, 1 = all closed
	EmergencyStopHealthy              // 1 = not pressed, chain complete
	HighLimitHealthy                  // contact of the independent limit, 1 = not tripped
	ContactorClosed                   // mirror contact of the heat contactor, 1 = closed
	ChargeGateOpen                    // 1 = charge gate open
	DischargeDoorOpen                 // 1 = discharge door open
	ResetButton                       // local acknowledge/reset button, 1 = pressed
	FireButton                        // local fire button, 1 = pressed
	AirHeaterCurrent                  // A
	RadiantCurrent                    // A
	MainsVoltage                      // V
	Collector                         // chaff collector, °C
	Cabinet                           // control cabinet, °C
	CarbonMonoxideAlarm               // contact of the room's carbon monoxide or smoke alarm, 1 = alarm
	DrumCurrent                       // A, of the drum drive's motor
	PhasesHealthy                     // contact of a phase relay, 1 = all phases there
	SupplyHealthy                     // 1 = the machine has its mains; read by what keeps its own power

	NumInputs // number of input roles
)

// Output is a role that a driven point can play on a roaster.
type Output uint8

// The output roles with the engineering unit that control speaks; Access
// converts it to what the device wants.
const (
	DrumRun        Output = iota // 1 = run
	DrumSpeed                    // drum drive frequency, Hz
	BlowerRun                    // 1 = run
	BlowerSpeed                  // blower drive frequency, Hz
	AirHeaterPower               // share of rated power, 0..1
	RadiantPower                 // share of rated power, 0..1
	HeatEnable                   // heat contactor, 1 = close
	CoolingFan                   // 1 = run
	Stirrer                      // 1 = run
	Horn                         // 1 = sound
	Heartbeat                    // life sign of a finished scan

	NumOutputs // number of output roles
)

// Values of the status roles.
const (
	DriveStopped = 0.0
	DriveRunning = 1.0
	DriveFault   = 2.0
)

// Kind says how a role's value is to be read by people and checks.
type Kind uint8

// The kinds of roles.
const (
	Temperature Kind = iota // °C
	Contact                 // 0 or 1
	Status                  // DriveStopped, DriveRunning, DriveFault
	Counter                 // counts, rolls over
	Number                  // any other quantity, in Unit
)

// Role describes one role: its name in files, its kind, unit and one sentence.
type Role struct {
	Name  string
	Kind  Kind
	Unit  string // as printed after the number; empty for contacts
	About string
}

var inputs = [NumInputs]Role{
	Bean:                 {"bean", Temperature, "°C", "bean probe in the tumbling bed"},
	Bean2:                {"bean_2", Temperature, "°C", "second bean probe"},
	InletAir:             {"inlet_air", Temperature, "°C", "air after the heater, before the drum"},
	DrumSkin:             {"drum_skin", Temperature, "°C", "drum skin over the radiant panels"},
	DrumSkin2:            {"drum_skin_2", Temperature, "°C", "second drum skin sensor"},
	Exhaust:              {"exhaust", Temperature, "°C", "air leaving the drum"},
	HeaterElement:        {"heater_element", Temperature, "°C", "air heater element or its sheath"},
	HighLimit:            {"high_limit", Temperature, "°C", "probe of the independent high limit"},
	Ambient:              {"ambient", Temperature, "°C", "room air"},
	CoolingTray:          {"cooling_tray", Temperature, "°C", "beans or air in the cooling tray"},
	DrumPulses:           {"drum_pulses", Counter, "", "pulse counter on the drum shaft"},
	DrumTurning:          {"drum_turning", Number, "rpm", "drum speed measured by a device"},
	AirFlow:              {"air_flow", Number, "kg/h", "measured air mass flow"},
	AirProving:           {"air_proving", Contact, "", "air proving switch, on when air moves"},
	BlowerStatus:         {"blower_status", Status, "", "status of the blower drive"},
	BlowerFault:          {"blower_fault", Number, "", "fault word of the blower drive, 0 when healthy"},
	DrumStatus:           {"drum_status", Status, "", "status of the drum drive"},
	DrumFault:            {"drum_fault", Number, "", "fault word of the drum drive, 0 when healthy"},
	DrumHz:               {"drum_frequency", Number, "Hz", "output frequency of the drum drive"},
	CoolingFanRunning:    {"cooling_fan_running", Contact, "", "on when the cooling fan is proven"},
	CoverClosed:          {"cover_closed", Contact, "", "on when covers and guards are closed"},
	EmergencyStopHealthy: {"emergency_stop_healthy", Contact, "", "on when the emergency stop is not pressed"},
	HighLimitHealthy:     {"high_limit_healthy", Contact, "", "on when the independent limit has not tripped"},
	ContactorClosed:      {"contactor_closed", Contact, "", "mirror contact of the heat contactor"},
	ChargeGateOpen:       {"charge_gate_open", Contact, "", "on when the charge gate is open"},
	DischargeDoorOpen:    {"discharge_door_open", Contact, "", "on when the discharge door is open"},
	ResetButton:          {"reset_button", Contact, "", "button at the machine that resets a trip"},
	FireButton:           {"fire_button", Contact, "", "button at the machine that reports a fire"},
	AirHeaterCurrent:     {"air_heater_current", Number, "A", "current of the air heater"},
	RadiantCurrent:       {"radiant_current", Number, "A", "current of the radiant panels"},
	MainsVoltage:         {"mains_voltage", Number, "V", "mains voltage at the heaters"},
	Collector:            {"collector", Temperature, "°C", "chaff collector or the duct to it"},
	Cabinet:              {"cabinet", Temperature, "°C", "control cabinet"},
	CarbonMonoxideAlarm:  {"carbon_monoxide_alarm", Contact, "", "on when the room's carbon monoxide or smoke alarm sounds"},
	DrumCurrent:          {"drum_current", Number, "A", "motor current of the drum drive"},
	PhasesHealthy:        {"phases_healthy", Contact, "", "on while a phase relay sees every phase"},
	SupplyHealthy:        {"supply_healthy", Contact, "", "on while the machine has its mains, from a device that keeps its own power"},
}

var outputs = [NumOutputs]Role{
	DrumRun:        {"drum_run", Contact, "", "run command of the drum drive"},
	DrumSpeed:      {"drum_speed", Number, "Hz", "frequency set point of the drum drive"},
	BlowerRun:      {"blower_run", Contact, "", "run command of the blower"},
	BlowerSpeed:    {"blower_speed", Number, "Hz", "frequency set point of the blower drive"},
	AirHeaterPower: {"air_heater_power", Number, "%", "share of the air heater's rated power"},
	RadiantPower:   {"radiant_power", Number, "%", "share of the radiant panels' rated power"},
	HeatEnable:     {"heat_enable", Contact, "", "contactor that feeds both heaters"},
	CoolingFan:     {"cooling_fan", Contact, "", "fan of the cooling tray"},
	Stirrer:        {"stirrer", Contact, "", "stirrer of the cooling tray"},
	Horn:           {"horn", Contact, "", "horn"},
	Heartbeat:      {"heartbeat", Contact, "", "life sign that a watchdog relay or module watches"},
}

// Role returns the description of the input role.
func (i Input) Role() Role { return inputs[i] }

// String returns the role's name as machine files write it.
func (i Input) String() string { return inputs[i].Name }

// Role returns the description of the output role.
func (o Output) Role() Role { return outputs[o] }

// String returns the role's name as machine files write it.
func (o Output) String() string { return outputs[o].Name }

// InputNamed finds the input role with that name.
func InputNamed(name string) (Input, bool) {
	for i := range inputs {
		if inputs[i].Name == name {
			return Input(i), true
		}
	}
	return 0, false
}

// OutputNamed finds the output role with that name.
func OutputNamed(name string) (Output, bool) {
	for i := range outputs {
		if outputs[i].Name == name {
			return Output(i), true
		}
	}
	return 0, false
}
