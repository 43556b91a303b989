package learn

import (
	"encoding/json"
	"fmt"
)

// Assemble makes the lessons of a recipe with a certain curve from what is
// stored of its path, its coffee and the machine; nil or empty is nothing
// learned. What is out of bounds is brought back into them.
func Assemble(recipe, curve string, path, coffee, machine []byte) (*Lessons, error) {
	l := &Lessons{Recipe: recipe}
	for _, part := range []struct {
		name string
		text []byte
		into any
	}{{"recipe", path, &l.Path}, {"coffee", coffee, &l.Coffee}, {"machine", machine, &l.Machine}} {
		if len(part.text) == 0 {
			continue
		}
		if err := json.Unmarshal(part.text, part.into); err != nil {
			return nil, fmt.Errorf("what is stored as learned of the %s cannot be read: %w; reset it", part.name, err)
		}
	}
	l.Path = l.Path.For(curve)
	l.bounded()
	return l, nil
}
