package record

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// ErrEntry is wrapped by the refusal of an entry.
var ErrEntry = errors.New("not entered")

// Fields of a batch that people enter, mostly afterwards. A number is written
// with a point, in the unit of its name.
const (
	FieldLot         = "lot"             // name of the green coffee
	FieldMoisture    = "moisture_pct"    // of the green coffee, % of its mass
	FieldDensity     = "density_g_per_l" // of the green coffee, bulk
	FieldCharge      = "charge_g"        // green mass that was charged, by the scale
	FieldNote        = "note"            // item: its number in the batch
	FieldTag         = "tag"             // item: the tag; value "yes"
	FieldCup         = "cup"             // item: one of CupItems
	FieldCupComments = "cup_comments"    // of whoever cupped

	// FieldWeight is a weighing among the entries; it is not entered as they are.
	FieldWeight = "weight"
)

// CupItems are what a cup is scored by, from 0 to 10; total to 100. The ten
// attributes are those of cupping forms in general use (common practice, no
// source).
var CupItems = []string{"aroma", "flavour", "aftertaste", "acidity", "body", "balance", "uniformity", "clean cup", "sweetness", "overall", "total"}

// Entry is one thing that a person has entered about a batch, or a correction
// of it. It is never changed: a correction is a further entry with the same
// field and item, and an empty After takes the value back.
type Entry struct {
	N      uint64    `json:"n"` // number in the journal, rising
	Batch  uint64    `json:"batch"`
	Field  string    `json:"field"`
	Item   string    `json:"item"` // which note, tag or score; "" where there is one only
	When   time.Time `json:"when"`
	Who    string    `json:"who"`
	Before string    `json:"before"` // "" = there was none
	After  string    `json:"after"`  // "" = taken back
}

// fieldRule says what a field takes.
type fieldRule struct {
	name    string
	lo, hi  float64 // of a number; lo = hi = 0: it is a text
	longest int     // of a text, letters
	items   bool    // it has several items
}

var fieldRules = []fieldRule{
	{name: FieldLot, longest: 100},
	{name: FieldMoisture, lo: 3, hi: 25},
	{name: FieldDensity, lo: 300, hi: 1000},
	{name: FieldCharge, lo: 20, hi: 60000},
	{name: FieldNote, longest: 2000, items: true},
	{name: FieldTag, longest: 3, items: true},
	{name: FieldCup, lo: -1, hi: 100, items: true},
	{name: FieldCupComments, longest: 2000},
}

// Fields lists every field.
func Fields() []string {
	names := make([]string, len(fieldRules))
	for i := range fieldRules {
		names[i] = fieldRules[i].name
	}
	return names
}

// Check refuses an entry that says nothing sensible, and puts its texts into
// their one form. An empty Item of a note stands for a new one.
func (e *Entry) Check() error {
	i := slices.IndexFunc(fieldRules, func(r fieldRule) bool { return r.name == e.Field })
	if i < 0 {
		return fmt.Errorf("%w: field %q: allowed are %s", ErrEntry, e.Field, strings.Join(Fields(), ", "))
	}
	rule := &fieldRules[i]
	e.Who, e.Item, e.After = strings.TrimSpace(e.Who), strings.TrimSpace(e.Item), strings.TrimSpace(e.After)
	for _, t := range []struct {
		name, text string
		longest    int
	}{{"who", e.Who, 64}, {"item", e.Item, 40}, {"value", e.After, max(rule.longest, 40)}} {
		if err := plainText(t.text, t.longest, t.name == "value"); err != nil {
			return fmt.Errorf("%w: %s: %s %w", ErrEntry, e.Field, t.name, err)
		}
	}
	switch {
	case e.Who == "":
		return fmt.Errorf("%w: who is missing: what is entered carries a name", ErrEntry)
	case !rule.items && e.Item != "":
		return fmt.Errorf("%w: %s has no items, found %q", ErrEntry, e.Field, e.Item)
	}
	if err := e.checkItem(); err != nil {
		return fmt.Errorf("%w: %w", ErrEntry, err)
	}
	if e.After == "" || rule.lo == 0 && rule.hi == 0 {
		return nil
	}
	hi := rule.hi
	lo := max(rule.lo, 0)
	if e.Field == FieldCup && e.Item != "total" {
		hi = 10
	}
	v, err := strconv.ParseFloat(e.After, 64)
	if err != nil || !(v >= lo && v <= hi) {
		return fmt.Errorf("%w: %s %q: allowed is a number from %v to %v", ErrEntry, e.Field, e.After, lo, hi)
	}
	e.After = strconv.FormatFloat(v, 'f', -1, 64)
	return nil
}

func (e *Entry) checkItem() error {
	switch e.Field {
	case FieldNote:
		if e.Item == "" && e.After == "" {
			return errors.New("the note is empty")
		}
		if n, err := strconv.ParseUint(e.Item, 10, 16); e.Item != "" && (err != nil || n < 1 || strconv.FormatUint(n, 10) != e.Item) {
			return fmt.Errorf("note %q: give the number of a note, or none for a new one", e.Item)
		}
	case FieldTag:
		if e.Item == "" || strings.ContainsAny(e.Item, ", ") {
			return fmt.Errorf("tag %q: a tag is one word without commas", e.Item)
		}
		e.Item = strings.ToLower(e.Item)
		if e.After != "" && e.After != "yes" {
			return fmt.Errorf(`tag %q takes the value "yes", or none to take it off; found %q`, e.Item, e.After)
		}
	case FieldCup:
		if !slices.Contains(CupItems, e.Item) {
			return fmt.Errorf("cup: item %q: allowed are %s", e.Item, strings.Join(CupItems, ", "))
		}
	}
	return nil
}

// plainText refuses what cannot be shown; lines may be broken where lines is set.
func plainText(s string, longest int, lines bool) error {
	if !utf8.ValidString(s) {
		return errors.New("is not UTF-8")
	}
	if n := utf8.RuneCountInString(s); n > longest {
		return fmt.Errorf("has %d letters, allowed are %d", n, longest)
	}
	for _, r := range s {
		if !unicode.IsPrint(r) && !(lines && r == '\n') {
			return fmt.Errorf("holds the sign %U, which cannot be printed", r)
		}
	}
	return nil
}
