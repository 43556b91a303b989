package plant

// ProbeStatus says what is wrong with a probe. A converter can only report
// Open; the others are for a judge to know and a controller to find out.
type ProbeStatus uint8

// The states of a probe.
const (
	ProbeGood    ProbeStatus = iota
	ProbeOpen                // open circuit, reported by the converter
	ProbeFrozen              // repeats its last value
	ProbeShorted             // reads the terminals' temperature
	ProbeWrong               // reads something else than the place it is named after
)

// String gives the status as one lower-case word.
func (s ProbeStatus) String() string {
	switch s {
	case ProbeGood:
		return "good"
	case ProbeOpen:
		return "open"
	case ProbeFrozen:
		return "frozen"
	case ProbeShorted:
		return "shorted"
	case ProbeWrong:
		return "wrong"
	}
	return "unknown"
}

// OpenCircuitC is what a probe reads when open: the top of a signed 16-bit
// register in tenths, as a converter with upscale burnout shows.
const OpenCircuitC = 3276.7

// ProbeReading is one temperature as its converter gives it.
type ProbeReading struct {
	C      float64
	Status ProbeStatus
}

// DriveReading is what an inverter tells about itself.
type DriveReading struct {
	Running  bool // output above 0 Hz
	Fault    bool
	OutputHz float64
	CurrentA float64 // of its motor; of the drum drive only
}

// Readings is everything the machine's devices report after a step.
type Readings struct {
	BeanProbe    ProbeReading
	InletProbe   ProbeReading
	ExhaustProbe ProbeReading
	SkinProbe    ProbeReading
	ElementProbe ProbeReading
	LimitProbe   ProbeReading
	TrayProbe    ProbeReading
	AmbientProbe ProbeReading

	Bean2Probe     ProbeReading // beside the bean probe, with its own converter
	CollectorProbe ProbeReading
	CabinetProbe   ProbeReading

	DrumDrive   DriveReading
	BlowerDrive DriveReading
	DrumPulses  uint64  // shaft pulses since the machine was made
	DrumRPM     float64 // of the pulse module, 0.1 rpm steps

	AirFlowKgPerH float64
	AirProven     bool

	AirHeaterA      float64
	RadiantA        float64
	MainsV          float64
	PhasesHealthy   bool // phase relay
	SupplyHealthy   bool // the machine has its mains
	ContactorClosed bool // mirror contact
	EStopHealthy    bool
	LimitHealthy    bool
	CoverClosed     bool
	ChargeGateOpen  bool
	DischargeOpen   bool

	CoolingFanRunning bool
	StirrerRunning    bool
	HornOn            bool

	CarbonMonoxideAlarm bool
}
