package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/cmd/drumwright/internal/wiring"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

type wiringOptions struct {
	who, journal     string
	simulate, asJSON bool
	seed             uint64
}

func wiringCommand() *cobra.Command {
	var o wiringOptions
	c := &cobra.Command{
		Use:   "wiring MACHINE",
		Short: "Walk the wiring point by point: is each wire and register what the machine file says?",
		Long: `wiring asks every device again and again, reads every point raw and scaled, has
you warm one probe, turn the shaft or press one switch after the other and looks
whether just the right reading moves, and then drives each output a little, for
some seconds, through the interlocks, and looks whether just the right feedback
comes. It names what is exchanged, inverted, off in scale, or laid out in another
order of bytes, and two devices at one unit id.

The machine is cold and empty, its daemon stopped. Heat comes last and only if
all else is right: a tenth of rated power for 5 s. The record with your name goes
into the machine's journal.

With --simulate the walk is made on the simulated machine by a made-up person.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.run(cmd.Context(), args[0], cmd.InOrStdin(), cmd.OutOrStdout())
		},
	}
	f := c.Flags()
	f.StringVar(&o.who, "who", "", "your name, kept with the record")
	f.BoolVar(&o.simulate, "simulate", false, "walk along the simulated machine")
	f.StringVar(&o.journal, "journal", "", "with --simulate: keep the record in this journal, marked as simulated")
	f.Uint64Var(&o.seed, "seed", 1, "with --simulate: seed of the noise")
	f.BoolVar(&o.asJSON, "json", false, "with --simulate: print the record as JSON")
	return c
}

func (o *wiringOptions) run(ctx context.Context, name string, in io.Reader, w io.Writer) error {
	switch {
	case o.who == "" && !o.simulate:
		return exitError{codeInput, errors.New("--who is missing: a wiring walk is made by a named person")}
	case !o.simulate && (o.journal != "" || o.asJSON):
		return exitError{codeInput, errors.New("--journal and --json go with --simulate; at a machine the record goes into its own journal")}
	}
	m, err := machineFrom(name)
	if err != nil {
		return err
	}
	var r *wiring.Record
	if o.simulate {
		if o.who == "" {
			o.who = "simulation"
		}
		say := func(text string) { printWrapped(w, "", text) }
		if o.asJSON {
			say = nil
		}
		r, err = (&wiring.Simulation{Built: m, Told: m, Who: o.who, Seed: o.seed, Say: say}).Run(ctx)
	} else {
		r, err = o.atMachine(ctx, m, in, w)
	}
	if err != nil {
		return err
	}
	path := m.Telemetry.Journal
	if o.simulate {
		path = o.journal
	}
	if path != "" {
		if err := keepCommissioned(path, []record.Commissioned{wiringRecord(m, r, time.Now())}); err != nil {
			return err
		}
	}
	if o.asJSON {
		if err := printJSON(w, r); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(w, "\n%d right, %d wrong, %d not done.\n", r.Count(wiring.Right), r.Count(wiring.Wrong), r.Count(wiring.NotDone))
		if path != "" {
			fmt.Fprintf(w, "Kept in %s.\n", path)
		}
	}
	if !r.Pass() {
		return exitError{codeFailed, errors.New("the wiring is not shown to be right: put right what is named and walk again")}
	}
	return nil
}

// wiringRecord is a walk as the journal keeps it.
func wiringRecord(m *profiles.Machine, r *wiring.Record, now time.Time) record.Commissioned {
	body, err := json.Marshal(r)
	if err != nil {
		body = []byte("{}") // cannot be: it holds numbers and strings only
	}
	result := record.ProofFail
	if r.Pass() {
		result = record.ProofPass
	}
	return record.Commissioned{Kind: record.KindWiring, Who: r.Who, When: now, Method: "walked point by point", Value: record.Unknown, Uncertainty: record.Unknown,
		Result: result, Wiring: r.WiringHash, Body: string(body), MachineHash: m.Hash, Version: versionText(), Simulated: r.Simulated || played(m)}
}

func (o *wiringOptions) atMachine(ctx context.Context, m *profiles.Machine, in io.Reader, w io.Writer) (*wiring.Record, error) {
	locks, err := lockBuses(m, lockFolders())
	if err != nil {
		return nil, fmt.Errorf("%w (the daemon must not run while its wires are walked)", err)
	}
	defer locks.release()
	p := &walker{newTerminal(in, w)}
	for _, c := range []string{
		"The machine is cold and empty, covers and gates shut, emergency stop within reach and released.",
		"Only who may open the cabinet opens it. Mains wiring is for licensed electricians.",
		"Drum, blower and fan will start, after the horn. At the end the heaters get a short pulse if all else is right; isolate them if you do not want that.",
	} {
		p.say("! %s", c)
	}
	if a, err := p.ask(ctx, "Is all of that so? y or n:", "y", "n"); err != nil || a == "n" {
		return nil, firstOf(err, errors.New("the walk has not begun: see to it first"))
	}
	tick := time.NewTicker(lifelike(m, seconds(m.Scan.PeriodS)))
	defer tick.Stop()
	walk, err := wiring.New(m, o.who, p, &wallTicks{c: tick.C, scale: max(1, m.Simulation.TimeScale), last: time.Now()})
	if err != nil {
		return nil, err
	}
	return walk.Run(ctx)
}

// wallTicks is the machine's own time.
type wallTicks struct {
	c     <-chan time.Time
	scale float64
	last  time.Time
}

// longestTick bounds what a scan stands for: a person may have taken a minute to
// answer, in which nothing was driven.
const longestTick = time.Second

// Tick waits for the next scan.
func (t *wallTicks) Tick(ctx context.Context) (passedS float64, err error) {
	select {
	case <-ctx.Done():
		return 0, ctx.Err()
	case <-t.c:
	}
	passed := min(longestTick, time.Since(t.last))
	t.last = time.Now()
	return passed.Seconds() * t.scale, nil
}

// walker is the person at the terminal.
type walker struct{ terminal }

func (p *walker) Say(text string) { p.say("%s", wrapped("", text)) }

func (p *walker) Act(ctx context.Context, i point.Input, restore bool, text string) (bool, error) {
	if text == "" {
		return true, nil
	}
	prompt := "Enter when you begin to do it, s to leave it out:"
	if restore || i == point.DrumPulses {
		prompt = "Enter when it is done, s to leave it out:"
	}
	p.say("\n%s", wrapped("", text))
	a, err := p.ask(ctx, prompt, "", "s")
	return a == "", err
}

func (p *walker) Confirm(ctx context.Context, _ point.Output, question string) (bool, error) {
	a, err := p.ask(ctx, wrapped("", question)+" y or n:", "y", "n")
	return a == "y", err
}

func (p *walker) Room(ctx context.Context) (float64, error) {
	for {
		a, err := p.ask(ctx, "Room temperature in °C, by a thermometer that is no probe of the machine:")
		if err != nil {
			return 0, err
		}
		if v, err := strconv.ParseFloat(strings.ReplaceAll(a, ",", "."), 64); err == nil && v >= 0 && v <= 45 {
			return v, nil
		}
		p.say("That is no temperature from 0 to 45 °C.")
	}
}
