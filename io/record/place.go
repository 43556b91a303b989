package record

import "fmt"

// Place says where an event stands in the order of all that ever were: the run of
// the program, the scan of the run, and which event of the scan, from 1.
type Place struct {
	Run, Scan uint64
	N         int
}

// After reports whether p comes after q.
func (p Place) After(q Place) bool {
	if p.Run != q.Run {
		return p.Run > q.Run
	}
	if p.Scan != q.Scan {
		return p.Scan > q.Scan
	}
	return p.N > q.N
}

func (p Place) String() string { return fmt.Sprintf("%d %d %d", p.Run, p.Scan, p.N) }

// ParsePlace reads what String wrote.
func ParsePlace(text string) (p Place, err error) {
	if _, err = fmt.Sscanf(text, "%d %d %d", &p.Run, &p.Scan, &p.N); err != nil {
		return Place{}, fmt.Errorf("place %q of an event: %w", text, err)
	}
	return p, nil
}

// PlacedEvent is an event and where it stands.
type PlacedEvent struct {
	Place
	Event EventView
}
