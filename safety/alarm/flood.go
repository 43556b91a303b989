package alarm

// A flood is the state in which alarms come faster than one person can see to
// them: it begins at 10 or more in 10 minutes and ends at fewer than 5 in 10
// minutes (ISA-18.2 and IEC 62682, performance metrics; the end from memory).
const (
	floodBegins  = 10
	floodEnds    = 5
	floodWindowS = 600
)

// An alarm chatters when it comes three times or more within a minute (common
// figure for chattering alarms in the literature on ISA-18.2; from memory).
const (
	chatterCount   = 3
	chatterWindowS = 60
)

// flood watches how fast alarms come. The window is open at its far end: what
// came exactly 600 s ago is out of it.
type flood struct {
	cameS [floodBegins]float64 // the last times, a ring by n
	n     uint64
	on    bool
}

// comes notes an alarm and reports whether a flood begins with it.
func (f *flood) comes(nowS float64) bool {
	f.cameS[f.n%floodBegins] = nowS
	f.n++
	if f.on || f.n < floodBegins || nowS-f.cameS[f.n%floodBegins] >= floodWindowS {
		return false
	}
	f.on = true
	return true
}

// ends reports whether a flood ends now: the fifth last alarm is out of the
// window.
func (f *flood) ends(nowS float64) bool {
	if !f.on || nowS-f.cameS[(f.n-floodEnds)%floodBegins] < floodWindowS {
		return false
	}
	f.on = false
	return true
}

// chatters reports whether the alarm has come too often of late.
func (e *entry) chatters(nowS float64) bool {
	n := e.shown.Count
	return n >= chatterCount && nowS-e.cameS[n%chatterCount] < chatterWindowS
}
