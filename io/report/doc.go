// Package report draws one roasting session as a single HTML file: one A4 page
// a batch, with the curves as inline SVG, the figures and the events. The file
// needs nothing else: no script, no style sheet, no font, no network.
//
// It draws what it is given and works nothing out: figures come from the
// caller. Its one invariant is that what is not known is never drawn: a NaN is
// a gap in its line or the words "not known", never a zero, and no line crosses
// a stretch that was not recorded. All text is taken to be hostile.
//
// There is no state; different sessions may be written at the same time.
package report
