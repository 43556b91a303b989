package control

import (
	"fmt"
	"reflect"
	"unsafe"

	"drumwright/control/frozen"
	"drumwright/io/point"
	"drumwright/profiles"
)

// Recipes finds a recipe by the hash of its file.
type Recipes func(hash string) (*profiles.Recipe, error)

// Heard is what reaches a scan beside image and time.
type Heard struct {
	Bar            Bar
	Unacknowledged [point.NumOutputs]bool
	Commands       []Command // with their answers, once the scan has been made
}

func codec(find Recipes) *frozen.Codec {
	return &frozen.Codec{
		Keep:  []reflect.Type{reflect.TypeFor[*profiles.Machine]()},
		Named: reflect.TypeFor[*profiles.Recipe](),
		Name:  func(p unsafe.Pointer) string { return (*profiles.Recipe)(p).Hash },
		Find: func(hash string) (unsafe.Pointer, error) {
			r, err := find(hash)
			if err != nil {
				return nil, err
			}
			return unsafe.Pointer(r), nil
		},
	}
}

// writer writes what names recipes; it needs to find none.
var writer = codec(nil)

// FreezeShape tells apart programs whose frozen controllers do not fit each other.
func FreezeShape() uint64 { return writer.Shape(reflect.TypeFor[Controller]()) }

// Freeze appends all that the controller remembers between two scans. Machine and
// recipes are not in it, but the hashes of the recipes.
func (c *Controller) Freeze(dst []byte) ([]byte, error) { return writer.Append(dst, c) }

// Thaw makes the controller that was frozen, for the same machine.
func Thaw(m *profiles.Machine, find Recipes, data []byte) (*Controller, error) {
	c, err := New(m, Restored{})
	if err != nil {
		return nil, err
	}
	if err := codec(find).Load(data, c); err != nil {
		return nil, fmt.Errorf("controller of machine %s: %w", m.About.Name, err)
	}
	return c, nil
}

// ThawWith makes the controller that was frozen on the machine was as another
// machine file would have it: what follows from the figures in which the files
// differ is as in that file, all else is as it was.
func ThawWith(was, with *profiles.Machine, find Recipes, data []byte) (*Controller, error) {
	state, err := Thaw(was, find, data)
	if err != nil {
		return nil, err
	}
	fresh := func(m *profiles.Machine) (*Controller, error) {
		c, err := New(m, Restored{})
		if err == nil && state.recipe != nil {
			if ok, why := c.load(state.recipe); !ok {
				return nil, fmt.Errorf("recipe %s on machine %s: %s", state.recipe.Name, m.About.Name, why)
			}
		}
		return c, err
	}
	old, err := fresh(was)
	if err != nil {
		return nil, err
	}
	c, err := fresh(with)
	if err != nil {
		return nil, err
	}
	if err := writer.Merge(state, old, c); err != nil {
		return nil, fmt.Errorf("%s against %s: %w", with.File, was.File, err)
	}
	return c, nil
}

// AppendHeard appends what a scan heard, and ReadHeard reads it back.
func AppendHeard(dst []byte, h *Heard) ([]byte, error) { return writer.Append(dst, h) }

// ReadHeard reads what AppendHeard has written.
func ReadHeard(find Recipes, data []byte) (*Heard, error) {
	h := &Heard{}
	if err := codec(find).Load(data, h); err != nil {
		return nil, fmt.Errorf("commands of a scan: %w", err)
	}
	return h, nil
}
