// Command drumwright is the controller of a rebuilt drum coffee roaster.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() { os.Exit(mainCode()) }

func mainCode() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // from then on a second signal ends the process at once
	return run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
}
