package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
)

// wallReadings are the methods and functions of package time that read the time
// of day out of a Time. All else that is done with time.Now is done with its
// monotonic reading, which a step of the clock does not move (package time,
// "Monotonic Clocks").
var wallReadings = map[string]bool{"Unix": true, "UnixNano": true, "UnixMilli": true, "UnixMicro": true, "UTC": true, "Local": true,
	"Format": true, "AppendFormat": true, "Date": true, "Clock": true, "Weekday": true, "YearDay": true, "Parse": true}

// The wall clock is for people: what scans, decides and writes to the machine
// never reads it, but for the one stamp that the record of a scan bears. So a
// step of the clock by an hour, or by ten years, moves nothing.
func TestNothingThatActsReadsTheWallClock(t *testing.T) {
	allowed, files := map[string]int{"control/runner.go UnixNano": 1}, 0
	for _, room := range []string{"control", "safety", "io/fieldbus", "io/point"} {
		err := filepath.WalkDir(filepath.Join("..", "..", room), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			path = filepath.ToSlash(path)
			name := strings.TrimPrefix(path, "../../")
			if strings.HasPrefix(name, "control/plant/") || strings.HasPrefix(name, "safety/proof/") || name == "safety/exception.go" {
				return nil // the simulated machine; what is for people, by the day
			}
			files++
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
			if err != nil {
				return err
			}
			ast.Inspect(f, func(n ast.Node) bool {
				call, ok := n.(*ast.CallExpr)
				if !ok {
					return true
				}
				if sel, ok := call.Fun.(*ast.SelectorExpr); ok && wallReadings[sel.Sel.Name] {
					if at := name + " " + sel.Sel.Name; allowed[at] > 0 {
						allowed[at]--
					} else {
						t.Errorf("%s reads the wall clock", at)
					}
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if files < 50 || allowed["control/runner.go UnixNano"] != 0 {
		t.Errorf("%d files looked at, %v left: nothing is shown", files, allowed)
	}
}
