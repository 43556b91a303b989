package main

import (
	"context"
	"flag"
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
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
// standard output and standard error.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "../../testdata/script", UpdateScripts: *update, RequireExplicitExec: true, RequireUniqueNames: true})
}
