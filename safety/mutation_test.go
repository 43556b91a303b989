package safety_test

import (
	"fmt"
	"testing"

	"drumwright/io/peertest"
	"drumwright/safety"
)

// failure stands for a test that is expected to fail.
type failure struct{ why string }

func (f *failure) Helper() {}
func (f *failure) Error(args ...any) {
	if f.why == "" {
		f.why = fmt.Sprint(args...)
	}
}
func (f *failure) Errorf(format string, args ...any) { f.Error(fmt.Sprintf(format, args...)) }
func (f *failure) Fatal(args ...any)                 { f.Error(args...); panic(f) }
func (f *failure) Fatalf(format string, args ...any) { f.Error(fmt.Sprintf(format, args...)); panic(f) }

// fails runs a try and says why it failed, "" if it passed.
func fails(try func(reporter)) string {
	f := &failure{}
	func() {
		defer func() {
			if r := recover(); r != nil && r != any(f) {
				panic(r)
			}
		}()
		try(f)
	}()
	return f.why
}

// Every row that is taken out of the table, or turned round, is missed by its
// own test.
func TestEveryRowIsMissed(t *testing.T) {
	peertest.OnceIsEnough(t)
	n := 0
	for _, group := range []struct {
		rows []fault
		try  func(reporter, fault, func(*safety.Gate))
	}{{faults, tryRow}, {warnings, tryWarning}, {holds, tryHold}} {
		for _, f := range group.rows {
			for how, spoil := range map[string]func(*safety.Gate, string){"without": (*safety.Gate).Disable, "turned round": (*safety.Gate).Invert} {
				n++
				if fails(func(r reporter) { group.try(r, f, func(g *safety.Gate) { spoil(g, f.id) }) }) == "" {
					t.Errorf("%s %s passes its test", f.id, how)
				}
			}
		}
	}
	t.Logf("%d mutants, all found", n)
}

func TestHolds(t *testing.T) {
	for _, f := range holds {
		t.Run(f.id, func(t *testing.T) { tryHold(t, f, nil) })
	}
}
