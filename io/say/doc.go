// Package say puts a scan into the words that a person reads first: what state
// the machine is in, what comes, what to do next, which commands may be given
// and why the others may not. Page and terminal print the same sentences.
//
// It decides nothing and knows nothing that the view of the scan does not say:
// a button is here only if the controller has said that it would take the
// command, and "off" is written only when feedback shows it. All sentences of
// the daemon for the operator stand here or come with the view.
//
// There is no state; everything may be called from anywhere.
package say
