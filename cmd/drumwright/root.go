package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"drumwright/profiles"
)

// Exit codes, as the help of every command states them.
const (
	codeOK      = 0
	codeFailed  = 1 // could not do it; the reason is on standard error
	codeInput   = 2 // a command line, machine file or recipe is wrong
	codeTripped = 3 // demo: an interlock tripped and heat went off
	codeUnsafe  = 4 // demo: a fault did not bring heat off

	// serve: the machine file is wrong, EX_CONFIG of sysexits.h. A Go program that
	// breaks ends with 2, and unlike this one is to be started again.
	codeConfig = 78
)

const exitHelp = `Exit codes: 0 done, 1 could not, 2 wrong command line or file.`

// exitError carries an exit code; silent ones have already said what they must.
type exitError struct {
	code int
	err  error
}

func (e exitError) Error() string {
	if e.err == nil {
		return ""
	}
	return e.err.Error()
}
func (e exitError) Unwrap() error { return e.err }

// run is the whole program but for the process around it.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return codeOK
	}
	if _, _, unknown := root.Find(args); unknown != nil {
		err = exitError{codeInput, err}
	}
	if text := err.Error(); text != "" {
		fmt.Fprintf(stderr, "drumwright: %s\n", text)
	}
	var exit exitError
	var faults profiles.Faults
	switch {
	case errors.As(err, &exit):
		return exit.code
	case errors.As(err, &faults):
		return codeInput
	}
	return codeFailed
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "drumwright",
		Short: "Commission a rebuilt drum coffee roaster, then roast the same coffee the same way every day",
		Long: `drumwright controls a drum coffee roaster that was rebuilt with an inverter for
the drum, radiant panels under it and a separately heated and blown inlet air,
over Modbus, from a small computer beside the machine.

Software is not a safety device. A hard-wired high limit with manual reset, an
emergency stop that takes the heaters' power, fuses and earth-leakage
protection as local codes ask must be there before heat is used; mains wiring
is for licensed electricians.`,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return exitError{codeInput, err} })
	root.AddCommand(
		demoCommand(),
		assessCommand(),
		campaignCommand(),
		serveCommand(),
		practiceCommand(),
		watchCommand(),
		controlCommand(),
		doCommand(),
		plantCommand(),
		checkCommand(),
		preflightCommand(),
		replayCommand(),
		matrixCommand(),
		drumCommand(),
		sheetCommand(),
		trialCommand(),
		probeCommand(),
		proveCommand(),
		wiringCommand(),
		findCommand(),
		calibrateCommand(),
		learningCommand(),
		weighCommand(),
		versionCommand(),
	)
	root.AddCommand(tuneCommand(), fitCommand())
	root.AddCommand(batchesCommand(), recipeCommand(), reportCommand(), exportCommand(), backupCommand(), restoreCommand())
	root.AddCommand(userCommand(), auditCommand())
	root.AddCommand(deviceCommand(), checkDeviceCommand())
	root.AddCommand(setupCommand(), idleCommand(), doctorCommand(), dumpCommand(), manCommand())
	root.InitDefaultHelpCmd()
	for _, c := range root.Commands() {
		if c.Name() == "help" {
			c.Args = func(_ *cobra.Command, args []string) error {
				_, _, err := root.Find(args)
				return err
			}
		}
		refuseWrongArgs(c)
	}
	stateExitCodes(root)
	return root
}

// stateExitCodes ends the help of a command and of those below it with the exit
// codes, but for the few that state their own.
func stateExitCodes(c *cobra.Command) {
	if c.Long == "" {
		c.Long = c.Short + "."
	}
	if !strings.Contains(c.Long, "\nExit codes: ") {
		c.Long += "\n\n" + exitHelp
	}
	for _, sub := range c.Commands() {
		stateExitCodes(sub)
	}
}

// refuseWrongArgs lets a command and those below it say how they are written,
// and end with the code of a wrong command line, when arguments do not fit.
func refuseWrongArgs(c *cobra.Command) {
	if check := c.Args; check != nil {
		c.Args = func(cmd *cobra.Command, args []string) error {
			if err := check(cmd, args); err != nil {
				return exitError{codeInput, fmt.Errorf("%s: %w; write: %s", cmd.Name(), err, cmd.UseLine())}
			}
			return nil
		}
	}
	for _, sub := range c.Commands() {
		refuseWrongArgs(sub)
	}
}
