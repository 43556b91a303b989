package report

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// clean makes one line of printable text of what a person or a file supplied:
// broken UTF-8, control characters and marks that turn the writing direction of
// what follows are taken out. Escaping for HTML is done where text is written.
func clean(s string) string {
	return strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.In(r, unicode.Cc, unicode.Cs, unicode.Co, unicode.Bidi_Control):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))), " ")
}

// short is the clean text, cut to at most n letters.
func short(s string, n int) string {
	s = clean(s)
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	return strings.TrimSpace(string([]rune(s)[:n-1])) + "…"
}
