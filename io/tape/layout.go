package tape

import (
	"math"
	"reflect"
	"strconv"
	"strings"
	"unsafe"

	"drumwright/io/point"
	"drumwright/io/record"
)

// leaf is one number or string of a record.
type leaf struct {
	name   string
	offset uintptr
	kind   reflect.Kind
}

// leaves are all numbers and strings of a record but those of Timing: how long
// reading and writing took decides nothing.
var leaves = layOut(nil, "", 0, reflect.TypeFor[record.Scan]())

func layOut(to []leaf, name string, offset uintptr, t reflect.Type) []leaf {
	switch t.Kind() {
	case reflect.Struct:
		for i := range t.NumField() {
			f := t.Field(i)
			if name == "" && f.Name == "Timing" {
				continue
			}
			to = layOut(to, strings.TrimPrefix(name+"."+f.Name, "."), offset+f.Offset, f.Type)
		}
	case reflect.Array:
		for i := range t.Len() {
			to = layOut(to, name+"["+indexName(name, i)+"]", offset+uintptr(i)*t.Elem().Size(), t.Elem())
		}
	case reflect.Bool, reflect.String, reflect.Float64, reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64,
		reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		to = append(to, leaf{name, offset, t.Kind()})
	default:
		panic("tape: " + name + " of a record is neither number nor string: " + t.String())
	}
	return to
}

func indexName(array string, i int) string {
	switch array {
	case "Image.In":
		return point.Input(i).String()
	case "Wish", "Permit":
		return point.Output(i).String()
	case "NotNow":
		return string(record.Kinds[i])
	}
	return strconv.Itoa(i)
}

func (l *leaf) at(s *record.Scan) unsafe.Pointer { return unsafe.Add(unsafe.Pointer(s), l.offset) }

// word is the leaf's bits; not for strings.
func (l *leaf) word(s *record.Scan) uint64 {
	p := l.at(s)
	switch l.kind {
	case reflect.Bool, reflect.Int8, reflect.Uint8:
		return uint64(*(*uint8)(p))
	case reflect.Int16, reflect.Uint16:
		return uint64(*(*uint16)(p))
	case reflect.Int32, reflect.Uint32:
		return uint64(*(*uint32)(p))
	case reflect.Int: // 32 bits on some boards
		return uint64(int64(*(*int)(p)))
	case reflect.Uint:
		return uint64(*(*uint)(p))
	}
	return *(*uint64)(p)
}

func (l *leaf) setWord(s *record.Scan, w uint64) {
	p := l.at(s)
	switch l.kind {
	case reflect.Bool, reflect.Int8, reflect.Uint8:
		*(*uint8)(p) = uint8(w)
	case reflect.Int16, reflect.Uint16:
		*(*uint16)(p) = uint16(w)
	case reflect.Int32, reflect.Uint32:
		*(*uint32)(p) = uint32(w)
	case reflect.Int:
		*(*int)(p) = int(int64(w))
	case reflect.Uint:
		*(*uint)(p) = uint(w)
	default:
		*(*uint64)(p) = w
	}
}

func (l *leaf) text(s *record.Scan) *string { return (*string)(l.at(s)) }

// show writes the leaf's value so that different bits look different.
func (l *leaf) show(s *record.Scan) string {
	switch l.kind {
	case reflect.String:
		return strconv.Quote(*l.text(s))
	case reflect.Float64:
		return strconv.FormatFloat(math.Float64frombits(l.word(s)), 'g', -1, 64)
	case reflect.Bool:
		return strconv.FormatBool(l.word(s) != 0)
	case reflect.Int, reflect.Int64:
		return strconv.FormatInt(int64(l.word(s)), 10)
	}
	return strconv.FormatUint(l.word(s), 10)
}

func (l *leaf) equal(a, b *record.Scan) bool {
	if l.kind == reflect.String {
		return *l.text(a) == *l.text(b)
	}
	return l.word(a) == l.word(b)
}

// Difference is one field of a scan that is not as it was recorded.
type Difference struct {
	Field    string `json:"field"`
	Recorded string `json:"recorded"`
	Replayed string `json:"replayed"`
}

// Compare finds the first field in which two records differ in a bit, in the
// order of the record; Timing does not count. Of events only as many as there are
// count. With rounding above 0 two numbers are the same that differ by no more than
// that share of the larger one, or of 1 where both are smaller; whatever is counted,
// switched or said must still be equal. share is by how much the furthest of those
// numbers differ, up to the first difference.
func Compare(recorded, replayed *record.Scan, rounding float64) (d Difference, share float64, differs bool) {
	for i := range leaves {
		l := &leaves[i]
		if l.equal(recorded, replayed) {
			continue
		}
		if l.kind == reflect.Float64 && rounding > 0 {
			if by := l.apart(recorded, replayed); by <= rounding {
				share = max(share, by)
				continue
			}
		}
		return Difference{l.name, l.show(recorded), l.show(replayed)}, share, true
	}
	return Difference{}, share, false
}

// apart is NaN where only one of two numbers is none.
func (l *leaf) apart(x, y *record.Scan) float64 {
	a, b := math.Float64frombits(l.word(x)), math.Float64frombits(l.word(y))
	if math.IsNaN(a) && math.IsNaN(b) {
		return 0
	}
	return math.Abs(a-b) / max(1, math.Abs(a), math.Abs(b))
}

// Numbers calls each for every number of the records that is no input, with its
// name and its value in both.
func Numbers(a, b *record.Scan, each func(field int, name string, a, b float64)) {
	for i := range leaves {
		if l := &leaves[i]; l.kind == reflect.Float64 && !strings.HasPrefix(l.name, "Image.") {
			each(i, l.name, math.Float64frombits(l.word(a)), math.Float64frombits(l.word(b)))
		}
	}
}
