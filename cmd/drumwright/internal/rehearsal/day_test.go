package rehearsal

import (
	"context"
	"testing"

	"drumwright/control/plant/registers"
	"drumwright/io/record"
	"drumwright/profiles"
)

func load(t testing.TB, machine, recipe string) (*profiles.Machine, *profiles.Recipe) {
	t.Helper()
	data, ok := profiles.Example("machines/" + machine)
	if !ok {
		t.Fatalf("no example machine %s", machine)
	}
	m, err := profiles.ParseMachine(machine, data)
	if err != nil {
		t.Fatal(err)
	}
	data, ok = profiles.Example("recipes/" + recipe)
	if !ok {
		t.Fatalf("no example recipe %s", recipe)
	}
	r, err := profiles.ParseRecipe(recipe, data)
	if err != nil {
		t.Fatal(err)
	}
	return m, r
}

func TestDay(t *testing.T) {
	m, r := load(t, "heron-1000.yaml", "harbour-medium.yaml")
	res, err := Run(context.Background(), Plan{Machine: m, Recipe: r, Seed: 1, Batches: 2, Mismatch: registers.Drawn(1),
		Tell: func(s *record.Scan, e record.Event) {
			t.Logf("%8.1f %-12s %-10s %-14s %s", s.ScanS, s.State, e.Kind, e.Name, e.Text)
		}})
	if res != nil {
		t.Logf("%+v", *res)
	}
	if err != nil {
		t.Fatal(err)
	}
}
