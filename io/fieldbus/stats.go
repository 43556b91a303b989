package fieldbus

// Stats is a snapshot of the health of all buses.
type Stats struct {
	Buses []BusStats
}

// BusStats is the health of one bus.
type BusStats struct {
	Name        string
	Connected   bool
	Problem     string // why it cannot be opened; empty if it is or was never tried
	Connections uint64 // times that the line has been opened
	Units       []UnitStats
}

// UnitStats counts what became of the requests to one unit.
type UnitStats struct {
	Unit        uint8
	Requests    uint64 // requests sent
	Errors      [NumReasons]uint64
	Consecutive int     // requests failed in a row
	RoundTripS  float64 // of the last request that was answered
	Silent      bool    // backing off: the unit has not answered for a while
}

// Stats returns a snapshot. It may be called from any goroutine.
func (f *Fieldbus) Stats() Stats {
	s := Stats{Buses: make([]BusStats, len(f.buses))}
	for i, b := range f.buses {
		b.mu.Lock()
		s.Buses[i] = BusStats{Name: b.name, Connected: b.connected, Problem: b.problem, Connections: b.connections, Units: make([]UnitStats, len(b.units))}
		for j, u := range b.units {
			s.Buses[i].Units[j] = u.stats
		}
		b.mu.Unlock()
	}
	return s
}

// Transactions is the number of requests sent since New, over all buses. It
// may be called from any goroutine.
func (f *Fieldbus) Transactions() uint64 {
	var n uint64
	for _, b := range f.buses {
		b.mu.Lock()
		for _, u := range b.units {
			n += u.stats.Requests
		}
		b.mu.Unlock()
	}
	return n
}
