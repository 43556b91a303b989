package doctor

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Metrics is what a daemon says of itself, by series as they stand in the text
// format of Prometheus, labels included.
type Metrics map[string]float64

// ReadMetrics reads the text format; lines that it does not know it passes over.
func ReadMetrics(r io.Reader) (Metrics, error) {
	m := Metrics{}
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		line := lines.Text()
		i := strings.LastIndexByte(line, ' ')
		if i < 0 || line[0] == '#' {
			continue
		}
		if v, err := strconv.ParseFloat(line[i+1:], 64); err == nil {
			m[line[:i]] = v
		}
	}
	return m, lines.Err()
}

// The limits are estimates; common practice, no source.
const (
	fewErrors  = 0.001 // of the requests of a bus
	manyErrors = 0.05
)

// Buses looks at the requests of each bus since the daemon was started.
func Buses(m Metrics, names []string) []Finding {
	var list []Finding
	for _, name := range names {
		label := `{bus="` + name + `"}`
		asked, failed := m["drumwright_bus_requests_total"+label], m["drumwright_bus_errors_total"+label]
		what := "traffic of bus " + name
		if asked == 0 {
			f := good(what, "no request has been sent")
			list = append(list, f.but(Fault, "the bus could not be opened; the log says why (journalctl -u drumwright)"))
			continue
		}
		f := good(what, "%.0f requests, %.0f without a usable answer (%.2g %%)", asked, failed, 100*failed/asked)
		switch share := failed / asked; {
		case share >= manyErrors:
			f = f.but(Fault, "look at power, wiring, termination, baud rate and unit ids; drumwright find lists who answers")
		case share >= fewErrors:
			f = f.but(Warning, "look at shield, termination and the drives' cables; two things with one unit id look like this too")
		}
		list = append(list, f)
	}
	return list
}

// Rhythm looks at how punctual scans have been.
func Rhythm(m Metrics) Finding {
	scans, missed, period := m["drumwright_scans_total"], m["drumwright_scan_overruns_total"], m["drumwright_scan_period_seconds"]
	if scans == 0 {
		f := good("rhythm", "no scan has been made")
		return f.but(Fault, "see the log of the daemon")
	}
	work := m["drumwright_scan_read_seconds"] + m["drumwright_scan_step_seconds"] + m["drumwright_scan_write_seconds"]
	late := m["drumwright_scan_lateness_seconds_sum"] / scans
	f := good("rhythm", "%.0f scans, %.0f missed; %.1f ms late on average, the last took %.0f of %.0f ms", scans, missed, 1000*late, 1000*work, 1000*period)
	switch {
	case missed/scans > 0.01:
		return f.but(Fault, "the computer or the buses are too slow for the period: read slow points with every:, or lengthen scan.period")
	case missed/scans > 0.0001 || work > 0.8*period:
		return f.but(Warning, "little time is left: end other programs on this computer, or lengthen scan.period")
	}
	return f
}

// Kept looks at what journal and broker could not keep up with.
func Kept(m Metrics) Finding {
	lost := map[string]float64{"events": m["drumwright_events_lost_total"]}
	for series, n := range m {
		if rest, ok := strings.CutPrefix(series, `drumwright_dropped_total{sink="`); ok {
			sink, _, _ := strings.Cut(rest, `"`)
			lost[sink] += n // whole numbers: the order of the sum does not matter
		}
	}
	f := good("records", "none dropped since the start")
	if lost["journal"]+lost["mqtt"]+lost["events"] == 0 {
		return f
	}
	f.Said = fmt.Sprintf("dropped since the start: %.0f by the journal, %.0f by MQTT, %.0f events of crowded scans", lost["journal"], lost["mqtt"], lost["events"])
	if lost["journal"] > 0 {
		return f.but(Warning, "the disk was too slow or full: see disk speed and space above")
	}
	return f.but(Warning, "the broker was away or too slow: see its log; the journal holds all the same")
}
