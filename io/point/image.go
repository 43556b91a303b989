package point

// Quality says how far a value may be trusted.
type Quality uint8

// Qualities, from best to worst. The zero value is Absent, so that an image
// nobody has filled trusts nothing.
const (
	Absent    Quality = iota // the machine has no such point
	Good                     // read in time and plausible
	Uncertain                // usable with care: old by a scan or two, or just out of range
	Bad                      // not to be used
)

func (q Quality) String() string {
	return [...]string{"absent", "good", "uncertain", "bad"}[q]
}

// Cause says why a value is not good.
type Cause uint8

// Causes. Every bad or uncertain value carries one.
const (
	None         Cause = iota
	NotReadYet         // no reply since start
	Timeout            // the device did not answer in time
	BusDown            // the bus cannot be opened or has failed
	Refused            // the device answered with a Modbus exception
	WrongReply         // the answer did not fit the request
	OpenProbe          // the module reports an open or shorted probe
	OutOfRange         // outside the plausible range of the point
	Jump               // moved faster than the point can
	Frozen             // has not moved at all while it should
	Disagrees          // differs too much from a redundant point
	UnknownState       // a status word that the machine file does not list
	NoJunction         // the cold junction of a thermocouple is not known
)

func (c Cause) String() string {
	return [...]string{"", "not read yet", "time-out", "bus down", "refused by device", "wrong reply",
		"open probe", "out of range", "jump", "frozen", "disagrees", "unknown state", "cold junction not known"}[c]
}

// Value is one measured value with its quality. V is meaningful when the
// quality is Good or Uncertain; otherwise it is the last value that was, for
// display beside its age only.
type Value struct {
	V       float64
	Quality Quality
	Cause   Cause
	AgeS    float64 // seconds of scan time since V was read
}

// Usable reports whether V may be used for control: good, or uncertain.
func (v Value) Usable() bool { return v.Quality == Good || v.Quality == Uncertain }

// On reports whether a contact is known to be on. Anything doubtful is off.
func (v Value) On() bool { return v.Quality == Good && v.V >= 0.5 }

// Off reports whether a contact is known to be off. Anything doubtful is not.
func (v Value) Off() bool { return v.Quality == Good && v.V < 0.5 }

// MaxConstants is the number of device constants that a machine file may name.
const MaxConstants = 16

// Image is everything that was read in one scan. What the machine has not is
// Absent.
type Image struct {
	In    [NumInputs]Value
	Back  [NumOutputs]Value   // what a device says it has taken of an output, in the unit of the role
	Known [MaxConstants]Value // device constants, raw numbers, in the order of the machine file
}

// Has reports whether the machine has that point at all.
func (m *Image) Has(i Input) bool { return m.In[i].Quality != Absent }
