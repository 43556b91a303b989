package record

import "time"

// Audit is one thing that somebody asked of the machine or its records, and what
// became of it. It is never changed.
type Audit struct {
	N        uint64    `json:"n"` // number in the journal, rising; 0 before it is kept
	When     time.Time `json:"when"`
	Account  string    `json:"account"` // who was signed in; "" = nobody
	Role     string    `json:"role"`    // that the request had, one of Roles; "" = none
	Who      string    `json:"who"`     // the name that the request itself gave; nobody has checked it
	Source   string    `json:"source"`  // address it came from, "socket" or "command line"
	Local    bool      `json:"local"`   // made at the machine
	Action   string    `json:"action"`  // kind of the command, or what else was done
	Detail   string    `json:"detail"`
	Accepted bool      `json:"accepted"`
	Reason   string    `json:"reason"` // what was done, or why not
}

// AuditSearch says which rows are wanted; what is left empty does not matter.
type AuditSearch struct {
	Before   uint64 // numbers below; 0 = all
	Limit    int    // at most so many, newest first; below 1 = all
	From, To time.Time
	Refused  bool // only what was refused
}
