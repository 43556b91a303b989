package fieldbus

import "github.com/goburrow/modbus"

// silentAfter is the number of time-outs in a row after which a unit is taken
// for dead and probed ever more rarely. Common practice, no source.
const silentAfter = 3

// heatProbeS is the longest pause in scan seconds between probes of a unit that
// drives a heater: what comes back must be told soon that heat is off.
// Estimate; common practice, no source.
const heatProbeS = 1.0

// unit is one device on a bus. All but stats and identity belong to the
// owner of the bus; stats are written under the bus's mutex.
type unit struct {
	address  uint8
	client   modbus.Client
	failures int    // time-outs in a row
	backoff  uint64 // scans between probes
	probeAt  uint64 // scan of the next probe
	longest  uint64 // limit of backoff
	stats    UnitStats
	identity
}

func (u *unit) silent() bool { return u.failures >= silentAfter }

// mayAsk reports whether a request to the unit is to be spent in this scan.
func (u *unit) mayAsk(scan uint64) bool { return !u.silent() || scan >= u.probeAt }

func (u *unit) timedOut(scan uint64) {
	u.failures++
	if !u.silent() {
		return
	}
	u.backoff = min(max(2*u.backoff, 1), u.longest)
	u.probeAt = scan + u.backoff
}

func (u *unit) answered() { u.failures, u.backoff = 0, 0 }
