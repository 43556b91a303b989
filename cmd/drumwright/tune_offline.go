package main

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"

	"drumwright/control/tune"
	"drumwright/io/journal"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// tuneOffline makes gains from what is on disk.
func tuneOffline(ctx context.Context, m *profiles.Machine, o *tuneOptions) ([]tuned, error) {
	if o.csv != "" {
		return tuneCSV(m, o)
	}
	path := o.journal
	if path == "" {
		path = m.Telemetry.Journal
	}
	r, err := journal.OpenReader(path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	b, err := r.Batch(ctx, o.batch)
	if err != nil {
		return nil, fmt.Errorf("batch %d of %s: %w", o.batch, path, err)
	}
	d, flow, baseC, err := airStretch(m, b.Samples)
	if err != nil {
		return nil, fmt.Errorf("batch %d: %w", o.batch, err)
	}
	how := fmt.Sprintf("%.0f s of batch %d", d.Outputs[len(d.Outputs)-1].AtS-d.Outputs[0].AtS, o.batch)
	return []tuned{judgeTuning(m, "air", flow, baseC, noiseOf(d.Outputs), how, d)}, nil
}

const (
	// leadInS of a stretch let what was before die away; it is not fitted.
	leadInS = 90.0
	// steadyFlow is how far the air flow may be from its median, as a share.
	steadyFlow = 0.05
	// leastStretchS is the shortest stretch that is worth a fit, beside its lead-in.
	leastStretchS = 90.0
)

// airStretch finds the longest stretch of a roast with a steady air flow and
// the heater permitted, and makes data of it.
func airStretch(m *profiles.Machine, samples []record.KeptSample) (d tune.Data, flowKgPerH, baseC float64, err error) {
	var flows []float64
	for i := range samples {
		if samples[i].State == "roasting" && samples[i].FlowKgPerH.Known() {
			flows = append(flows, float64(samples[i].FlowKgPerH))
		}
	}
	if len(flows) == 0 {
		return d, 0, 0, errors.New("it holds no sample of a roast")
	}
	slices.Sort(flows)
	flowKgPerH = flows[len(flows)/2]
	usable := func(s *record.KeptSample) bool {
		t, ok := s.Temperatures["inlet_air"]
		return ok && t.Value.Known() && s.State == "roasting" && s.HeatPermitted && s.AirPermit.Known() &&
			math.Abs(float64(s.FlowKgPerH)/flowKgPerH-1) <= steadyFlow
	}
	from, to := 0, 0
	for i := 0; i < len(samples); {
		k := i
		for k < len(samples) && usable(&samples[k]) {
			k++
		}
		if k-i > to-from {
			from, to = i, k
		}
		i = k + 1
	}
	stretch := samples[from:to]
	if len(stretch) < 2 || float64(stretch[len(stretch)-1].ScanS-stretch[0].ScanS) < leadInS+leastStretchS {
		return d, flowKgPerH, 0, fmt.Errorf("no stretch of %.0f s has a steady air flow near %.1f kg/h", leadInS+leastStretchS, flowKgPerH)
	}
	startS := float64(stretch[0].ScanS)
	sum := 0.0
	for i := range stretch {
		s := &stretch[i]
		power := heaterW(m, s, point.AirHeaterPower)
		if i == 0 {
			d.Rest = power
		}
		d.Inputs = append(d.Inputs, tune.Level{AtS: float64(s.ScanS), Value: power})
		if float64(s.ScanS) >= startS+leadInS {
			c := float64(s.Temperatures["inlet_air"].Value)
			d.Outputs = append(d.Outputs, tune.Sample{AtS: float64(s.ScanS), Value: c})
			sum += c
		}
	}
	return d, flowKgPerH, sum / float64(len(d.Outputs)), nil
}

// noiseOf is the standard deviation of white noise in samples of a smooth
// signal: from their second differences, whose variance is 6 times as large
// (plain algebra).
func noiseOf(o []tune.Sample) float64 {
	sum := 0.0
	for i := 2; i < len(o); i++ {
		d := o[i].Value - 2*o[i-1].Value + o[i-2].Value
		sum += d * d
	}
	return math.Sqrt(sum / 6 / float64(max(1, len(o)-2)))
}

func tuneCSV(m *profiles.Machine, o *tuneOptions) ([]tuned, error) {
	f, err := os.Open(o.csv)
	if err != nil {
		return nil, exitError{codeInput, err}
	}
	defer f.Close()
	d, err := readTuneCSV(o.csv, f)
	if err != nil {
		return nil, exitError{codeInput, err}
	}
	flows, err := o.flowList(m)
	if err != nil || len(flows) != 1 && o.loop == "air" && o.flows != "" {
		return nil, exitError{codeInput, errors.Join(err, errors.New("--csv goes with one --flow: that of the experiment"))}
	}
	flow := float64(m.Air.Nominal)
	if o.flows != "" {
		flow = flows[0]
	}
	return []tuned{judgeTuning(m, o.loop, flow, d.Outputs[0].Value, noiseOf(d.Outputs), "the experiment in "+o.csv, d)}, nil
}

// mostCSV bounds the lines of a file.
const mostCSV = 200000

// readTuneCSV reads time_s, power_w, temperature_c.
func readTuneCSV(name string, r io.Reader) (tune.Data, error) {
	var d tune.Data
	in := csv.NewReader(r)
	in.FieldsPerRecord, in.ReuseRecord, in.TrimLeadingSpace = 3, true, true
	head, err := in.Read()
	if err != nil || head[0] != "time_s" || head[1] != "power_w" || head[2] != "temperature_c" {
		return d, fmt.Errorf("%s:1: found no heading time_s,power_w,temperature_c: give it, and those columns in its order", name)
	}
	for line := 2; ; line++ {
		row, err := in.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return d, fmt.Errorf("%s: %w", name, err)
		}
		var v [3]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i], 64); err != nil || math.IsNaN(v[i]) || math.IsInf(v[i], 0) {
				return d, fmt.Errorf("%s:%d: found %q in column %s, allowed is a number with a point", name, line, row[i], [...]string{"time_s", "power_w", "temperature_c"}[i])
			}
		}
		if n := len(d.Outputs); n > 0 && v[0] <= d.Outputs[n-1].AtS {
			return d, fmt.Errorf("%s:%d: found time %g s after %g s, allowed is a later time on each line", name, line, v[0], d.Outputs[n-1].AtS)
		}
		if len(d.Outputs) == mostCSV {
			return d, fmt.Errorf("%s: more than %d lines; thin them out", name, mostCSV)
		}
		if len(d.Outputs) == 0 {
			d.Rest = v[1]
		}
		d.Inputs = append(d.Inputs, tune.Level{AtS: v[0], Value: v[1]})
		d.Outputs = append(d.Outputs, tune.Sample{AtS: v[0], Value: v[2]})
	}
	if len(d.Outputs) == 0 {
		return d, fmt.Errorf("%s: holds no measurements below its heading", name)
	}
	return d, nil
}
