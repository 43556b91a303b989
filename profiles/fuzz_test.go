package profiles_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"drumwright/profiles"
)

// seeds gives the fuzzer the shipped files and the broken ones.
func seeds(f *testing.F, kind string) {
	f.Helper()
	for _, name := range profiles.ExampleNames() {
		if strings.HasPrefix(name, kind) {
			data, _ := profiles.Example(name)
			f.Add(data)
		}
	}
	paths, err := filepath.Glob(filepath.Join(testFiles, "broken", kind+"-*.yaml"))
	if err != nil {
		f.Fatal(err)
	}
	for _, p := range paths {
		data, err := os.ReadFile(p)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
}

func FuzzParseMachine(f *testing.F) {
	seeds(f, "machine")
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := profiles.ParseMachine("m.yaml", data)
		judge(t, m == nil, reflect.ValueOf(m), err)
		if err == nil {
			for hz := 0.0; hz < 200; hz += 20 {
				finite(t, "flow", m.FlowKgPerS(hz))
				finite(t, "blower", m.BlowerHz(hz))
			}
			finite(t, "skin speed", m.SkinMMPerSPerHz())
		}
	})
}

func FuzzParseRecipe(f *testing.F) {
	seeds(f, "recipe")
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := profiles.ParseRecipe("r.yaml", data)
		judge(t, r == nil, reflect.ValueOf(r), err)
	})
}

// judge asks for a whole value or for faults of one line each, never both, and
// for finite numbers.
func judge(t *testing.T, none bool, v reflect.Value, err error) {
	t.Helper()
	if none == (err == nil) {
		t.Fatalf("value missing: %v, error: %v", none, err)
	}
	if err == nil {
		allFinite(t, v)
		return
	}
	var faults profiles.Faults
	if !errors.As(err, &faults) || len(faults) == 0 {
		t.Fatalf("error is %T, want Faults: %v", err, err)
	}
	for _, x := range faults {
		if strings.Contains(x.String(), "\n") || x.Found == "" || x.Allowed == "" || x.Hint == "" {
			t.Errorf("a fault must say all on one line: %+v", x)
		}
	}
}

func allFinite(t *testing.T, v reflect.Value) {
	switch v.Kind() {
	case reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			t.Errorf("a number is %v", f)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			allFinite(t, v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			allFinite(t, v.Field(i))
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			allFinite(t, v.Index(i))
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			allFinite(t, v.MapIndex(k))
		}
	}
}
