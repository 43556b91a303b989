package safety

import "fmt"

// Computer is how the computer that runs this is doing, as whoever calls the gate
// has found it; 0 = not known.
type Computer struct {
	CPUC          float64 // hottest part that it can read, °C
	MemoryFreePct float64 // of its memory that programs can still have, %
	DiskFreeMB    float64 // where the journal is kept
}

// What a computer still bears; boards of this kind slow themselves down at 80 to
// 85 °C (estimates, common practice, no source).
var (
	computerTight  = Computer{CPUC: 80, MemoryFreePct: 20, DiskFreeMB: 200}
	computerFailed = Computer{CPUC: 85, MemoryFreePct: 10, DiskFreeMB: 50}
)

func (c Computer) say(what string) string {
	return fmt.Sprintf("%s: processor from %.0f °C, or less than %.0f %% of its memory or %.0f MB of its disk free.", what, c.CPUC, c.MemoryFreePct, c.DiskFreeMB)
}

// computerPast is active when a figure of the computer is known and past its
// limit.
func computerPast(limit Computer) func(*Gate, *view) finding {
	return func(_ *Gate, v *view) finding {
		switch c := &v.Computer; {
		case c.CPUC >= limit.CPUC:
			return finding{active: true, value: c.CPUC, limit: limit.CPUC, unit: "°C", detail: "processor"}
		case c.MemoryFreePct > 0 && c.MemoryFreePct < limit.MemoryFreePct:
			return finding{active: true, value: c.MemoryFreePct, limit: limit.MemoryFreePct, unit: "%", detail: "free memory"}
		case c.DiskFreeMB > 0 && c.DiskFreeMB < limit.DiskFreeMB:
			return finding{active: true, value: c.DiskFreeMB, limit: limit.DiskFreeMB, unit: "MB", detail: "free disk"}
		}
		return finding{}
	}
}
