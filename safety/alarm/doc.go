// Package alarm keeps the list of what calls for a person: one alarm for each
// cause, with the states of ISA-18.2 and IEC 62682, first-out, horn, flood and
// chattering. It blocks nothing and resets nothing; that is the gate's.
//
// Invariant: an alarm whose condition is there, or is latched, is never normal;
// and only a command acknowledges. Alarms are not shelved nor taken out of
// service: every one of them stands for a protection.
//
// The horn belongs to the people at the machine. Silencing is taken there only,
// lasts 60 s and is limited. Acknowledging may come from anywhere, because it
// lowers no protection and who looks after the machine from afar must be able
// to say so; but it needs a name, and from afar it does not stop the horn:
// somebody beside the machine may be in danger and know of nothing.
//
// An alarm that is silenced again and again, or not acknowledged in its time, is
// told of once as ignored; for those whose row says so, ShutDown then asks for a
// controlled shut-down.
//
// No clock, no I/O, no goroutine: one goroutine, scan time as given. Update
// allocates only when it tells of something new.
package alarm
