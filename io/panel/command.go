package panel

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"drumwright/io/record"
)

// needs says which members a command has beside kind and who. No other may be
// there, unless takes has it: a value that is not heeded would be a misunderstanding.
var needs = map[record.Kind][]string{
	record.LoadRecipe:   {"recipe"},
	record.SetManual:    {"loop", "value"},
	record.SetAutomatic: {"loop"},
	record.TryLoop:      {"loop", "value", "method", "limit_k"},
	record.TurnDrum:     {"skin_mm_per_s"},
	record.DropAt:       {"drop_c"},
}

// takes says which members a command may have besides.
var takes = map[record.Kind][]string{record.Acknowledge: {"cause"}, record.TryLoop: {"flow_kg_per_h"}}

// members are all that a command can have.
const members = "a command has kind, recipe, loop, value, method, limit_k, flow_kg_per_h, skin_mm_per_s, drop_c, cause, who, seen_state and seen_scan"

// anyTime are members that go with every command.
var anyTime = []string{"kind", "who", "seen_state", "seen_scan"}

// decodeCommand reads one command.
func decodeCommand(b []byte) (record.Command, error) {
	var c record.Command
	given, err := decodeFlat(b, `{"kind": "charged"}`, func(name string, v any) error { return set(&c, name, v) })
	if err != nil {
		return c, err
	}
	return c, check(&c, given)
}

// decodeFlat reads a JSON object without objects or lists in it and hands over
// its members; it returns their names. It is stricter than encoding/json: names
// must match to the letter, which set sees to, and come once, so that two
// readers of the same bytes cannot see two commands.
func decodeFlat(b []byte, example string, set func(name string, v any) error) (given []string, err error) {
	if !utf8.Valid(b) {
		return nil, errors.New("the body is not UTF-8")
	}
	d := json.NewDecoder(bytes.NewReader(b))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return nil, fmt.Errorf("the body is not a JSON object such as %s", example)
	}
	for d.More() {
		t, err := d.Token()
		if err != nil {
			return nil, fmt.Errorf("the body is not JSON: %w", err)
		}
		name := t.(string) // the decoder gives nothing else here
		if slices.Contains(given, name) {
			return nil, fmt.Errorf("%q is given twice", name)
		}
		given = append(given, name)
		v, err := d.Token()
		if err != nil {
			return nil, fmt.Errorf("the body is not JSON: %w", err)
		}
		if err := set(name, v); err != nil {
			return nil, err
		}
	}
	if _, err := d.Token(); err != nil {
		return nil, fmt.Errorf("the body is not JSON: %w", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, errors.New("something follows the JSON object")
	}
	return given, nil
}

func set(c *record.Command, name string, v any) error {
	if at := map[string]*float64{"value": &c.Value, "limit_k": &c.LimitK, "flow_kg_per_h": &c.FlowKgPerH, "skin_mm_per_s": &c.SkinMMPerS, "drop_c": &c.DropC}[name]; at != nil {
		n, ok := v.(float64)
		if !ok {
			return fmt.Errorf("%q is not a number", name)
		}
		*at = n
		return nil
	}
	if name == "seen_scan" {
		n, ok := v.(float64)
		if !ok || n < 0 || n > 1<<53 || n != float64(uint64(n)) {
			return fmt.Errorf(`"seen_scan" is not the number of a scan`)
		}
		c.SeenScan = uint64(n)
		return nil
	}
	s, ok := v.(string)
	if !ok {
		return fmt.Errorf("%q is not a text, or not known: "+members, name)
	}
	switch name {
	case "kind":
		c.Kind = record.Kind(s)
	case "recipe":
		c.Recipe = s
	case "loop":
		c.Loop = s
	case "method":
		c.Method = s
	case "cause":
		if c.Cause = s; s == "" {
			return errors.New(`"cause" is empty: name an alarm, or leave it out for all`)
		}
	case "who":
		c.Who = s
	case "seen_state":
		c.SeenState = s
	default:
		return fmt.Errorf("%q is not known: "+members, name)
	}
	return nil
}

func check(c *record.Command, given []string) error {
	if !slices.Contains(record.Kinds[:], c.Kind) {
		return fmt.Errorf("kind %q is not one of %q", c.Kind, record.Kinds)
	}
	need := needs[c.Kind]
	for _, n := range need {
		if !slices.Contains(given, n) {
			return fmt.Errorf("%s needs %q", c.Kind, n)
		}
	}
	for _, g := range given {
		if !slices.Contains(anyTime, g) && !slices.Contains(need, g) && !slices.Contains(takes[c.Kind], g) {
			return fmt.Errorf("%s takes no %q", c.Kind, g)
		}
	}
	if slices.Contains(need, "loop") && c.Loop != "air" && c.Loop != "base" {
		return fmt.Errorf(`loop %q is not "air" or "base"`, c.Loop)
	}
	if !(c.Value >= 0 && c.Value <= 1) {
		return fmt.Errorf("value %v is not a share of rated power from 0 to 1", c.Value)
	}
	if slices.Contains(need, "method") && c.Method != "step" && c.Method != "relay" {
		return fmt.Errorf(`method %q is not "step" or "relay"`, c.Method)
	}
	if !(c.LimitK >= 0 && c.LimitK <= 1000) || !(c.FlowKgPerH >= 0 && c.FlowKgPerH <= 1e5) {
		return fmt.Errorf("limit_k %v and flow_kg_per_h %v: allowed are 0 to 1000 K and 0 to 100000 kg/h; the machine allows less", c.LimitK, c.FlowKgPerH)
	}
	if !(c.SkinMMPerS >= 0 && c.SkinMMPerS <= 2000) {
		return fmt.Errorf("skin_mm_per_s %v: allowed are 0 to 2000 mm/s; the machine allows less", c.SkinMMPerS)
	}
	if !(c.DropC >= 0 && c.DropC <= 300) {
		return fmt.Errorf("drop_c %v: allowed are 0 to 300 °C; the roast allows less", c.DropC)
	}
	if slices.Contains(need, "recipe") {
		if err := checkRecipeName(c.Recipe); err != nil {
			return err
		}
	}
	if err := checkText(c.Cause, 64); err != nil {
		return fmt.Errorf("cause %w", err)
	}
	if err := checkText(c.SeenState, 64); err != nil {
		return fmt.Errorf("seen_state %w", err)
	}
	if err := checkText(c.Who, 64); err != nil {
		return fmt.Errorf("who %w", err)
	}
	return nil
}

func checkRecipeName(name string) error {
	if err := checkText(name, 100); err != nil {
		return fmt.Errorf("recipe %w", err)
	}
	if strings.ContainsAny(name, `/\`) || strings.HasPrefix(name, ".") || name == "" {
		return fmt.Errorf("recipe %q is not the name of a recipe in the recipe folder", name)
	}
	return nil
}

func checkText(s string, longest int) error {
	if len(s) > longest {
		return fmt.Errorf("is longer than %d bytes", longest)
	}
	if strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return fmt.Errorf("%q holds signs that cannot be printed", s)
	}
	return nil
}
