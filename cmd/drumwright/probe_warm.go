package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control"
	"drumwright/control/drum"
	"drumwright/control/plant/registers"
	"drumwright/control/probe"
	"drumwright/io/journal"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// warmCharge is a recorded charge.
type warmCharge struct {
	from    string
	recipe  *profiles.Recipe
	samples []record.KeptSample
}

// warmTest finds lag and bed share of the probe from a charge.
func (o *probeOptions) warmTest(ctx context.Context, name string, w io.Writer) error {
	if name == "" || o.svg != "" || o.simulate && o.journal != "" {
		return exitError{codeInput, errors.New("a warm test needs MACHINE and either --journal or --simulate, and draws nothing")}
	}
	m, err := machineFrom(name)
	if err != nil {
		return err
	}
	var c *warmCharge
	if o.simulate {
		c, err = simulatedCharge(ctx, m, o.seed)
	} else {
		c, err = recordedCharge(ctx, o.journal, o.batch)
	}
	if err != nil {
		return err
	}
	samples, roomC := c.warmSamples()
	r, err := probe.Identify(control.ModelOf(m, c.recipe, nil).Bed, samples, roomC)
	if err != nil {
		return fmt.Errorf("%s: %w", c.from, err)
	}
	if o.asJSON {
		return printJSON(w, map[string]any{"machine": m.About.Name, "charge": c.from, "beans_c": roomC, "warm_test": r})
	}
	fmt.Fprintf(w, "%s, warm test of the bean probe from %s: %d readings from %.0f to %.0f s after charge, green beans taken at %.1f °C\n\n", m.About.Name, c.from, r.Samples, r.FromS, r.ToS, roomC)
	gas := drum.Figure{Value: 100 - 100*r.BedShare.Value, Uncertainty: 100 * r.BedShare.Uncertainty}
	fmt.Fprintf(w, "  lag in the bed     %s s   machine file: probe_lag %s\n", figureText(r.LagS, 1), m.Bed.ProbeLagS)
	fmt.Fprintf(w, "  bed share          %s %%   the rest is air; machine file: gas_share %s, found %s %%\n", figureText(drum.Figure{Value: 100 * r.BedShare.Value, Uncertainty: 100 * r.BedShare.Uncertainty}, 1), m.Bed.GasShare, figureText(gas, 1))
	fmt.Fprintf(w, "  heat into the bed  %s   times what the machine file's figures give\n", figureText(r.HeatFactor, 2))
	fmt.Fprintf(w, "  left by the fit    %.2f K\n\n", r.RMSK)
	fmt.Fprintf(w, "At 10 K/min the probe reads %.1f K behind the beans, and a rate of rise that falls by 1 K/min each minute reads %.2f K/min high.\n", r.LagS.Value/6, r.LagS.Value/60)
	if math.Abs(r.LagS.Value-float64(m.Bed.ProbeLagS)) > r.LagS.Uncertainty {
		fmt.Fprintf(w, "The machine file differs by more than the uncertainty. After some batches that agree, write probe_lag: %.0f s below bed.\n", r.LagS.Value)
	}
	if o.simulate {
		off := registers.Drawn(o.seed)
		fmt.Fprintf(w, "The simulated machine's lag is %.1f s and its gas share %.1f %%.\n", float64(m.Bed.ProbeLagS)*(1+off.ProbeLagFrac), 100*(float64(m.Bed.GasShare)+off.GasShareAdd))
	}
	return nil
}

// warmSamples takes the readings after the charge, and the room, which the green
// beans are taken to have.
func (c *warmCharge) warmSamples() (out []probe.Sample, roomC float64) {
	roomC = 25
	for i := range c.samples {
		s := &c.samples[i]
		if s.State != "roasting" || !s.SinceChargeS.Known() {
			continue
		}
		at := func(i point.Input) float64 {
			v, ok := s.Temperatures[i.String()]
			if !ok {
				return math.NaN()
			}
			return float64(v.Value)
		}
		if room := at(point.Ambient); len(out) == 0 && !math.IsNaN(room) {
			roomC = room
		}
		out = append(out, probe.Sample{SinceChargeS: float64(s.SinceChargeS), ProbeC: at(point.Bean), InletC: at(point.InletAir), SkinC: at(point.DrumSkin),
			FlowKgPerS: float64(s.FlowKgPerH) / 3600})
	}
	return out, roomC
}

// recordedCharge reads a batch from a journal; number 0 is the newest.
func recordedCharge(ctx context.Context, path string, number uint64) (*warmCharge, error) {
	r, err := journal.OpenReader(path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	if number == 0 {
		list, err := r.Batches(ctx, record.Search{Limit: 1})
		if err != nil {
			return nil, err
		}
		if len(list) == 0 {
			return nil, fmt.Errorf("journal %s holds no batch", path)
		}
		number = list[0].ID
	}
	d, err := r.Batch(ctx, number)
	if err != nil {
		return nil, fmt.Errorf("batch %d of journal %s: %w", number, path, err)
	}
	recipe, err := profiles.ParseRecipe(fmt.Sprintf("recipe of batch %d", number), []byte(d.RecipeText))
	if err != nil {
		return nil, err
	}
	return &warmCharge{fmt.Sprintf("batch %d of %s", number, path), recipe, d.Samples}, nil
}

// everySecond keeps what the journal would keep of a roast.
type everySecond struct {
	list []record.KeptSample
	atS  float64
}

func (k *everySecond) Put(s *record.Scan) {
	if s.State == "roasting" && s.ScanS >= k.atS {
		k.atS = s.ScanS + 1 - 1e-9
		k.list = append(k.list, record.NewKeptSample(s))
	}
}

// simulatedCharge charges a simulated machine that is not quite as its file says.
func simulatedCharge(ctx context.Context, m *profiles.Machine, seed uint64) (*warmCharge, error) {
	recipe, err := warmingRecipe("", m)
	if err != nil {
		return nil, err
	}
	const enough = 245
	keep := &everySecond{}
	_, err = rehearsal.Run(ctx, rehearsal.Plan{Machine: m, Recipe: recipe, Seed: seed, Batches: 1, Warm: true, Mismatch: registers.Drawn(seed), Sinks: []control.Sink{keep},
		Beside: func(*rehearsal.Moment) bool { return len(keep.list) >= enough }})
	if err != nil {
		return nil, err
	}
	return &warmCharge{"a simulated charge", recipe, keep.list}, nil
}
