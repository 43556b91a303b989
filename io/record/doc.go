// Package record holds what one scan leaves behind: inputs, state, estimates,
// wishes, permit, events and timing in one plain struct, and the commands that
// people send in. Journal, MQTT, metrics and panel are all fed from it and from
// nothing else, so they cannot tell different stories.
//
// It is a leaf of plain values: copying a Scan copies everything but the
// texts of its events, which are never changed once made. Beside it stand what
// all sinks share: the views that programs outside see, the shapes of what is
// kept, and the bounded queue between a scan and a slow sink. Only Queue may be
// used from two goroutines at once.
package record
