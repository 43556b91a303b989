package main

import (
	"encoding/json"
	"io"
)

// printJSON writes one value for a script to read: indented, and with <, > and & as
// they are.
func printJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}
