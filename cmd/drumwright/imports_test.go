package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "drumwright/"

// arrows says which rooms of this module a package may import. A package that is
// not listed may import none. Tests may import what they like.
var arrows = map[string][]string{
	"control": {"control/batch", "control/bean", "control/beanloop", "control/drum", "control/frozen", "control/heat", "control/learn", "control/observe", "control/pid", "control/tune",
		"profiles", "safety", "io/point", "io/record"},
	"control/batch":           {"profiles"},
	"control/bean":            {},
	"control/beanloop":        {"control/bean", "control/observe"},
	"control/learn":           {"control/bean", "control/beanloop", "control/observe", "io/point", "io/record"},
	"control/calibrate":       {},
	"control/drum":            {},
	"control/probe":           {"control/drum", "control/lsq", "control/observe"},
	"io/drawing":              {"control/drum"},
	"control/frozen":          {},
	"control/heat":            {"control/bean", "control/pid"},
	"control/observe":         {"control/bean"},
	"control/pid":             {},
	"control/preflight":       {"control", "control/bean", "control/learn", "control/observe", "profiles", "safety", "io/point", "io/record"},
	"control/lsq":             {},
	"control/identify":        {"control/bean", "control/lsq", "control/observe"},
	"control/tune":            {"control/lsq", "control/pid"},
	"control/plant":           {"control/bean"},
	"control/plant/registers": {"control/plant", "profiles", "io/point"},
	"io/point":                {"io/sensor"},
	"io/record":               {"io/point"}, // a leaf that control, safety and all sinks share
	"io/record/recordtest":    {"io/record", "io/point"},
	"io/journal/journaltest":  {"io/journal", "io/record", "io/record/recordtest"},
	"io/sensor":               {},
	"io/fieldbus":             {"io/point", "safety", "profiles"},
	"io/drift":                {},
	"io/journal":              {"io/point", "io/record"},
	"io/tape":                 {"io/point", "io/record"},
	"io/telemetry":            {"io/point", "io/record"},
	"io/say":                  {"io/point", "io/record"},
	"io/access":               {"io/record"},
	"io/panel":                {"io/access", "io/point", "io/record", "io/say"},
	"io/report":               {"io/point", "io/record"},
	"profiles":                {"io/point", "io/sensor"},
	"safety":                  {"profiles", "io/point", "io/record", "safety/alarm"},
	"safety/alarm":            {"io/record"},
	"safety/proof":            {"profiles", "io/point", "io/record"},
}

type listed struct {
	ImportPath string
	Dir        string
	GoFiles    []string
	Imports    []string
}

func packages(t *testing.T) []listed {
	t.Helper()
	cmd := exec.Command("go", "list", "-e", "-json=ImportPath,Dir,GoFiles,Imports", "./...")
	cmd.Dir = filepath.Join("..", "..")
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, stderr.String())
	}
	var all []listed
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

// No import runs against the arrows: what decides does not know what shows,
// stores or transports.
func TestImports(t *testing.T) {
	all := packages(t)
	seen := 0
	for _, p := range all {
		name := strings.TrimPrefix(p.ImportPath, module)
		if strings.HasPrefix(name, "cmd/") || strings.HasSuffix(name, "peertest") {
			continue // the binary may import all; helpers of tests are no part of it
		}
		may, known := arrows[name]
		if !known {
			t.Errorf("package %s has no entry in the table of arrows: say what it may import", name)
			continue
		}
		seen++
		for _, i := range p.Imports {
			if room, own := strings.CutPrefix(i, module); own && !slices.Contains(may, room) {
				t.Errorf("%s imports %s, which runs against the arrows; allowed are %v", name, room, may)
			}
		}
	}
	if seen < 10 {
		t.Errorf("go list shows %d packages of %d: not the whole module", seen, len(all))
	}
}

// Whoever looks for a package finds it in the maintainers' table.
func TestEveryPackageHasARoom(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range packages(t) {
		if name := strings.TrimPrefix(p.ImportPath, module); !bytes.Contains(text, []byte("\n| `"+name+"` |")) {
			t.Errorf("package %s has no row in the table of rooms of DEVELOPERS.md", name)
		}
	}
}

// deterministic says which files of a package may do what a scan must not:
// look at the time, start a goroutine, throw dice or touch the system.
func deterministic(name, file string) (checked, dice bool) {
	switch name {
	case "control":
		return file != "runner.go" && file != "clock.go" && file != "monitor.go", false
	case "control/plant":
		return true, true // its noise comes from a seed
	case "profiles":
		return file != "load.go" && file != "examples.go", false // they open files
	case "control/plant/registers":
		return false, false
	}
	return name == "safety" || name == "safety/alarm" || name == "safety/proof" || strings.HasPrefix(name, "control/"), false
}

// The core is deterministic: no wall clock, no goroutine, no randomness and no
// system in anything that decides.
func TestDeterministicCore(t *testing.T) {
	checked := 0
	for _, p := range packages(t) {
		name := strings.TrimPrefix(p.ImportPath, module)
		for _, file := range p.GoFiles {
			check, dice := deterministic(name, file)
			if !check {
				continue
			}
			checked++
			path := filepath.Join(p.Dir, file)
			src, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for _, fault := range unsteady(t, name+"/"+file, src, dice) {
				t.Error(fault)
			}
		}
	}
	if checked < 50 {
		t.Errorf("%d files were checked", checked)
	}
}

// unsteady lists what in a source makes it depend on more than its inputs.
func unsteady(t *testing.T, name string, src []byte, dice bool) []string {
	t.Helper()
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, name, src, 0)
	if err != nil {
		t.Fatal(err)
	}
	var faults []string
	add := func(at token.Pos, what string) { faults = append(faults, set.Position(at).String()+": "+what) }
	for _, i := range f.Imports {
		path, err := strconv.Unquote(i.Path.Value)
		if err != nil {
			t.Fatal(err)
		}
		switch path {
		case "os", "syscall", "crypto/rand":
			add(i.Pos(), "imports "+path)
		case "math/rand", "math/rand/v2":
			if !dice {
				add(i.Pos(), "imports "+path)
			}
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch x := n.(type) {
		case *ast.GoStmt:
			add(x.Pos(), "starts a goroutine")
		case *ast.SelectorExpr:
			if pkg, ok := x.X.(*ast.Ident); ok && pkg.Name == "time" && slices.Contains([]string{"Now", "Since", "Until", "Sleep", "After", "NewTimer", "NewTicker", "Tick", "AfterFunc"}, x.Sel.Name) {
				add(x.Pos(), "uses time."+x.Sel.Name)
			}
		}
		return true
	})
	return faults
}

// The check sees what it is there for.
func TestUnsteady(t *testing.T) {
	src := `package x
import ("os"; "math/rand/v2"; "time")
func f() { go f(); _ = time.Now(); _ = os.Args; _ = rand.Int() }`
	if got := unsteady(t, "x.go", []byte(src), false); len(got) != 4 {
		t.Errorf("found %q, want 4 faults", got)
	}
	if got := unsteady(t, "x.go", []byte(src), true); len(got) != 3 {
		t.Errorf("with dice allowed found %q, want 3 faults", got)
	}
	if got := unsteady(t, "x.go", []byte("package x\nimport \"time\"\nvar period time.Duration"), false); len(got) != 0 {
		t.Errorf("found %q in a clean file", got)
	}
}
