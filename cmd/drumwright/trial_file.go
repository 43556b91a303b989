package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"time"

	"gopkg.in/yaml.v3"

	"drumwright/cmd/drumwright/internal/wiring"
	"drumwright/control/drum"
	"drumwright/io/record"
	"drumwright/profiles"
)

// trialFile is a cold trial as it is kept.
type trialFile struct {
	Trial    trialHeader     `yaml:"trial"`
	Stages   []trialStage    `yaml:"stages"`
	Result   trialResult     `yaml:"result"`
	Schedule []trialSchedule `yaml:"schedule"`
}

type trialHeader struct {
	Machine       string    `yaml:"machine"`
	MachineHash   string    `yaml:"machine_file_sha256"`
	When          time.Time `yaml:"when"`
	Who           string    `yaml:"who"`
	Beans         string    `yaml:"beans"`
	GreenG        float64   `yaml:"green_g"`
	ResolutionMMS float64   `yaml:"mark_resolution_mm_per_s"` // half-width within which one mark is read
	Simulated     bool      `yaml:"simulated"`
}

type trialStage struct {
	Name        string    `yaml:"name"`
	LossPercent float64   `yaml:"loss_percent"`
	LoadedG     float64   `yaml:"loaded_g"`
	BulkKgPerM3 float64   `yaml:"bulk_kg_per_m3,omitempty"`
	MarksMMS    []float64 `yaml:"marks_mm_per_s,flow"`
}

type trialResult struct {
	Law         drum.Law `yaml:"law"`
	GreenMMS    float64  `yaml:"green_mm_per_s"`
	GreenU      float64  `yaml:"green_uncertainty_mm_per_s"`
	Exponent    float64  `yaml:"exponent"`
	ExponentU   float64  `yaml:"exponent_uncertainty"`
	RMSMMS      float64  `yaml:"rms_residual_mm_per_s"`
	LawAccepted bool     `yaml:"law_accepted"`
	Why         string   `yaml:"why"`
}

type trialSchedule struct {
	Loss  string `yaml:"loss" json:"loss"`
	Speed string `yaml:"speed" json:"speed"`
}

func (f *trialFile) observations() (out []drum.Observation) {
	for _, s := range f.Stages {
		out = append(out, drum.Observation{Stage: s.Name, LossFrac: s.LossPercent / 100, BulkKgPerM3: s.BulkKgPerM3, MarksMMS: s.MarksMMS})
	}
	return out
}

// fit fits the marks and fills result and schedule.
func (f *trialFile) fit(law drum.Law, r drum.SpeedRange) (*drum.Fit, error) {
	fit, err := drum.FitLaw(law, f.observations(), f.Trial.ResolutionMMS)
	if err != nil {
		return nil, err
	}
	pts, err := fit.Points(r)
	if err != nil {
		return nil, err
	}
	to := func(v float64, decimals int) float64 {
		p := math.Pow(10, float64(decimals))
		return math.Round(v*p) / p
	}
	f.Result = trialResult{fit.Law, to(fit.GreenMMS.Value, 1), to(fit.GreenMMS.Uncertainty, 1), to(fit.Exponent.Value, 3), to(fit.Exponent.Uncertainty, 3), to(fit.RMSMMS, 2), fit.Accepted, fit.Why}
	f.Schedule = nil
	for _, p := range pts {
		f.Schedule = append(f.Schedule, trialSchedule{percentText(p.LossFrac), speedText(p.SkinMMS)})
	}
	return fit, nil
}

func percentText(frac float64) string { return fmt.Sprintf("%.4g %%", 100*frac) }

func speedText(mmS float64) string { return fmt.Sprintf("%.1f mm/s", mmS) }

const trialHead = `# Cold trial of drum speeds. The list under schedule goes below drum: in the
# machine file; drumwright trial MACHINE --from FILE puts it there. Cold trials are good to about
# 5 percent: hot beans are softer, and air and face differ.
`

func (f *trialFile) write(path string) error {
	var b bytes.Buffer
	b.WriteString(trialHead)
	enc := yaml.NewEncoder(&b)
	enc.SetIndent(2)
	if err := errors.Join(enc.Encode(f), enc.Close()); err != nil {
		return err
	}
	return os.WriteFile(path, b.Bytes(), 0o644)
}

// keepTrial keeps a trial that was made at the machine among the findings of
// commissioning. Its figure is the speed of green beans; the body holds all of it.
func keepTrial(m *profiles.Machine, f *trialFile) error {
	text, err := yaml.Marshal(f)
	if err != nil {
		return err
	}
	var keys map[string]any // the file's own, so that the record reads as the file does
	if err := yaml.Unmarshal(text, &keys); err != nil {
		return err
	}
	body, err := json.Marshal(keys)
	if err != nil {
		return err
	}
	return keepCommissioned(m.Telemetry.Journal, []record.Commissioned{{Kind: record.KindTrial, Item: itemSchedule, Who: f.Trial.Who, When: f.Trial.When,
		Method: "cold trial at the glass, law by " + string(f.Result.Law), Value: record.Number(f.Result.GreenMMS), Uncertainty: record.Number(f.Result.GreenU), Unit: "mm/s",
		Result: record.ProofPass, Wiring: wiring.Hash(m), Body: string(body), MachineHash: m.Hash, Version: versionText(), Simulated: f.Trial.Simulated}})
}

// readTrial reads a kept trial strictly.
func readTrial(path string) (*trialFile, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	f := &trialFile{}
	d := yaml.NewDecoder(bytes.NewReader(data))
	d.KnownFields(true)
	if err := d.Decode(f); err != nil {
		return nil, fmt.Errorf("%s: %w; a trial file is what drumwright trial writes", path, err)
	}
	if _, err := drum.FitLaw(drum.ByLoss, f.observations(), f.Trial.ResolutionMMS); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return f, nil
}

// header fills in what is known before the first mark.
func (o *trialOptions) header(d *drumInputs, m *profiles.Machine, now time.Time) trialHeader {
	return trialHeader{Machine: m.About.Name, MachineHash: m.Hash, When: now.UTC().Truncate(time.Second), Who: o.who, Beans: o.beans,
		GreenG: d.setup.BatchG.Value, ResolutionMMS: o.resolution, Simulated: o.simulate || played(m)}
}
