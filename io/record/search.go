package record

import "time"

// Search says which batches are wanted; what is left empty does not matter.
// Lot, Recipe and Tag are met in full, letter case aside; Text is met by any
// part of recipe, lot, tag, note or comment.
type Search struct {
	Before   uint64 // batch numbers below; 0 = all
	Limit    int    // at most so many, newest first; below 1 = all
	From, To time.Time
	Result   string
	Recipe   string
	Lot      string
	Tag      string
	Text     string
}
