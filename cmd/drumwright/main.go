// Command drumwright is the controller of a rebuilt drum coffee roaster.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() { os.Exit(mainCode()) }

// mainCode runs the command under a context that the first interrupt or SIGTERM
// ends. The second ends the process at once: it is waited for from the start, as
// one that comes on the heels of the first must not be lost.
func mainCode() int {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	signals := make(chan os.Signal, 2)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	go func() {
		<-signals
		cancel()
		second := (<-signals).(syscall.Signal)
		signal.Reset(second)
		_ = syscall.Kill(os.Getpid(), second) // so that who waits sees which signal it was
	}()
	return run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
}
