package frozen

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"unsafe"
)

type plan struct{ name string }

type machine struct{ id int }

type part struct {
	v    float64
	list []int16
	self *part
}

type whole struct {
	on     bool
	n      int32
	u      uint64
	f      [2]float64
	s      string
	parts  []part
	tree   *part
	inside *float64
	m      *machine
	p      *plan
	rows   []row
}

type row struct {
	limit float64
	act   func() int
}

func codecFor(p *plan) *Codec {
	return &Codec{Keep: []reflect.Type{reflect.TypeFor[*machine]()}, Named: reflect.TypeFor[*plan](),
		Name: func(q unsafe.Pointer) string { return (*plan)(q).name },
		Find: func(string) (unsafe.Pointer, error) { return unsafe.Pointer(p), nil }}
}

func made(limit float64) *whole {
	return &whole{m: &machine{id: int(limit)}, rows: []row{{limit, func() int { return 1 }}, {2, func() int { return 2 }}}}
}

func TestRoundTrip(t *testing.T) {
	p := &plan{"harbour"}
	a := made(1)
	a.on, a.n, a.u, a.s = true, -5, math.MaxUint64, "grün"
	a.f = [2]float64{math.NaN(), math.Copysign(0, -1)}
	a.parts = []part{{v: 1, list: []int16{1, -2}}, {v: 2, self: &part{v: 3}}}
	a.tree, a.inside, a.p = &part{v: 4}, &a.f[1], p
	a.rows[1].limit = 9
	c := codecFor(p)
	data, err := c.Append(nil, a)
	if err != nil {
		t.Fatal(err)
	}
	b := made(1)
	own := b.m
	if err := c.Load(data, b); err != nil {
		t.Fatal(err)
	}
	if b.inside != &b.f[1] || b.m != own || b.p != p || b.rows[1].act() != 2 || b.rows[1].limit != 9 ||
		!math.IsNaN(b.f[0]) || !math.Signbit(b.f[1]) || !reflect.DeepEqual(a.parts, b.parts) || b.tree.v != 4 || b.s != a.s || b.n != -5 || b.u != a.u || !b.on {
		t.Errorf("%+v", b)
	}
	again, err := c.Append(nil, b)
	if err != nil || string(again) != string(data) {
		t.Errorf("written anew it differs (%v)", err)
	}
	for n := range data {
		if err := c.Load(data[:n], made(1)); err == nil {
			t.Fatalf("%d of %d bytes were taken", n, len(data))
		}
	}
	if err := c.Load(append(data, 0), made(1)); err == nil {
		t.Error("a byte too many was taken")
	}
	less := made(1)
	less.rows = less.rows[:1]
	if err := c.Load(data, less); err == nil || !strings.Contains(err.Error(), "another machine") {
		t.Errorf("rows without their functions: %v", err)
	}
}

// What the parameters make differ is the new one's, all else is the state's.
func TestMerge(t *testing.T) {
	c := codecFor(nil)
	state, old, into := made(1), made(1), made(7)
	state.n, state.f[1], state.parts = 42, 3, []part{{v: 5}}
	state.rows[1].limit, state.inside = 8, &state.f[1]
	if err := c.Merge(state, old, into); err != nil {
		t.Fatal(err)
	}
	if into.rows[0].limit != 7 || into.rows[1].limit != 8 || into.n != 42 || into.f[1] != 3 || len(into.parts) != 1 || into.m.id != 7 || into.inside != &into.f[1] {
		t.Errorf("%+v", into)
	}
	other := made(7)
	other.rows = other.rows[:1]
	if err := c.Merge(made(1), made(1), other); err == nil {
		t.Error("a machine with other rows was merged")
	}
}

func TestRefused(t *testing.T) {
	c := codecFor(nil)
	for _, v := range []any{&struct{ m map[int]int }{}, &struct{ c chan int }{}, &struct{ i any }{}} {
		if _, err := c.Append(nil, v); err == nil {
			t.Errorf("%T was written", v)
		}
	}
}

func TestShape(t *testing.T) {
	c := codecFor(nil)
	if a, b := c.Shape(reflect.TypeFor[whole]()), c.Shape(reflect.TypeFor[whole]()); a != b {
		t.Error("one type has two shapes")
	}
	if c.Shape(reflect.TypeFor[struct{ V []int16 }]()) == c.Shape(reflect.TypeFor[struct{ V []int32 }]()) {
		t.Error("two types have one shape")
	}
}
