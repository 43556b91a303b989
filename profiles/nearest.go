package profiles

import (
	"strconv"
	"strings"
	"unicode"
)

// nearest finds the word that the writer most likely meant, or "".
func nearest(found string, known []string) string {
	found = strings.ToLower(found)
	best, least := "", len(found)/3+2
	for _, k := range known {
		if d := distance(found, strings.ToLower(k), least); d < least {
			best, least = k, d
		}
	}
	return best
}

// distance is the number of letters to insert, delete or change, given up at
// limit.
func distance(a, b string, limit int) int {
	if len(a)-len(b) >= limit || len(b)-len(a) >= limit {
		return limit
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			diagonal, row[j] = row[j], min(row[j]+1, row[j-1]+1, diagonal+cost)
		}
	}
	return row[len(b)]
}

// counted writes a number of things.
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return strconv.Itoa(n) + " " + thing + "s"
}

// instead is the hint for a word that is not among the known ones.
func instead(found string, known []string) string {
	if n := nearest(found, known); n != "" {
		return "perhaps " + n + " was meant"
	}
	return "take it out or use one of these"
}

// shown makes text from a file fit for a message of one line.
func shown(text string) string {
	const longest = 60
	r := []rune(text)
	cut := len(r) > longest
	if cut {
		r = r[:longest]
	}
	plain := len(r) > 0
	for _, c := range r {
		if !unicode.IsPrint(c) {
			plain = false
		}
	}
	s := string(r)
	if !plain || s != strings.TrimSpace(s) {
		s = strconv.Quote(s)
	}
	if cut {
		s += "…"
	}
	return s
}
