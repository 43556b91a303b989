package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control"
	"drumwright/control/plant/registers"
	"drumwright/io/record"
)

type demoOptions struct {
	machine, recipe string
	seed            uint64
	batches         int
	faults          []string
	asJSON          bool
	out             string
}

func demoCommand() *cobra.Command {
	var o demoOptions
	c := &cobra.Command{
		Use:   "demo",
		Short: "Roast two batches on the simulated machine and write a report",
		Long: `demo plays a shop's day on a simulated machine, much faster than life: warm,
charge, roast along the recipe, drop, cool, again, and run down. Controller,
interlocks and Modbus frames are those that serve a real machine; machine and
operator are simulated. The simulated machine differs a little from what its
file says, as real ones do.

--fault NAME@SECONDS injects a fault that many seconds after the first charge;
see the command plant for their names. May be given more than once.

Exit codes: 0 done, 1 could not, 2 wrong command line or file, 3 an interlock
tripped and heat went off, 4 a fault did not bring heat off.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return demo(cmd.Context(), &o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&o.machine, "machine", "heron-1000", "machine file, or the name of a shipped machine")
	f.StringVar(&o.recipe, "recipe", "harbour-medium", "recipe file, or the name of a shipped recipe")
	f.Uint64Var(&o.seed, "seed", 1, "seed of the noise and of the machine's deviations from its file")
	f.IntVar(&o.batches, "batches", 2, "number of batches, 1 to 20")
	f.StringArrayVar(&o.faults, "fault", nil, "fault as NAME@SECONDS after the first charge")
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object on standard output, progress on standard error")
	f.StringVar(&o.out, "out", "demo-report", "folder for the report; empty = none")
	return c
}

// demoResult is what --json prints. Temperatures in °C, times in s, losses as
// shares of the green mass.
type demoResult struct {
	Machine      string            `json:"machine"`
	Recipe       string            `json:"recipe"`
	Seed         uint64            `json:"seed"`
	Batches      []rehearsal.Batch `json:"batches"`
	Trips        []rehearsal.Trip  `json:"trips"`
	Scans        uint64            `json:"scans"`
	Overruns     uint64            `json:"overruns"`
	Transactions uint64            `json:"modbus_transactions"`
	SimulatedS   float64           `json:"simulated_s"`
	WallS        float64           `json:"wall_s"`
	FinalState   string            `json:"final_state"`
	FaultHeatOff *float64          `json:"fault_to_heat_off_s,omitempty"`
	Report       string            `json:"report,omitempty"`
}

func demo(ctx context.Context, o *demoOptions, stdout, stderr io.Writer) error {
	m, err := machineFrom(o.machine)
	if err != nil {
		return err
	}
	r, err := recipeFrom(o.recipe)
	if err != nil {
		return err
	}
	faults, err := parseFaults(o.faults)
	if err != nil {
		return err
	}
	if o.batches < 1 || o.batches > 20 {
		return exitError{codeInput, fmt.Errorf("--batches %d: allowed is 1 to 20", o.batches)}
	}
	progress := stdout
	if o.asJSON {
		progress = stderr
	}
	keep := newKeeper(m, r, o.seed)
	teller := &teller{w: progress, redraws: isTerminal(progress), periodS: float64(m.Scan.PeriodS), batches: o.batches}
	fmt.Fprintf(progress, "Simulated machine %s, recipe %s, %d batches. Everything here is invented for the demonstration.\n\n", m.About.Name, r.Name, o.batches)
	res, err := rehearsal.Run(ctx, rehearsal.Plan{
		Machine: m, Recipe: r, Seed: o.seed, Batches: o.batches, Faults: faults, Mismatch: registers.Drawn(o.seed),
		Sinks: []control.Sink{keep, teller}, Tell: teller.tell, AfterS: 30,
	})
	teller.end()
	if err != nil {
		return err
	}
	out := demoResult{Machine: m.About.Name, Recipe: r.Name, Seed: o.seed, Batches: res.Batches, Trips: res.Trips, Scans: res.Scans,
		Overruns: res.Overruns, Transactions: res.Transactions, SimulatedS: res.SimulatedS, WallS: res.WallS, FinalState: res.FinalState}
	if out.Batches == nil {
		out.Batches = []rehearsal.Batch{}
	}
	if out.Trips == nil {
		out.Trips = []rehearsal.Trip{}
	}
	if len(faults) > 0 && !res.HeatOn {
		out.FaultHeatOff = &res.HeatOffS
	}
	if o.out != "" {
		if out.Report, err = keep.write(o.out, res); err != nil {
			return err
		}
	}
	if o.asJSON {
		if err := printJSON(stdout, out); err != nil {
			return err
		}
	} else if err := printDemo(stdout, &out, len(r.Curve) > 0); err != nil {
		return err
	}
	switch {
	case len(faults) > 0 && res.HeatOn:
		return exitError{codeUnsafe, fmt.Errorf("a fault was injected and heat stayed on")}
	case len(res.Trips) > 0:
		return exitError{codeTripped, fmt.Errorf("tripped by %s, safe state %s; heat is off", res.Trips[0].Cause, res.Trips[0].SafeState)}
	}
	return nil
}

// parseFaults reads NAME@SECONDS.
func parseFaults(args []string) ([]rehearsal.Fault, error) {
	var out []rehearsal.Fault
	for _, a := range args {
		name, at, ok := strings.Cut(a, "@")
		s, err := strconv.ParseFloat(strings.TrimSuffix(at, "s"), 64)
		if !ok || err != nil || !(s >= 0 && s <= 3600) {
			return nil, exitError{codeInput, fmt.Errorf("--fault %q: allowed is NAME@SECONDS with 0 to 3600 s after the first charge, such as drum_stall@300", a)}
		}
		if !rehearsal.KnownFault(name) {
			return nil, exitError{codeInput, fmt.Errorf("--fault %q: there is no fault %q; known are %s", a, name, strings.Join(rehearsal.FaultNames(), ", "))}
		}
		out = append(out, rehearsal.Fault{Name: name, AfterChargeS: s})
	}
	return out, nil
}

func printDemo(w io.Writer, r *demoResult, curve bool) error {
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	row := func(name string, f func(b *rehearsal.Batch) string) {
		fmt.Fprintf(t, "%s\t", name)
		for i := range r.Batches {
			fmt.Fprintf(t, "%s\t", f(&r.Batches[i]))
		}
		fmt.Fprintln(t)
	}
	if len(r.Batches) > 0 {
		row("batch", func(b *rehearsal.Batch) string {
			if b.Aborted {
				return fmt.Sprintf("%d, broken off", b.ID)
			}
			return strconv.FormatUint(b.ID, 10)
		})
		num := func(name, format string, f func(b *rehearsal.Batch) float64) {
			row(name, func(b *rehearsal.Batch) string { return fmt.Sprintf(format, f(b)) })
		}
		num("turning point", "%.0f s", func(b *rehearsal.Batch) float64 { return b.TurningPointS })
		num("first crack", "%.0f s", func(b *rehearsal.Batch) float64 { return b.FirstCrackS })
		num("drop", "%.0f s", func(b *rehearsal.Batch) float64 { return b.DropS })
		num("drop temperature", "%.1f °C", func(b *rehearsal.Batch) float64 { return b.DropC })
		num("drop error", "%+.1f °C", func(b *rehearsal.Batch) float64 { return b.DropErrorC })
		if curve {
			num("off the curve, rms", "%.2f °C", func(b *rehearsal.Batch) float64 { return b.TrackingRmsC })
			num("off the curve, most", "%.2f °C", func(b *rehearsal.Batch) float64 { return b.TrackingMaxC })
		}
		num("loss, estimated", "%.1f %%", func(b *rehearsal.Batch) float64 { return 100 * b.LossEstimated })
		num("loss, true", "%.1f %%", func(b *rehearsal.Batch) float64 { return 100 * b.LossTrue })
		num("heat used", "%.2f kWh", func(b *rehearsal.Batch) float64 { return b.EnergyKWh })
		if err := t.Flush(); err != nil {
			return err
		}
	}
	for _, trip := range r.Trips {
		fmt.Fprintf(w, "\nTrip at %.1f s after charge: %s, safe state %s\n  %s\n", trip.SinceS, trip.Cause, trip.SafeState, trip.Text)
	}
	if r.FaultHeatOff != nil {
		fmt.Fprintf(w, "\nHeat off at the machine %.1f s after the fault came.\n", *r.FaultHeatOff)
	}
	fmt.Fprintf(w, "\n%.0f s of the shop in %.1f s (%.0f × real time), %d scans, %d overruns, %d Modbus transactions.\n",
		r.SimulatedS, r.WallS, r.SimulatedS/r.WallS, r.Scans, r.Overruns, r.Transactions)
	if r.Report != "" {
		fmt.Fprintf(w, "Report: %s\n", r.Report)
	}
	return nil
}

// teller shows the day as it goes: milestones as lines, and on a terminal a bar
// that is redrawn in place.
type teller struct {
	w       io.Writer
	redraws bool
	periodS float64
	batches int
	nextS   float64
	bar     bool
}

// barEveryS is the simulated time between two drawings of the bar.
const barEveryS = 20

func (t *teller) tell(s *record.Scan, e record.Event) {
	switch e.Kind {
	case record.Milestone, record.Trip, record.Warning:
		t.wipe()
		fmt.Fprintf(t.w, "%s  %s\n", clock(s.ScanS), e.Text)
	case record.Transition:
		if e.Name == "warm" || e.Name == "warm-enough" || e.Name == "stop" || e.Name == "cool-enough" {
			t.wipe()
			fmt.Fprintf(t.w, "%s  %s\n", clock(s.ScanS), e.Text)
		}
	}
}

// Put redraws the bar now and then.
func (t *teller) Put(s *record.Scan) {
	if !t.redraws || s.ScanS < t.nextS {
		return
	}
	t.nextS = s.ScanS + barEveryS
	share := 0.0
	if s.Batch.SinceS > 0 && s.Batch.TargetDropC > 0 {
		share = min(1, max(0, (s.Image.In[0].V-80)/(s.Batch.TargetDropC-80)))
		if s.Batch.DropS > 0 {
			share = 1
		}
	}
	const width = 24
	full := int(share * width)
	t.wipe()
	fmt.Fprintf(t.w, "%s  [%s%s] %-11s bean %5.1f °C, inlet %5.1f °C, skin %5.1f °C, loss %4.1f %%", clock(s.ScanS),
		strings.Repeat("=", full), strings.Repeat(" ", width-full), s.State, s.Image.In[0].V, s.Air.MeasuredC, s.Base.MeasuredC, 100*s.Bean.Loss)
	t.bar = true
}

func (t *teller) wipe() {
	if t.bar {
		fmt.Fprint(t.w, "\r\x1b[2K")
		t.bar = false
	}
}

func (t *teller) end() { t.wipe() }

// clock prints scan time as minutes and seconds.
func clock(s float64) string { return fmt.Sprintf("%3d:%04.1f", int(s)/60, s-float64(int(s)/60*60)) }
