package record

import (
	"encoding/json"
	"errors"
	"time"
)

// ErrLesson is wrapped by the refusal of a weight or of a change of what was
// learned.
var ErrLesson = errors.New("not taken")

// Scopes of what is learned.
const (
	LessonRecipe  = "recipe"  // how to keep to its curve on this machine
	LessonCoffee  = "coffee"  // kinetics and moisture by weight, first crack by ear
	LessonMachine = "machine" // the bean probe's lag
)

// Why a lesson is as it is.
const (
	LessonBatch   = "batch"
	LessonWeighed = "weighed"
	LessonReset   = "reset"
	LessonUndo    = "undo"
	LessonFreeze  = "freeze"
	LessonThaw    = "thaw"
)

// Lesson is what is learned under one scope and name, from one moment on. It is
// never changed: what is learned further, or taken back, is a further one.
type Lesson struct {
	N      uint64          `json:"n"` // number in the journal, rising
	Scope  string          `json:"scope"`
	Name   string          `json:"name"`
	When   time.Time       `json:"when"`
	Batch  uint64          `json:"batch"` // that taught it; 0 = a person changed it
	Who    string          `json:"who"`
	Why    string          `json:"why"`
	Frozen bool            `json:"frozen"` // batches change nothing any more
	Before uint64          `json:"before"` // that which undo goes back to; 0 = nothing learned
	Value  json.RawMessage `json:"value"`
}

// LessonBook is what is learned and how it came to be.
type LessonBook struct {
	Lessons []Lesson `json:"lessons"` // in force, one for each scope and name
	History []Lesson `json:"history"` // newest first, as far as it was asked for
}

// LessonChange is what a person wants done to a lesson.
type LessonChange struct {
	Scope, Name string
	Do          string // LessonReset, LessonUndo, LessonFreeze or LessonThaw
	Who         string
}

// Weighing is a batch on the scale.
type Weighing struct {
	Batch     uint64  `json:"batch"`
	GreenKg   float64 `json:"green_kg"`
	RoastedKg float64 `json:"roasted_kg"`
	Who       string  `json:"who"`

	When      time.Time `json:"when"`
	Loss      float64   `json:"loss"`           // weighed, share of green mass
	Estimated Number    `json:"loss_estimated"` // at drop
	Taught    string    `json:"taught"`         // what became of it, for people
}
