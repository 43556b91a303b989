package frozen

import (
	"fmt"
	"hash/fnv"
	"io"
	"reflect"
)

// Shape is a number for the type of a value and of all below: bytes written by
// another shape cannot be loaded.
func (c *Codec) Shape(t reflect.Type) uint64 {
	h := fnv.New64a()
	c.shape(h, t, map[reflect.Type]bool{})
	return h.Sum64()
}

func (c *Codec) shape(w io.Writer, t reflect.Type, seen map[reflect.Type]bool) {
	fmt.Fprint(w, t.Kind(), " ")
	switch t.Kind() {
	case reflect.Struct:
		if seen[t] {
			return
		}
		seen[t] = true
		for i := range t.NumField() {
			fmt.Fprint(w, t.Field(i).Name, " ")
			c.shape(w, t.Field(i).Type, seen)
		}
	case reflect.Array:
		fmt.Fprint(w, t.Len(), " ")
		c.shape(w, t.Elem(), seen)
	case reflect.Slice:
		c.shape(w, t.Elem(), seen)
	case reflect.Pointer:
		for _, k := range c.Keep {
			if k == t {
				return
			}
		}
		if t != c.Named {
			c.shape(w, t.Elem(), seen)
		}
	}
}
