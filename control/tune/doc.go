// Package tune turns an experiment on a heat loop into gains: it leads the
// experiment (steps or a relay), fits a process with dead time to what came of
// it, works out settings by published rules, and shows their margins and the
// response to expect before anybody takes them.
//
// It moves no output and writes no file: the controller of the scan runs an
// Experiment within the limits of its state and behind the gate, and a person
// accepts what comes out.
//
// Invariant: an Experiment that runs asks for a duty within 0..1 and ends by
// itself. Experiment belongs to the scan and makes no allocation; all else is
// plain computing, safe for concurrent use.
package tune
