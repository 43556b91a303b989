package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumwright/control/learn"
	"drumwright/io/journal"
	"drumwright/io/record"
)

// The preflight of a coffee that a journal knows says where it was heard to crack.
func TestPreflightOfALearnedCoffee(t *testing.T) {
	path := filepath.Join(t.TempDir(), "shop.db")
	j, err := journal.Open(path, journal.Config{})
	if err != nil {
		t.Fatal(err)
	}
	r, err := recipeFrom("harbour-medium")
	if err != nil {
		t.Fatal(err)
	}
	var c learn.Coffee
	text, err := json.Marshal(c.Heard(201, math.NaN()).Heard(202, math.NaN()))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := j.SaveLesson(record.Lesson{Scope: record.LessonCoffee, Name: coffeeOf(r), When: time.Date(2031, 3, 14, 9, 0, 0, 0, time.UTC), Why: record.LessonBatch, Value: text}); err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct{ journal, want string }{{"", "beans at 197.5 ± 8.0 °C, as coffees usually do"}, {path, "beans at 201.5 ± 1.7 °C, as heard in the last 2 batches"}} {
		var out bytes.Buffer
		if err := runPreflight(context.Background(), &preflightOptions{journal: x.journal}, "heron-1000", "harbour-medium", &out); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(out.String(), x.want) {
			t.Errorf("journal %q: %q is missing in:\n%s", x.journal, x.want, out.String())
		}
	}
	if err := runPreflight(context.Background(), &preflightOptions{journal: path + "x"}, "heron-1000", "harbour-medium", &bytes.Buffer{}); err == nil {
		t.Error("a journal that is not there was read")
	}
}
