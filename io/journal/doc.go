// Package journal keeps batches, samples, events, trips, proof tests and the tapes
// for replay in an embedded SQLite file, and the latches that must outlive a
// restart. It is not a trend store for days (the metrics are).
//
// Invariant: Put never waits for the disk, and what was put survives the end of the
// process, and of the power, at any moment: events, trips among them, as soon as the
// disk has taken them, the rest after two seconds at most. A batch that was open when
// the last run ended is closed as aborted, never resumed.
//
// Goroutines: Put and Close belong to the scan's goroutine; one writer
// goroutine owns the writing connection; everything else may be called from
// anywhere.
//
// Why synchronous=FULL: with NORMAL the write-ahead log is flushed only when it
// is folded into the database, about every 4 MB, so a power cut in mid-roast, the
// very case that must be explained afterwards, could take the last many minutes
// along. FULL flushes once per commit. At some forty commits a minute, off the scan,
// that costs a few milliseconds each on a solid-state disk and some tens on an SD
// card, which they also wear.
package journal
