package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"gopkg.in/yaml.v3"

	"drumwright/control/drum"
	"drumwright/io/journal"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// On the simulated machine, through controller, gate and frames, the fit finds
// the law of the made-up person within its stated uncertainty, and the schedule
// that is written is one that a machine file takes.
func TestTrialSimulated(t *testing.T) {
	peertest.OnceIsEnough(t)
	path := filepath.Join(t.TempDir(), "trial.yaml")
	code, out, errs := drumwright(t, "trial", "heron-1000", "--simulate", "--repeats", "2", "--stage", "green=0", "--stage", "middle=10", "--stage", "end=20", "--who", "Ada", "--beans", "washed, 60 kg bag 4", "--out", path)
	if code != codeOK {
		t.Fatalf("code %d: %s%s", code, out, errs)
	}
	f, err := readTrial(path)
	if err != nil {
		t.Fatal(err)
	}
	r := &f.Result
	if math.Abs(r.GreenMMS-personShare*425) > r.GreenU || math.Abs(r.Exponent-personDecay) > r.ExponentU || r.ExponentU > 0.3 || !f.Trial.Simulated || f.Trial.Who != "Ada" {
		t.Errorf("%+v of %+v", f.Result, f.Trial)
	}
	data, _ := profiles.Example("machines/heron-1000.yaml")
	var list strings.Builder
	for _, s := range f.Schedule {
		fmt.Fprintf(&list, "    - {loss: %s, speed: %s}\n", s.Loss, s.Speed)
	}
	before, rest, _ := strings.Cut(string(data), "  schedule:")
	_, after, _ := strings.Cut(rest, "\nair:")
	if _, err := profiles.ParseMachine("new.yaml", []byte(before+"  schedule:\n"+list.String()+"\nair:"+after)); err != nil {
		t.Errorf("the schedule is refused by a machine file: %v\n%s", err, &list)
	}

	// Fitted anew, compared with itself, and not overwritten.
	if code, out, errs := drumwright(t, "trial", "heron-1000", "--from", path, "--law", "density", "--compare", path); code != codeOK || !strings.Contains(out, "green density") || !strings.Contains(out, "no difference") {
		t.Errorf("code %d: %s%s", code, out, errs)
	}
	if code, _, errs := drumwright(t, "trial", "heron-1000", "--simulate", "--out", path); code != codeInput || !strings.Contains(errs, "not overwritten") {
		t.Errorf("code %d: %s", code, errs)
	}
}

func TestTrialRefusals(t *testing.T) {
	bad := filepath.Join(t.TempDir(), "bad.yaml")
	if err := os.WriteFile(bad, []byte("trial: {machine: x}\nmoon: 1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{}, codeInput, "--who is missing"},
		{[]string{"--who", "Ada", "--repeats", "3"}, codeInput, "even number"},
		{[]string{"--who", "Ada", "--law", "moon"}, codeInput, "loss and density"},
		{[]string{"--who", "Ada", "--resolution", "0"}, codeInput, "0.1 to 50"},
		{[]string{"--from", bad}, codeInput, "moon"},
		{[]string{"--simulate", "--compare", bad}, codeInput, "moon"},
		{[]string{"--who", "Ada", "--address", filepath.Join(t.TempDir(), "no.sock")}, codeFailed, "does drumwright serve run"},
	} {
		if code, _, errs := drumwright(t, append([]string{"trial", "heron-1000"}, c.args...)...); code != c.code || !strings.Contains(errs, c.want) {
			t.Errorf("%v: code %d, %q", c.args, code, errs)
		}
	}
}

// What a trial at the machine has found stands among what commissioning knows.
func TestTrialIsKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "trial.yaml")
	if code, _, errs := drumwright(t, "trial", "heron-1000", "--simulate", "--repeats", "2", "--stage", "green=0", "--stage", "middle=10", "--stage", "end=20", "--who", "Ada", "--out", path); code != codeOK {
		t.Fatal(errs)
	}
	f, err := readTrial(path)
	if err != nil {
		t.Fatal(err)
	}
	m, err := machineFrom("heron-1000")
	if err != nil {
		t.Fatal(err)
	}
	m.Telemetry.Journal = filepath.Join(t.TempDir(), "drumwright.db")
	f.Trial.Simulated = false // as if at the machine
	if err := keepTrial(m, f); err != nil {
		t.Fatal(err)
	}
	r, err := journal.OpenReader(m.Telemetry.Journal)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	kept, err := r.Commissioned(context.Background())
	if err != nil || len(kept) != 1 || kept[0].Who != "Ada" || kept[0].Value != record.Number(f.Result.GreenMMS) || kept[0].Unit != "mm/s" || !strings.Contains(kept[0].Body, "marks_mm_per_s") {
		t.Fatalf("%+v, %v", kept, err)
	}
	for _, x := range commissionState(m, kept, false, time.Now()) {
		if x.name == itemSchedule && x.state != itemMeasured {
			t.Errorf("the schedule is %s", x.state)
		}
	}
}

// A person makes two marks at the glass of a machine that the daemon runs, then
// has enough: the marks are kept, the drum stands, and the beans count as in.
func TestTrialWithAPerson(t *testing.T) {
	s := openShop(t)
	in, to := io.Pipe()
	defer to.Close()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	const wantMMS = 400.0
	var wait atomic.Int32 // 1 sweep from below, 2 on its way up, 3 from above; 0 nothing
	go func() {           // her eyes
		d := s.api()
		for tick := time.NewTicker(5 * time.Millisecond); ctx.Err() == nil; <-tick.C {
			r, err := d.scan(ctx)
			if err != nil {
				continue
			}
			v := r.Permit[point.DrumSpeed] * s.m.SkinMMPerSPerHz()
			switch now := wait.Load(); {
			case now == 2 && v > 440:
				wait.Store(3)
			case now == 1 && v >= wantMMS, now == 3 && v <= wantMMS:
				wait.Store(0)
				fmt.Fprintln(to)
			}
		}
	}()
	ada := &actor{to: to}
	next := int32(0)
	ada.act = func(said string) string {
		switch {
		case strings.HasPrefix(said, "Is all of that so?"), strings.HasPrefix(said, "Is the drum empty?"):
			return "y"
		case strings.HasPrefix(said, "Sweep 1"):
			next = 1
		case strings.HasPrefix(said, "Sweep 2"):
			next = 2
		case strings.HasPrefix(said, "Sweep 3"): // in the middle of the stage
			next = 0
		case strings.HasPrefix(said, "Enter to start"):
			if next == 0 {
				return "q"
			}
			wait.Store(next)
		case strings.HasPrefix(said, "Weight"):
			return "695"
		}
		return ""
	}
	path := filepath.Join(t.TempDir(), "trial.yaml")
	o := &trialOptions{address: s.address, who: "Ada", law: string(drum.ByLoss), out: path, repeats: 4, resolution: 5, second: 50 * time.Millisecond}
	err := o.run(ctx, "heron-1000", in, ada)
	if !errors.Is(err, errEnough) || !strings.Contains(err.Error(), path) {
		t.Fatalf("%v\n%s", err, &ada.text)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var f trialFile
	if err := yaml.Unmarshal(data, &f); err != nil || len(f.Stages) != 1 || len(f.Stages[0].MarksMMS) != 2 || f.Stages[0].BulkKgPerM3 != 695 || f.Trial.Who != "Ada" {
		t.Fatalf("%v: %s\n%s", err, data, &ada.text)
	}
	// The simulated motor slips by some percent against the drive's constant, and
	// marks are made at the speed set.
	for _, m := range f.Stages[0].MarksMMS {
		if math.Abs(m-wantMMS) > 0.04*wantMMS {
			t.Errorf("mark at %g mm/s, made at %g", m, wantMMS)
		}
	}
	peertest.Eventually(t, patience, "the drum to be left standing, untripped", func() bool {
		r, err := s.api().scan(ctx)
		return err == nil && r.Permit[point.DrumRun] == 0 && !r.Safety.Tripped
	})
	if err := s.warm(); err == nil || !strings.Contains(err.Error(), "when the beans are out") {
		t.Errorf("heated with the beans of a trial in the drum: %v", err)
	}
}
