// Package replay runs the control core again on what a tape says that it was given,
// and compares what it decides with what was decided, bit by bit. With another
// machine file it shows what that would have decided on the same inputs; how the
// machine would have answered it cannot know.
//
// No goroutines; nothing is opened.
package replay
