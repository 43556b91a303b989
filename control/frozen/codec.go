package frozen

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"unsafe"
)

// Codec says what a tree of values does not own.
type Codec struct {
	// Keep are pointer types whose target belongs to others: nothing is written,
	// and the one to be filled keeps its own.
	Keep []reflect.Type
	// Name, for pointers to a type, gives the name under which Find finds the
	// target again. Such targets never change.
	Named reflect.Type
	Name  func(p unsafe.Pointer) string
	Find  func(name string) (unsafe.Pointer, error)
}

// Marks of a pointer.
const (
	isNil    = iota
	isTree   // its target follows
	isInside // it points into the root itself, at an offset
	isNamed
	isKept
)

var errShort = errors.New("frozen: the bytes end too early")

type walk struct {
	*Codec
	root unsafe.Pointer
	size uintptr
	b    []byte
	err  error
}

// Append writes the value that root, a pointer to a struct, points to.
func (c *Codec) Append(dst []byte, root any) ([]byte, error) {
	v := reflect.ValueOf(root).Elem()
	w := walk{Codec: c, root: v.Addr().UnsafePointer(), size: v.Type().Size(), b: dst}
	w.write(v)
	return w.b, w.err
}

func (w *walk) fail(v reflect.Value) {
	if w.err == nil {
		w.err = fmt.Errorf("frozen: a value of the type %v cannot be written", v.Type())
	}
}

func (w *walk) uint(u uint64) { w.b = binary.AppendUvarint(w.b, u) }

func (w *walk) write(v reflect.Value) {
	switch v.Kind() {
	case reflect.Bool:
		u := byte(0)
		if v.Bool() {
			u = 1
		}
		w.b = append(w.b, u)
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		w.b = binary.AppendVarint(w.b, v.Int())
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64, reflect.Uintptr:
		w.uint(v.Uint())
	case reflect.Float64:
		w.b = binary.LittleEndian.AppendUint64(w.b, math.Float64bits(v.Float()))
	case reflect.String:
		w.uint(uint64(v.Len()))
		w.b = append(w.b, v.String()...)
	case reflect.Array:
		for i := range v.Len() {
			w.write(v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			w.write(v.Field(i))
		}
	case reflect.Slice:
		if v.IsNil() {
			w.uint(0)
			return
		}
		w.uint(uint64(v.Len()) + 1)
		for i := range v.Len() {
			w.write(v.Index(i))
		}
	case reflect.Func: // the target has its own
	case reflect.Pointer:
		w.pointer(v)
	default:
		w.fail(v)
	}
}

func (w *walk) pointer(v reflect.Value) {
	at := v.Pointer() - uintptr(w.root) // wraps round for what lies before the root
	switch {
	case slices.Contains(w.Keep, v.Type()):
		w.b = append(w.b, isKept)
	case v.IsNil():
		w.b = append(w.b, isNil)
	case v.Type() == w.Named:
		name := w.Name(v.UnsafePointer())
		w.b = append(w.b, isNamed)
		w.uint(uint64(len(name)))
		w.b = append(w.b, name...)
	case at < w.size:
		w.b = append(w.b, isInside)
		w.uint(uint64(at))
	default:
		w.b = append(w.b, isTree)
		w.write(v.Elem())
	}
}

// Load fills what root points to. The target must be of the shape that was
// written, which Shape tells, and be made by the same constructors, for its
// functions. After an error it is of no use.
func (c *Codec) Load(data []byte, root any) error {
	v := reflect.ValueOf(root).Elem()
	w := walk{Codec: c, root: v.Addr().UnsafePointer(), size: v.Type().Size(), b: data}
	w.read(v)
	if w.err == nil && len(w.b) != 0 {
		w.err = fmt.Errorf("frozen: %d bytes too many", len(w.b))
	}
	return w.err
}

func (w *walk) take(n uint64) []byte {
	if n > uint64(len(w.b)) {
		w.err = errShort
		return nil
	}
	b := w.b[:n]
	w.b = w.b[n:]
	return b
}

func (w *walk) byte() byte {
	if b := w.take(1); b != nil {
		return b[0]
	}
	return 0
}

func (w *walk) nextUint() uint64 {
	u, n := binary.Uvarint(w.b)
	if n <= 0 {
		w.err = errShort
		return 0
	}
	w.b = w.b[n:]
	return u
}

// open lifts the lock that package reflect puts on fields that are not exported.
func open(v reflect.Value) reflect.Value {
	return reflect.NewAt(v.Type(), v.Addr().UnsafePointer()).Elem()
}

func (w *walk) read(v reflect.Value) {
	if w.err != nil {
		return
	}
	v = open(v)
	switch v.Kind() {
	case reflect.Bool:
		v.SetBool(w.byte() != 0)
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		i, n := binary.Varint(w.b)
		if n <= 0 {
			w.err = errShort
			return
		}
		w.b = w.b[n:]
		v.SetInt(i)
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64, reflect.Uintptr:
		v.SetUint(w.nextUint())
	case reflect.Float64:
		if b := w.take(8); b != nil {
			v.SetFloat(math.Float64frombits(binary.LittleEndian.Uint64(b)))
		}
	case reflect.String:
		v.SetString(string(w.take(w.nextUint())))
	case reflect.Array:
		for i := range v.Len() {
			w.read(v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			w.read(v.Field(i))
		}
	case reflect.Slice:
		w.slice(v)
	case reflect.Func:
	case reflect.Pointer:
		w.readPointer(v)
	default:
		w.fail(v)
	}
}

func (w *walk) slice(v reflect.Value) {
	n := w.nextUint()
	if n == 0 {
		v.SetZero()
		return
	}
	n--
	if n > uint64(len(w.b)) { // every element takes a byte at least
		w.err = errShort
		return
	}
	if v.IsNil() || v.Len() != int(n) {
		if holdsFunc(v.Type().Elem()) {
			w.err = fmt.Errorf("frozen: %d of %v were written and %d are there: another machine, or another program", n, v.Type().Elem(), v.Len())
			return
		}
		v.Set(reflect.MakeSlice(v.Type(), int(n), int(n)))
	}
	for i := range int(n) {
		w.read(v.Index(i))
	}
}

func holdsFunc(t reflect.Type) bool {
	switch t.Kind() {
	case reflect.Func:
		return true
	case reflect.Struct:
		for i := range t.NumField() {
			if holdsFunc(t.Field(i).Type) {
				return true
			}
		}
	case reflect.Array:
		return holdsFunc(t.Elem())
	}
	return false
}

func (w *walk) readPointer(v reflect.Value) {
	switch mark := w.byte(); mark {
	case isKept:
	case isNil:
		v.SetZero()
	case isNamed:
		p, err := w.Find(string(w.take(w.nextUint())))
		if err != nil && w.err == nil {
			w.err = err
		}
		if w.err == nil {
			v.Set(reflect.NewAt(v.Type().Elem(), p))
		}
	case isInside:
		at := w.nextUint()
		if at >= uint64(w.size) {
			w.err = fmt.Errorf("frozen: a pointer leads out of the value")
			return
		}
		v.Set(reflect.NewAt(v.Type().Elem(), unsafe.Add(w.root, at)))
	case isTree:
		if v.IsNil() {
			v.Set(reflect.New(v.Type().Elem()))
		}
		w.read(v.Elem())
	default:
		w.err = fmt.Errorf("frozen: a pointer has the unknown mark %d", mark)
	}
}
