package profiles

import "drumwright/io/point"

// Point binds a role to registers as written.
type Point struct {
	Device   string          `yaml:"device" doc:"one of devices: its map says where and how the point lies, instead of bus, unit, table and address; what stands here too counts before the map"`
	Point    string          `yaml:"point" doc:"with device: which point of its map"`
	Bus      string          `yaml:"bus" need:"yes" doc:"name of a bus"`
	Unit     int             `yaml:"unit" range:"0..247" default:"1" doc:"unit id"`
	Table    string          `yaml:"table" need:"yes" enum:"coil,discrete_input,holding,input_register" doc:"address space: function codes 1/5/15, 2, 3/6/16, 4"`
	Address  *int            `yaml:"address" need:"yes" range:"0..65535" doc:"as in the protocol, counted from 0"`
	Type     string          `yaml:"type" enum:"bool,int16,uint16,int32,uint32,float32" doc:"layout of the number; default bool for coils, discrete inputs and contacts, uint16 for states, bits and counters, int16 otherwise"`
	Order    string          `yaml:"order" enum:"ABCD,CDAB,BADC,DCBA" default:"ABCD" doc:"byte and word order"`
	Scale    float64         `yaml:"scale" default:"1" doc:"value = raw × scale + offset, the value in the unit of the role; for air_heater_power and radiant_power the value is percent of rated power, for speeds what in says"`
	Offset   float64         `yaml:"offset" default:"0" doc:"added after scaling, in the unit of the scaled value"`
	Sensor   string          `yaml:"sensor" enum:"pt100,pt1000,type_k,type_j" doc:"the device gives what a resistance thermometer or thermocouple gives: raw × scale + offset is then in Ω or mV; left out = it gives °C"`
	Junction *ColdJunction   `yaml:"cold_junction" doc:"with a thermocouple: where the temperature of its terminals is read"`
	Correct  *Correction     `yaml:"correction" doc:"with sensor: what calibration found, in °C; without it scale and offset hold it"`
	In       string          `yaml:"in" enum:"Hz,percent,rpm" default:"Hz" doc:"drum_speed and blower_speed: what the device counts in"`
	FullHz   Hertz           `yaml:"full_scale" range:"1..400" doc:"with in: percent, the frequency at 100 %"`
	Poles    int             `yaml:"poles" range:"2..12" doc:"with in: rpm, the motor's poles"`
	DeadHz   Hertz           `yaml:"dead_band" range:"0..60" doc:"speeds below this are sent as 0"`
	Bit      *int            `yaml:"bit" range:"0..15" doc:"one bit of a word, 0 = lowest; outputs that share a word are written together"`
	Inverted bool            `yaml:"inverted" doc:"the contact is on when the raw value is 0"`
	Mask     *int            `yaml:"mask" range:"1..65535" doc:"with states: bits that count; default all"`
	States   map[string]int  `yaml:"states" doc:"status: raw values of stopped, running, fault; commands: raw values of run, stop (or on, off)"`
	Open     []float64       `yaml:"open_codes" doc:"raw values by which the module reports an open probe"`
	Min      *float64        `yaml:"min" doc:"least plausible value, in the role's unit; default -10 for temperatures, none for others"`
	Max      *float64        `yaml:"max" doc:"greatest plausible value; default 450 for temperatures, 900 for heater_element, none for others"`
	Every    int             `yaml:"every" range:"1..600" default:"1" doc:"read every n-th scan"`
	Alone    bool            `yaml:"alone" doc:"never read together with neighbours"`
	Span     int             `yaml:"span" range:"0..125" doc:"the device refuses part reads: read this many registers from the address"`
	Write    string          `yaml:"write" enum:"single,multiple" default:"single" doc:"function for writing one value; two-register values are always written with multiple"`
	RefreshS Seconds         `yaml:"refresh" range:"0..60" doc:"write again after this time even if unchanged, for modules with a watchdog; heartbeat: its rhythm"`
	Cycle    *TimeProportion `yaml:"time_proportioned" doc:"for an on/off heater output"`
	ReadBack *ReadBack       `yaml:"read_back" doc:"outputs: where the device says what it has taken"`
}

// ColdJunction is where the temperature of a thermocouple's terminals is read, at
// the device that reads the thermocouple, °C.
type ColdJunction struct {
	Table   string  `yaml:"table" enum:"holding,input_register" doc:"address space; default that of the point"`
	Address *int    `yaml:"address" need:"yes" range:"0..65535" doc:"as in the protocol, counted from 0"`
	Type    string  `yaml:"type" enum:"int16,uint16,int32,uint32,float32" default:"int16" doc:"layout of the number"`
	Order   string  `yaml:"order" enum:"ABCD,CDAB,BADC,DCBA" default:"ABCD" doc:"byte and word order"`
	Scale   float64 `yaml:"scale" default:"1" doc:"°C = raw × scale + offset"`
	Offset  float64 `yaml:"offset" default:"0" doc:"added after scaling, in °C"`
}

// Correction is what calibration found of a sensor: true = gain × converted +
// offset.
type Correction struct {
	Gain   float64 `yaml:"gain" range:"0.9..1.1" default:"1" doc:"share by which the converted temperature is off"`
	Offset Kelvins `yaml:"offset" range:"-20..20" default:"0 K" doc:"added to it"`
}

// ReadBack is where a device says what it has taken of an output, laid out like
// the output itself: a set point or an output register, not what the motor does.
type ReadBack struct {
	Table   string `yaml:"table" enum:"coil,discrete_input,holding,input_register" doc:"address space; default that of the output"`
	Address *int   `yaml:"address" need:"yes" range:"0..65535" doc:"as in the protocol, counted from 0"`
	Every   int    `yaml:"every" range:"1..5" default:"1" doc:"read every n-th scan"`
}

// DeviceConstant is a register that always holds the same number: a type
// number, a firmware version, a rated frequency, best a serial number.
type DeviceConstant struct {
	Bus     string  `yaml:"bus" need:"yes" doc:"name of a bus"`
	Unit    int     `yaml:"unit" range:"0..247" default:"1" doc:"unit id"`
	Table   string  `yaml:"table" need:"yes" enum:"holding,input_register" doc:"address space"`
	Address *int    `yaml:"address" need:"yes" range:"0..65535" doc:"as in the protocol, counted from 0"`
	Type    string  `yaml:"type" enum:"int16,uint16,int32,uint32,float32" default:"uint16" doc:"layout of the number; one of two registers also shows a wrong word order"`
	Order   string  `yaml:"order" enum:"ABCD,CDAB,BADC,DCBA" default:"ABCD" doc:"byte and word order"`
	Is      float64 `yaml:"is" need:"yes" doc:"the raw number that stands there"`
	EveryS  Seconds `yaml:"every" range:"1..60" default:"30 s" doc:"read at start and then this often"`
	What    string  `yaml:"what" doc:"what it is, for messages"`
}

// Constant is a device constant with its place.
type Constant struct {
	Access point.Access
	Is     float64
	Name   string // unit and register, and what the file says that it is
}

// TimeProportion makes a share of power from an on/off output.
type TimeProportion struct {
	PeriodS Seconds `yaml:"period" need:"yes" range:"0.5..60" doc:"length of one window"`
	MinOnS  Seconds `yaml:"min_on" range:"0..30" doc:"shortest time on or off; what is cut is carried to the next window"`
}
