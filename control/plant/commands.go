package plant

// Commands is everything a controller can set, as the last write left it.
type Commands struct {
	DrumRun   bool
	DrumHz    float64
	BlowerRun bool
	BlowerHz  float64

	AirHeaterDuty float64 // 0..1 of full power; outside is clamped, NaN is 0
	RadiantDuty   float64 // 0..1 of full power; outside is clamped, NaN is 0
	HeatEnable    bool    // contactor coil
	Heartbeat     uint16  // must keep changing, or the contactor opens

	CoolingFan bool
	Stirrer    bool
	Horn       bool
}
