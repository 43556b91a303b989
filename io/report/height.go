package report

import "unicode/utf8"

// How far the panels may be pressed or pulled to fill one page.
const leastStretch, mostStretch = 0.78, 1.25

// The room on an A4 page and what the text takes of it, in units of the plots;
// measured from the style sheet with a wide type.
const (
	pageH      = 1040.0
	titleBlock = 50.0
	footBlock  = 34.0
	textLineH  = 17.0
	lettersRow = 105 // letters in a line across the page
)

// plotHeight is the room that the text of batch i leaves for its plots on one
// A4 page, text of the session on its first and last page counted in. It is an
// estimate: type differs between machines.
func plotHeight(s *Session, i int) float64 {
	b := &s.Batches[i]
	left := pageH - titleBlock - footBlock
	left -= textLineH * float64(rowsOf(about(s), lettersRow)-1)
	left -= 1.12 * textLineH * float64(len(figureRows(b.Figures)))
	if len(b.Events) > 0 {
		lines := 0
		for _, e := range b.Events {
			lines += rowsOf(e.Name+" "+e.Text, 40)
		}
		left -= textLineH * float64(2+(lines+1)/2)
	}
	if i == 0 && s.Note != "" {
		left -= 8 + textLineH*float64(rowsOf(s.Note, lettersRow))
	}
	if i == len(s.Batches)-1 && len(s.Remarks) > 0 {
		left -= 2 * textLineH
		for _, r := range s.Remarks {
			left -= textLineH * float64(rowsOf(r, lettersRow))
		}
	}
	return left
}

// rowsOf is how many rows of so many letters a text takes.
func rowsOf(s string, letters int) int {
	return max(1, (utf8.RuneCountInString(clean(s))+letters-1)/letters)
}
