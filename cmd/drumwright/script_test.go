package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"drumwright/io/peertest"
)

var update = flag.Bool("update", false, "rewrite what the scripts expect")

func TestMain(m *testing.M) {
	if os.Getenv(childEnv) != "" {
		os.Exit(mainCode())
	}
	testscript.Main(m, map[string]func(){
		"drumwright": func() { os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// TestScripts runs each subcommand as a user would and looks at exit code,
// standard output and standard error. Whole batches in them are left out under
// the race detector: TestBatchSeenByPeers plays one.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "../../testdata/script", UpdateScripts: *update, RequireExplicitExec: true, RequireUniqueNames: true,
		Condition: func(name string) (bool, error) {
			if name != "race" {
				return false, fmt.Errorf("no condition %q, only race", name)
			}
			return peertest.Race, nil
		},
	})
}
