package record

import (
	"errors"
	"time"
)

// ErrProof is wrapped by the refusal of a proof test that makes no sense.
var ErrProof = errors.New("this proof test cannot be kept")

// Results of a proof test.
const (
	ProofPass = "pass"
	ProofFail = "fail"
)

// Proof is one proof test as it was carried out. It is never changed: a mistake
// is corrected by a further one.
type Proof struct {
	N           uint64    `json:"n"` // number in the journal, rising; 0 before it is kept
	Test        string    `json:"test"`
	Who         string    `json:"who"`
	When        time.Time `json:"when"`
	Expected    string    `json:"expected"`
	Seen        string    `json:"seen"`
	MeasuredS   Number    `json:"measured_s"` // null: nothing was measured
	LimitS      Number    `json:"limit_s"`    // null: there is none
	Result      string    `json:"result"`     // ProofPass or ProofFail
	Note        string    `json:"note"`
	MachineHash string    `json:"machine_hash"`
	Version     string    `json:"version"`
	Simulated   bool      `json:"simulated"` // on a simulated machine: says nothing about a real one
}

// ProofKind says who can see the result of a proof test.
type ProofKind string

// The kinds of proof tests.
const (
	ProofTrip        ProofKind = "trip"        // the program sees the trip and times it
	ProofWatch       ProofKind = "watch"       // the program watches a signal
	ProofPerson      ProofKind = "person"      // a person judges, yes or no, with a note
	ProofCertificate ProofKind = "certificate" // a qualified person's dated paper is entered
)

// ProofTest describes a proof test on one machine.
type ProofTest struct {
	ID        string    `json:"id"`
	Title     string    `json:"title"`
	Kind      ProofKind `json:"kind"`
	Cautions  []string  `json:"cautions"` // beside the general ones
	Steps     []string  `json:"steps"`    // what a person at the machine does
	Restore   string    `json:"restore"`  // how it is put back; "" = nothing to put back
	Confirm   string    `json:"confirm"`  // what the person is asked to have seen
	Expected  string    `json:"expected"`
	Causes    []string  `json:"causes"`     // trip: the first cause must be one of them
	SafeState string    `json:"safe_state"` // trip: and the safe state this
	LimitS    Number    `json:"limit_s"`    // longest reaction; null = none
	Heat      string    `json:"heat"`       // "on" or "off": what must be so before; "" = either
	EveryDays int       `json:"every_days"` // 0 = on its occasion only
	Occasion  string    `json:"occasion"`   // when, in words
	GraceDays int       `json:"grace_days"` // after which an overdue test holds up new roasts

	Signs  []ProofSign `json:"signs"`  // trip: any of them is the fault; watch: what is watched
	Before []Command   `json:"before"` // commands given once the person is ready
	After  []Command   `json:"after"`  // commands that take those back

	Lacking []string `json:"lacking"` // roles for want of which it is not possible
}

// ProofSign is how the image of a scan shows a fault.
type ProofSign struct {
	Point string  `json:"point"` // input role
	How   string  `json:"how"`   // a word of package safety/proof
	Level float64 `json:"level"`
}

// States of a proof test.
const (
	ProofNever      = "never done"
	ProofOK         = "ok"
	ProofDue        = "due"
	ProofOverdue    = "overdue" // beyond grace
	ProofFailed     = "failed"
	ProofImpossible = "not possible"
)

// ProofStanding is where a proof test stands.
type ProofStanding struct {
	ProofTest
	State      string     `json:"state"`
	Last       *Proof     `json:"last"`        // null = never
	DueAt      *time.Time `json:"due_at"`      // null = no date: never done, or on its occasion only
	BlocksFrom *time.Time `json:"blocks_from"` // null = never
	Remark     string     `json:"remark"`      // what is odd about it; "" = nothing
}

// ProofBook is every proof test and what was done.
type ProofBook struct {
	Tests    []ProofStanding `json:"tests"`
	Blocking []string        `json:"blocking"` // why no new roast may start; empty = it may
	Records  []Proof         `json:"records"`  // newest first
}
