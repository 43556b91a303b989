package campaign

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"drumwright/control/plant"
	"drumwright/io/peertest"
	"drumwright/profiles"
)

func bench(machine, recipe string) Bench {
	return Bench{Seed: 1,
		Machine: func() (*profiles.Machine, error) {
			data, _ := profiles.Example("machines/" + machine + ".yaml")
			return profiles.ParseMachine(machine, data)
		},
		Recipe: func() (*profiles.Recipe, error) {
			data, _ := profiles.Example("recipes/" + recipe + ".yaml")
			return profiles.ParseRecipe(recipe, data)
		}}
}

// Rows that stand for their kind, at one moment each. Their limits are estimates
// (common practice, no source); what is tried is that the controller keeps them
// by the machine's truth.
func TestRows(t *testing.T) {
	t.Parallel()
	b := bench("heron-1000", "harbour-medium")
	rows := Table()
	for _, c := range []struct {
		name string
		at   Phase
	}{
		{"bean probe open", Early},
		{"contactor welded, then a trip", Early},
		{"blower moves no air", Early},
		{"drum stalls", Early},
		{"start with the cover open", Cold},
		{"start from the network", Cold},
		{"1 % of replies lost or corrupt", Early},
		{"the scan hangs for 5 s", Early},
		{"cover opened", Warming},
		{"recipe without units", Cold},
		{"emergency stop", Early},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			i := slices.IndexFunc(rows, func(r Row) bool { return r.Name == c.name })
			if i < 0 || !slices.Contains(rows[i].At, c.at) {
				t.Fatal("there is no such row at this moment")
			}
			res, err := play(context.Background(), b, &rows[i], c.at)
			if err != nil || !res.Pass {
				t.Errorf("%+v, error %v", res, err)
			}
		})
	}
}

// The judge must be able to say no: a sound controller fails what asks for the
// impossible.
func TestJudgeSaysNo(t *testing.T) {
	t.Parallel()
	b := bench("heron-1000", "harbour-medium")
	stall := Row{Hazard: "H34", Name: "x", By: fault("drum_stall"), At: at(Ready), Cause: one("drum_stall"), State: "S3",
		Drum: Stopped, Air: Kept, LimitS: 3.3, RunOnS: drumRunsOutS}
	for _, c := range []struct {
		why    string
		change func(*Row)
	}{
		{"heat off after", func(r *Row) { r.LimitS, r.RunOnS = 1, 0 }},
		{"first cause", func(r *Row) { r.Cause = one("air_lost") }},
		{"safe state", func(r *Row) { r.State = "S1" }},
		{"the drum stands", func(r *Row) { r.Drum = Kept }},
		{"the air moves", func(r *Row) { r.Air = Stopped }},
		{"skin reached", func(r *Row) { r.SkinC = 100 }},
		{"tripped by", func(r *Row) { r.Want, r.ForS = Bears, 10 }},
		{"no warning", func(r *Row) { r.Want, r.Cause = Warns, one("drum_slow") }},
		{"did not trip", func(r *Row) { r.Also = one("contactor_stuck") }},
		{"no trip", func(r *Row) { r.By = []Act{{}} }},
		{"heat stays on", func(r *Row) { r.By = []Act{{}} }},
		{"was not refused", func(r *Row) { r.Want, r.By, r.ForS = Refuses, []Act{say(0, "hold", false)}, 3 }},
		{"", func(*Row) {}},
	} {
		t.Run(c.why, func(t *testing.T) {
			t.Parallel()
			r := stall
			c.change(&r)
			res, err := play(context.Background(), b, &r, Ready)
			if err != nil || res.Pass != (c.why == "") || !strings.Contains(res.Why, c.why) {
				t.Errorf("%+v, error %v; want a failure that says %q", res, err, c.why)
			}
		})
	}
	f := File{"recipes/harbour-medium.yaml", "note: first", "note: First"}
	if f.accepted() == "" {
		t.Error("a sound file counts as refused")
	}
	f.Old = "no such text"
	if f.accepted() == "" {
		t.Error("an unchanged file counts as refused")
	}
}

// Every hazard is either played or named as not played, every fault of the
// simulated machine is played, and what is said to cover a hazard exists.
func TestTablesAreWhole(t *testing.T) {
	played, faults := map[string]bool{}, map[string]bool{}
	last := ""
	names := map[string]bool{}
	for _, r := range Table() {
		played[r.Hazard] = true
		if names[r.Name] {
			t.Errorf("two rows are called %q", r.Name)
		}
		names[r.Name] = true
		if r.Name == "" || len(r.At) == 0 || len(r.By) == 0 && r.File == nil {
			t.Errorf("%s %q: nothing is done, or never", r.Hazard, r.Name)
		}
		if r.Want != Refuses && r.Want != Bears && (len(r.Cause) == 0 && r.Want != HeatEnds || r.LimitS == 0 && r.Delay == nil && !r.Relay) {
			t.Errorf("%s %q: no cause or no limit", r.Hazard, r.Name)
		}
		for _, a := range r.By {
			faults[a.Fault] = true
		}
		if r.Hazard > last {
			last = r.Hazard
		}
	}
	for _, f := range plant.Faults() {
		if !faults[f.Name] {
			t.Errorf("no row plays %s", f.Name)
		}
	}
	for _, e := range NotHere() {
		if played[e.Hazard] {
			t.Errorf("%s is played, and said not to be", e.Hazard)
		}
		played[e.Hazard] = true
		if e.By != "" {
			checkTest(t, e)
		}
	}
	for i := 1; i <= Total; i++ {
		id := fmt.Sprintf("H%02d", i)
		if !played[id] {
			t.Errorf("%s is neither played nor named as not played", id)
		}
		delete(played, id)
	}
	for id := range played {
		t.Errorf("%s is no hazard of the list", id)
	}
}

func checkTest(t *testing.T, e Elsewhere) {
	t.Helper()
	pkg, name, _ := strings.Cut(e.By, ".")
	files, err := filepath.Glob(filepath.Join("../../../..", pkg, "*_test.go"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		src, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if regexp.MustCompile(`func ` + name + `\(`).Match(src) {
			return
		}
	}
	t.Errorf("%s: there is no test %s", e.Hazard, e.By)
}

func TestPairs(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	n := len(plant.Faults())
	if got := len(AllPairs()); got != n*(n-1)/2 {
		t.Errorf("%d pairs of %d faults", got, n)
	}
	res, err := Pairs(context.Background(), bench("heron-1000", "harbour-medium"),
		[]Pair{{"contactor_welded", "cover_open"}, {"drum_stall", "bean_probe_open"}, {"air_lost", "air_heater_weak"}})
	if err != nil || res.Survived != 3 || res.Made != 3 {
		t.Errorf("%+v, error %v", res, err)
	}
	// A fault that leaves heat on, and is said to demand it off, is not survived.
	f, err := playPair(context.Background(), bench("heron-1000", "harbour-medium"), Pair{"coverless", "x"}, nil)
	if err != nil || f == nil {
		t.Errorf("a pair of unknown faults is survived: error %v", err)
	}
	demands := map[string]Row{"exhaust_probe_open": {LimitS: 1}}
	f, err = playPair(context.Background(), bench("heron-1000", "harbour-medium"), Pair{"belt_slip", "exhaust_probe_open"}, demands)
	if err != nil || f == nil || !strings.Contains(f.Why, "demands it off") {
		t.Errorf("%+v, error %v", f, err)
	}
	if (Pair{"contactor_welded", "radiant_stuck_on"}).switchable() || (Pair{"foreign_master", "contactor_welded"}).limit() == "" || (Pair{"bean_probe_drift", "cover_open"}).blind() || !(Pair{"contactor_welded", "drum_stall"}).switchable() {
		t.Error("wrong about what can be switched off")
	}
}

// short makes batches that are soon dropped and cool.
func short(b Bench) Bench {
	recipe := b.Recipe
	b.Recipe = func() (*profiles.Recipe, error) {
		r, err := recipe()
		r.Drop.LatestS, r.CoolS = 300, 20
		return r, err
	}
	return b
}

func TestNuisance(t *testing.T) {
	t.Parallel()
	res, err := Nuisance(context.Background(), []Bench{short(bench("heron-1000", "harbour-medium")), short(bench("lark-300", "window-stages"))}, 3)
	if err != nil || res.Runs != 3 || res.Roasted != 3 || len(res.Trips) != 0 {
		t.Errorf("%+v, error %v", res, err)
	}
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Rows(ctx, bench("heron-1000", "harbour-medium"), Table(), true); err == nil {
		t.Error("a campaign that was called off reports no error")
	}
}
