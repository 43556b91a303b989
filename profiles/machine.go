package profiles

import "drumwright/io/point"

// Machine is a whole machine as its file describes it.
//
// The tags carry the rules of the file: yaml the key, range the allowed span
// in the unit of the type, enum the allowed words, need:"yes" a key that must
// be there, default what stands for a key that is left out, unit the unit of a
// plain number that has one, and doc one sentence that goes into the schema.
type Machine struct {
	About      Identity           `yaml:"machine" need:"yes" doc:"which machine this is"`
	Scan       Scan               `yaml:"scan" doc:"the rhythm of the controller"`
	Simulation Simulation         `yaml:"simulation" doc:"for simulated machines only"`
	Buses      map[string]BusFile `yaml:"buses" need:"yes" doc:"Modbus lines and connections, by a name of your own"`
	Devices    map[string]Device  `yaml:"devices" doc:"devices whose registers lie as a device map says, by a name of your own; see drumwright help device"`
	Inputs     map[string]Point   `yaml:"inputs" need:"yes" doc:"measured points by role"`
	Identity   []DeviceConstant   `yaml:"identity" doc:"constants by which the devices are known; a device that has one is written to, and heat given, only when it is right"`
	Outputs    map[string]Point   `yaml:"outputs" need:"yes" doc:"driven points by role"`
	Drum       Drum               `yaml:"drum" need:"yes" doc:"drum geometry, drive and speed schedule"`
	Air        Air                `yaml:"air" need:"yes" doc:"blower and air flow"`
	Heaters    Heaters            `yaml:"heaters" need:"yes" doc:"the two heaters"`
	Bed        Bed                `yaml:"bed" need:"yes" doc:"what the estimator must know of drum, beans and probe"`
	Loops      Loops              `yaml:"loops" doc:"limits and gains of the loops"`
	Batch      Batch              `yaml:"batch" doc:"the batch sequence"`
	Limits     Limits             `yaml:"limits" doc:"thresholds and delays of the interlocks"`
	Exceptions []Exception        `yaml:"exceptions" doc:"built-in causes that do not trip for a while; every screen shows them"`
	Proofs     Proofs             `yaml:"proofs" doc:"what the proof tests of the interlocks hold up"`
	FirePlan   FirePlan           `yaml:"fire_plan" doc:"what the page says when a fire is suspected; agree it with the local fire authority"`
	Telemetry  Telemetry          `yaml:"telemetry" doc:"where figures go"`
	Access     Access             `yaml:"access" doc:"who may look and command from where; accounts and passwords are in a file of their own, see drumwright user"`

	// Made by Load from the above.
	File    string                         `yaml:"-"`
	Text    string                         `yaml:"-"` // the file with the maps it uses, which ParseMachine takes
	Hash    string                         `yaml:"-"` // SHA-256 of Text, hex
	BusList []Bus                          `yaml:"-"` // in the order of the file
	In      [point.NumInputs]point.Access  `yaml:"-"` // valid where HasIn
	Out     [point.NumOutputs]point.Access `yaml:"-"` // valid where HasOut
	HasIn   [point.NumInputs]bool          `yaml:"-"`
	HasOut  [point.NumOutputs]bool         `yaml:"-"`
	Back    [point.NumOutputs]point.Access `yaml:"-"` // where an output is read back, valid where HasBack
	HasBack [point.NumOutputs]bool         `yaml:"-"`

	Maps     map[string]*DeviceMap `yaml:"-"` // of the devices, by the device's name
	Included []Included            `yaml:"-"` // points that they lay out, inputs first, in the order of the file
	mapTexts map[string]mapText

	Junction [point.NumInputs]point.Access `yaml:"-"` // where the cold junction of an input is read, valid where its Sensor is a thermocouple

	Constants []Constant `yaml:"-"` // of the devices, at most point.MaxConstants

	Cycle  [point.NumOutputs]TimeProportion `yaml:"-"` // PeriodS > 0 where an on/off heater is time-proportioned
	DeadHz [point.NumOutputs]float64        `yaml:"-"` // speeds below are sent as 0
}

// Identity names a machine.
type Identity struct {
	Name string `yaml:"name" need:"yes" doc:"short name, used in topics and metrics: a-z, 0-9, -"`
	Site string `yaml:"site" doc:"the shop or room, used like the name"`
	Note string `yaml:"note" doc:"anything worth remembering"`
}

// Scan is the rhythm of the controller.
type Scan struct {
	PeriodS Seconds `yaml:"period" range:"0.01..1" default:"100 ms" doc:"time from scan to scan"`
}

// Simulation holds keys that a real machine must not have.
type Simulation struct {
	TimeScale float64 `yaml:"time_scale" default:"1" range:"1..60" doc:"how much faster than life the scan runs; only if every bus is a loopback address or a pseudo-terminal"`
}

// Drum is the drum, its drive and its speed schedule.
type Drum struct {
	RadiusM      Metres        `yaml:"radius" need:"yes" range:"0.02..0.6" doc:"inner radius"`
	LengthM      Metres        `yaml:"length" need:"yes" range:"0.03..1.5" doc:"inner length"`
	MMPerSPerHz  float64       `yaml:"skin_speed_per_hz" unit:"mm/s/Hz" range:"0.2..60" doc:"measured skin speed for each Hz of the drive; beats the nameplate below"`
	GearRatio    float64       `yaml:"gear_ratio" range:"1..400" doc:"motor turns per drum turn"`
	Poles        int           `yaml:"poles" range:"2..12" doc:"motor poles"`
	Slip         Share         `yaml:"slip" range:"0..0.15" default:"3 %" doc:"motor slip"`
	PulsesPerRev int           `yaml:"pulses_per_turn" range:"1..64" doc:"shaft pulses in one drum turn"`
	EmptyA       Amperes       `yaml:"current_empty" range:"0.01..200" doc:"with drum_current: motor current at idle speed, drum empty; clearly less warns of a lost belt"`
	FullA        Amperes       `yaml:"current_full" range:"0.01..200" doc:"with drum_current: motor current with the largest batch; clearly more warns of a stall to come"`
	MinHz        Hertz         `yaml:"min" range:"1..60" default:"20 Hz" doc:"lowest drive frequency"`
	MaxHz        Hertz         `yaml:"max" need:"yes" range:"5..120" doc:"highest drive frequency"`
	RampHzPerS   float64       `yaml:"drive_ramp" unit:"Hz/s" range:"0.5..100" default:"10 Hz/s" doc:"ramp set in the drive"`
	SlewMMPerS2  float64       `yaml:"slew" unit:"mm/s²|mm/s2" range:"0.1..100" default:"3 mm/s²" doc:"fastest change of the schedule"`
	IdleSpeed    SkinSpeed     `yaml:"idle_speed" range:"20..1500" doc:"skin speed while warming and running down; default the first of the schedule"`
	BaseHz       Hertz         `yaml:"motor_base" range:"10..120" default:"50 Hz" doc:"frequency on the motor's plate, up to which it has full torque"`
	Paddles      int           `yaml:"paddles" range:"0..24" doc:"lifting paddles around the drum; left out = a smooth drum"`
	PaddleM      Metres        `yaml:"paddle_height" range:"0..0.3" doc:"height of the paddles above the wall"`
	PaddleGapM   Metres        `yaml:"paddle_gap" range:"0..0.3" doc:"from the inside of the face plate to the nearest edge of the paddles"`
	ShaftM       Metres        `yaml:"shaft" range:"0..0.3" doc:"diameter of the shaft through the drum"`
	Schedule     []SpeedAtLoss `yaml:"schedule" need:"yes" doc:"skin speed over estimated loss, falling"`
}

// SpeedAtLoss is one calibrated point of the speed schedule.
type SpeedAtLoss struct {
	Loss  Share     `yaml:"loss" range:"0..0.3" doc:"share of green mass lost"`
	Speed SkinSpeed `yaml:"speed" need:"yes" range:"20..1500" doc:"skin speed"`
}

// Air is the blower.
type Air struct {
	Flow       []FlowAtHz `yaml:"flow" need:"yes" doc:"air mass flow at blower frequencies, rising, measured cold; at least two points"`
	Nominal    KgPerHour  `yaml:"nominal" need:"yes" range:"1..2000" doc:"flow at which the loops and the bed model are stated"`
	MinForHeat KgPerHour  `yaml:"min_for_heat" range:"0..2000" doc:"below this flow the air heater stays off; default 25 % of nominal"`
	WarmFlow   KgPerHour  `yaml:"warming" range:"1..2000" doc:"flow while warming; default nominal"`
	CoolFlow   KgPerHour  `yaml:"run_down" range:"1..2000" doc:"flow while running down; default nominal"`
	RampS      Seconds    `yaml:"ramp" range:"0..60" default:"10 s" doc:"time over which a change of flow is spread"`
	MaxHz      Hertz      `yaml:"max" range:"5..120" doc:"highest blower frequency; default the last of flow"`
}

// FlowAtHz is one point of the blower's curve.
type FlowAtHz struct {
	Hz   Hertz     `yaml:"blower" need:"yes" range:"0..120" doc:"blower frequency"`
	Flow KgPerHour `yaml:"flow" range:"0..2000" doc:"air mass flow"`
}

// Heaters are the two heaters.
type Heaters struct {
	Air     AirHeater `yaml:"air" need:"yes" doc:"the inlet air heater"`
	Radiant Radiant   `yaml:"radiant" need:"yes" doc:"the panels under the drum"`
	RatedV  Volts     `yaml:"nominal_voltage" range:"80..500" default:"230 V" doc:"mains voltage for which the powers are rated"`
}

// AirHeater is the inlet air heater.
type AirHeater struct {
	PowerW     Watts   `yaml:"power" need:"yes" range:"50..60000" doc:"rated power"`
	MaxDuty    Share   `yaml:"max" range:"0.05..1" default:"100 %" doc:"highest share used"`
	ElementJPK JPerK   `yaml:"element_heat" range:"1..20000" doc:"heat capacity of the element; default 40 J/K per kW"`
	ElementWPK WPerK   `yaml:"element_to_air" range:"0.1..2000" doc:"exchange of the element with the air at nominal flow; default 5 W/K per kW"`
	Efficiency Share   `yaml:"efficiency" range:"0.3..1" default:"95 %" doc:"share of the heat that reaches the drum"`
	DuctLagS   Seconds `yaml:"duct_lag" range:"0..60" default:"2 s" doc:"delay from element to inlet probe at nominal flow"`
	ProbeLagS  Seconds `yaml:"probe_lag" range:"0.1..60" default:"4 s" doc:"lag of the inlet probe"`
}

// Radiant is the base heat under the drum.
type Radiant struct {
	PowerW     Watts   `yaml:"power" need:"yes" range:"20..60000" doc:"rated power"`
	MaxDuty    Share   `yaml:"max" range:"0.05..1" default:"100 %" doc:"highest share used"`
	PanelJPK   JPerK   `yaml:"panel_heat" range:"10..100000" doc:"heat capacity of the panels; default 0.9 J/K per W"`
	PanelWPK   WPerK   `yaml:"panel_loss" range:"0.01..100" doc:"loss of the panels to the room; default 0.5 W/K per kW"`
	AreaM2     float64 `yaml:"area" need:"yes" unit:"m²|m2" range:"0.002..4" doc:"radiating area"`
	Emissivity float64 `yaml:"emissivity" range:"0.1..1" default:"0.7" doc:"effective emissivity panel to drum"`
}

// Bed is what the estimator knows of drum, beans and probe: starting figures
// that commissioning and every batch correct.
type Bed struct {
	GasToBeans   WPerK     `yaml:"gas_to_beans" need:"yes" range:"0.05..500" doc:"exchange of air with the bed at nominal flow"`
	DrumToBeans  WPerK     `yaml:"drum_to_beans" need:"yes" range:"0.01..500" doc:"exchange of the drum skin with the bed"`
	GasToDrum    WPerK     `yaml:"gas_to_drum" need:"yes" range:"0.01..500" doc:"exchange of air with the drum skin"`
	DrumHeat     JPerK     `yaml:"drum_heat" need:"yes" range:"50..200000" doc:"heat capacity of the drum"`
	DrumLoss     WPerK     `yaml:"drum_loss" range:"0.01..100" doc:"loss of the drum to the room; default 0.8 W/K per kJ/K"`
	ProbeLagS    Seconds   `yaml:"probe_lag" range:"1..120" default:"30 s" doc:"lag of the bean probe in the bed"`
	GasShare     Share     `yaml:"gas_share" range:"0..0.5" default:"10 %" doc:"share of the air in what the bean probe feels"`
	GasShareSd   Share     `yaml:"gas_share_sd" range:"0.001..0.1" default:"2.5 %" doc:"how surely that is known, as a standard deviation; about 0.5 % once it was calibrated"`
	NominalBatch Kilograms `yaml:"nominal_batch" need:"yes" range:"0.02..60" doc:"green mass for which the figures above hold"`
	MaxBatch     Kilograms `yaml:"max_batch" range:"0.02..60" doc:"largest green mass; default 1.25 × nominal"`
	MinBatch     Kilograms `yaml:"min_batch" range:"0.02..60" doc:"smallest green mass at which the probe is covered; default 0.4 × nominal"`
}

// Loops are limits and gains of the loops.
type Loops struct {
	Air  AirLoop  `yaml:"air" doc:"inlet air temperature → air heater"`
	Base BaseLoop `yaml:"base" doc:"drum skin temperature → radiant panels"`
	Bean BeanLoop `yaml:"bean" doc:"bean temperature → inlet air set point"`
}

// Gains are explicit PID gains in ISA form; zero means by rule from the machine's figures.
type Gains struct {
	GainWPerK float64 `yaml:"gain" unit:"W/K" range:"0..100000" doc:"controller gain"`
	IntegralS Seconds `yaml:"integral" range:"0..36000" doc:"integral time"`
	DerivS    Seconds `yaml:"derivative" range:"0..3600" doc:"derivative time"`
}

// AirGains are explicit gains of the air loop at one air flow.
type AirGains struct {
	Flow      KgPerHour `yaml:"flow" need:"yes" range:"1..2000" doc:"air mass flow"`
	GainWPerK float64   `yaml:"gain" need:"yes" unit:"W/K" range:"0.01..100000" doc:"controller gain"`
	IntegralS Seconds   `yaml:"integral" need:"yes" range:"0.5..36000" doc:"integral time"`
	DerivS    Seconds   `yaml:"derivative" range:"0..3600" doc:"derivative time; 0 = none"`
}

// AirLoop is the inlet air loop.
type AirLoop struct {
	Gains  Gains      `yaml:"gains" doc:"explicit gains at nominal air flow, at other flows in proportion to the rule; default by rule"`
	AtFlow []AirGains `yaml:"gains_at_flow" doc:"explicit gains at air flows, rising, as tune found them; between them they follow the flow; instead of gains"`
	Slew   KelvinRate `yaml:"slew" range:"0.05..50" default:"4 K/s" doc:"fastest change of the set point"`
	MaxSet Celsius    `yaml:"max_set" range:"50..500" default:"320 °C" doc:"highest inlet air set point"`
	MinSet Celsius    `yaml:"min_set" range:"0..300" default:"120 °C" doc:"lowest inlet air set point in a roast"`
}

// BaseLoop is the drum skin loop.
type BaseLoop struct {
	Gains  Gains      `yaml:"gains" doc:"explicit gains; default by rule"`
	Slew   KelvinRate `yaml:"slew" range:"0.005..10" default:"0.15 K/s" doc:"fastest change of the set point"`
	MaxSet Celsius    `yaml:"max_set" range:"50..400" default:"280 °C" doc:"highest drum skin set point"`
}

// BeanLoop is the loop over the air loop.
type BeanLoop struct {
	CloseS  Seconds `yaml:"close_after" range:"2..180" default:"10 s" doc:"time after charge at which the loop takes over"`
	LookS   Seconds `yaml:"look_ahead" range:"0..30" default:"6 s" doc:"how far ahead the loop reads the curve, the lag of the air loop"`
	CloserS Seconds `yaml:"response" range:"5..200" default:"30 s" doc:"time constant with which a deviation is closed"`
}

// Batch holds what the sequence needs to know.
type Batch struct {
	ReadyBandK   Kelvins `yaml:"ready_within" range:"1..60" default:"5 K" doc:"skin and inlet air this close to their warming targets count as warm"`
	SoakS        Seconds `yaml:"soak" range:"0..3600" default:"60 s" doc:"time the machine must be warm before it is ready"`
	ChargeBy     string  `yaml:"charge_by" enum:"gate,probe,operator" doc:"what tells that the beans are in; default the gate contact if there is one, else the probe's plunge; the operator always may"`
	PlungeK      Kelvins `yaml:"plunge" range:"2..60" default:"15 K" doc:"fall of the bean probe within 5 s that means charge; in a machine that is ready also twice as much within 30 s"`
	ChargeTimeS  Seconds `yaml:"charge_limit" range:"5..600" default:"60 s" doc:"longest wait from gate open to beans in"`
	CoolS        Seconds `yaml:"cool" range:"10..3600" default:"240 s" doc:"cooling time in the tray"`
	CoolBelow    Celsius `yaml:"cool_below" range:"20..80" default:"35 °C" doc:"with a tray probe, cooled when below"`
	DropTimeS    Seconds `yaml:"drop_time" range:"2..300" default:"20 s" doc:"time for the drum to empty; without a door contact the operator is then asked to say that it is"`
	RunDownBelow Celsius `yaml:"run_down_below" range:"30..120" default:"60 °C" doc:"drum and air stop when all is below"`
	RunDownHoldS Seconds `yaml:"run_down_hold" range:"0..3600" default:"120 s" doc:"how long all must be below"`
	RunDownMaxS  Seconds `yaml:"run_down_limit" range:"60..14400" default:"60 min" doc:"longest run-down before an alarm"`
	IdleMaxS     Seconds `yaml:"warm_limit" range:"300..14400" default:"45 min" doc:"longest time warm without a charge"`
	HornS        Seconds `yaml:"start_warning" range:"0..10" default:"3 s" doc:"horn before the drum first turns"`
}

// Proofs says how strictly proof tests hold up new roasts. One that failed, or is
// overdue beyond its grace, always does.
type Proofs struct {
	RequireAll bool `yaml:"require_all" doc:"true: a test that was never done holds up new roasts too; for a machine whose commissioning is over"`
}

// FirePlan is what the shop fills in of its fire plan.
type FirePlan struct {
	Number  string `yaml:"number" doc:"whom to call"`
	Address string `yaml:"address" doc:"the address to give"`
	Meeting string `yaml:"meeting_point" doc:"where everybody meets outside"`
	Own     string `yaml:"own_line" doc:"a line of the shop's own"`
}

// Telemetry says where figures go.
type Telemetry struct {
	MQTT           *MQTT   `yaml:"mqtt" doc:"a broker; left out = none"`
	Listen         string  `yaml:"listen" default:"127.0.0.1:8420" doc:"address of API and metrics; a path that begins with / is a unix socket"`
	Journal        string  `yaml:"journal" default:"drumwright.db" doc:"database file; a relative path starts at the folder of the machine file"`
	JournalLimitMB int     `yaml:"journal_limit" range:"0..1000000" default:"0" doc:"MiB from which samples of the oldest batches make room, once a backup holds them; 0 = none. A batch takes about 0.25 MiB, each of the last 200 about 1 MiB more for replay; batches and entries always stay"`
	EveryS         Seconds `yaml:"every" range:"0.1..60" default:"1 s" doc:"rhythm of stored samples and of MQTT measurements"`
}

// Access says who may look and command from where.
type Access struct {
	Socket      string   `yaml:"socket" doc:"path of a unix socket beside telemetry.listen; whoever may write to it needs no password; left out = none"`
	View        string   `yaml:"view" doc:"host:port at which screens elsewhere may look; left out = none"`
	Certificate string   `yaml:"certificate" doc:"certificate for view, with its chain, PEM; without it view is not encrypted and nobody can sign in there; a relative path starts at the folder of the machine file"`
	Key         string   `yaml:"key" doc:"private key of the certificate, PEM"`
	Names       []string `yaml:"names" doc:"names of this computer under which viewers or a proxy ask for it; its addresses are always known"`
	Proxies     []string `yaml:"proxies" doc:"addresses, or ranges such as 192.168.1.0/24, of proxies that are believed when they say whom they relay"`
	Remote      bool     `yaml:"remote" default:"false" doc:"whoever has signed in with the role operate or engineer may from elsewhere also stop, hold, drop, acknowledge by name and load a recipe while no heat is in use; never start, reset or raise anything"`
}

// MQTT is a broker.
type MQTT struct {
	Broker       string `yaml:"broker" need:"yes" doc:"such as tcp://127.0.0.1:1883"`
	User         string `yaml:"user" doc:"user name"`
	PasswordFile string `yaml:"password_file" doc:"file that holds the password; a relative path starts at the folder of the machine file"`
	Prefix       string `yaml:"prefix" default:"drumwright" doc:"first part of every topic"`
	CAFile       string `yaml:"ca_file" doc:"file of the certificates that an ssl broker is trusted by; left out = those of the system; a relative path starts at the folder of the machine file"`
	Discovery    string `yaml:"discovery" doc:"first part of the topics on which home automation looks for new sensors; left out = nothing is announced"`
}
