package frozen

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"unsafe"
)

// Merge brings state into a value that was made anew under other parameters. All
// are pointers to structs of one type: state under the old parameters, and two
// that were just made, old under the old parameters and into under the others.
// What the parameters make differ stays as into has it; all else becomes that of
// state. state is not to be used afterwards.
func (c *Codec) Merge(state, old, into any) error {
	s, o, n := reflect.ValueOf(state).Elem(), reflect.ValueOf(old).Elem(), reflect.ValueOf(into).Elem()
	m := merge{Codec: c, state: s.UnsafeAddr(), into: n.Addr().UnsafePointer(), size: s.Type().Size()}
	m.value(s, o, n)
	return m.err
}

type merge struct {
	*Codec
	state uintptr
	into  unsafe.Pointer
	size  uintptr
	err   error
}

func (m *merge) value(s, o, n reflect.Value) {
	if m.err != nil {
		return
	}
	s, o, n = open(s), open(o), open(n)
	switch s.Kind() {
	case reflect.Struct:
		for i := range s.NumField() {
			m.value(s.Field(i), o.Field(i), n.Field(i))
		}
	case reflect.Array:
		for i := range s.Len() {
			m.value(s.Index(i), o.Index(i), n.Index(i))
		}
	case reflect.Slice:
		switch {
		case s.Len() == o.Len() && o.Len() == n.Len():
			for i := range s.Len() {
				m.value(s.Index(i), o.Index(i), n.Index(i))
			}
		case o.Len() == n.Len() && !holdsFunc(s.Type().Elem()):
			n.Set(s)
		default:
			m.err = fmt.Errorf("the other machine differs in more than figures: %d and %d of %v", o.Len(), n.Len(), s.Type().Elem())
		}
	case reflect.Func:
	case reflect.Pointer:
		m.pointer(s, o, n)
	case reflect.Float64:
		if math.Float64bits(o.Float()) == math.Float64bits(n.Float()) {
			n.Set(s)
		}
	default:
		if o.Equal(n) {
			n.Set(s)
		}
	}
}

func (m *merge) pointer(s, o, n reflect.Value) {
	if slices.Contains(m.Keep, s.Type()) {
		return
	}
	if at := s.Pointer() - m.state; !s.IsNil() && at < m.size {
		n.Set(reflect.NewAt(s.Type().Elem(), unsafe.Add(m.into, at)))
		return
	}
	if s.IsNil() || o.IsNil() || n.IsNil() || s.Type() == m.Named {
		n.Set(s)
		return
	}
	m.value(s.Elem(), o.Elem(), n.Elem())
}
