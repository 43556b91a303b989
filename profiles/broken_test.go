package profiles_test

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drumwright/profiles"
)

var update = flag.Bool("update", false, "write the golden files and the schemas anew")

const testFiles = "../testdata/profiles"

// parse reads a file as what its name says it is.
func parse(name string, data []byte) error {
	if strings.HasPrefix(filepath.Base(name), "machine") {
		_, err := profiles.ParseMachine(name, data)
		return err
	}
	_, err := profiles.ParseRecipe(name, data)
	return err
}

// Each broken file breaks one rule; its messages stand beside it.
func TestBrokenFilesAreRefused(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join(testFiles, "broken", "*.yaml"))
	if err != nil || len(paths) < 100 {
		t.Fatalf("found %d broken files (%v), there are more than 100", len(paths), err)
	}
	for _, path := range paths {
		name := filepath.Base(path)
		t.Run(strings.TrimSuffix(name, ".yaml"), func(t *testing.T) {
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			err = parse(name, data)
			var faults profiles.Faults
			if !errors.As(err, &faults) {
				t.Fatalf("got error %v, want Faults", err)
			}
			for i, f := range faults {
				if f.Found == "" || f.Allowed == "" || f.Hint == "" {
					t.Errorf("fault %d says too little: %+v", i, f)
				}
				if strings.Contains(f.String(), "\n") {
					t.Errorf("fault %d has more than one line: %q", i, f.String())
				}
				if i > 0 && f.Line < faults[i-1].Line {
					t.Errorf("line %d comes after line %d", f.Line, faults[i-1].Line)
				}
			}
			golden(t, path+".want", err.Error()+"\n")
		})
	}
}

// golden compares with a file, or writes it with -update.
func golden(t *testing.T, path, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s:\ngot  %swant %s", path, got, want)
	}
}

// The files that the broken ones were made from are sound, so that a broken
// file is refused for its one fault and nothing else.
func TestWholeFilesAreTaken(t *testing.T) {
	m, err := profiles.LoadMachine(filepath.Join(testFiles, "small-machine.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"small-recipe.yaml", "small-stages.yaml"} {
		r, err := profiles.LoadRecipe(filepath.Join(testFiles, name))
		if err != nil {
			t.Error(err)
			continue
		}
		if err := profiles.Fit(r, m); err != nil {
			t.Error(err)
		}
	}
}

func TestFileLimits(t *testing.T) {
	big := []byte("# " + strings.Repeat("x", 1<<20) + "\n")
	for _, c := range []struct {
		name string
		err  error
		want string
	}{
		{"no such file", second(profiles.LoadMachine("no-such-machine.yaml")), "no readable file"},
		{"a folder", second(profiles.LoadRecipe(".")), "breaks off"},
		{"too big", second(profiles.ParseMachine("m.yaml", big)), "1048576 bytes"},
		{"no bytes", second(profiles.ParseRecipe("r.yaml", nil)), "an empty file"},
	} {
		var faults profiles.Faults
		if !errors.As(c.err, &faults) || len(faults) != 1 || !strings.Contains(c.err.Error(), c.want) {
			t.Errorf("%s: got %v, want one fault with %q", c.name, c.err, c.want)
		}
	}
}

// A file of another kind gives a report that can still be read.
func TestFaultsAreBounded(t *testing.T) {
	var text strings.Builder
	for i := range 20000 {
		fmt.Fprintf(&text, "key_%d: 1\n", i)
	}
	var faults profiles.Faults
	if _, err := profiles.ParseRecipe("r.yaml", []byte(text.String())); !errors.As(err, &faults) || len(faults) != 201 || !strings.Contains(faults[0].Found, "more than 200") {
		t.Errorf("got %d faults, want 200 and a note", len(faults))
	}
}

func second[T any](_ T, err error) error { return err }
