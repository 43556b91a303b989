package main

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// width is what text is wrapped to: a terminal of 80 columns.
const width = 79

// wrapped is text in lines of which the first begins with an indent, the others
// with as many blanks.
func wrapped(indent, text string) string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && utf8.RuneCountInString(indent+line+" "+word) > width {
			lines = append(lines, indent+line)
			line, indent = "", strings.Repeat(" ", utf8.RuneCountInString(indent))
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return strings.Join(append(lines, indent+line), "\n")
}

func printWrapped(w io.Writer, indent, text string) { fmt.Fprintln(w, wrapped(indent, text)) }
