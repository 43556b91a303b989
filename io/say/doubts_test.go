package say_test

import (
	"slices"
	"testing"

	"drumwright/io/say"
	"drumwright/profiles"
	"drumwright/safety"
)

// The causes by which the bean probe is in doubt are rows of the interlocks: this
// package may not know them, and one that is renamed there must not be missed here.
func TestDoubtsAreCauses(t *testing.T) {
	text, _ := profiles.Example("machines/heron-1000.yaml")
	m, err := profiles.ParseMachine("heron-1000.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	rows := safety.Matrix(m, "")
	for _, id := range say.Doubts {
		if !slices.ContainsFunc(rows, func(l safety.Line) bool { return l.ID == id }) {
			t.Errorf("no interlock is called %q", id)
		}
	}
}
