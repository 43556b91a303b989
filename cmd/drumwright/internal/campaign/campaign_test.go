package campaign

import (
	"context"
	"os"
	"testing"

	"drumwright/profiles"
)

func bench(t testing.TB, machine, recipe string) Bench {
	t.Helper()
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

func TestScratch(t *testing.T) {
	rows := Table()
	if want := os.Getenv("ROW"); want != "" {
		var some []Row
		for _, r := range rows {
			if r.Hazard == want {
				some = append(some, r)
			}
		}
		rows = some
	}
	m := os.Getenv("MACH")
	rec := "harbour-medium"
	if m == "" {
		m = "heron-1000"
	} else {
		rec = "window-stages"
	}
	res, err := Rows(context.Background(), bench(t, m, rec), rows, os.Getenv("QUICK") != "")
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range res {
		t.Logf("%v %s %-8s %-45s lim %6.1f got %6.2f %s %s %s", r.Pass, r.Row, r.Moment, r.Name, r.LimitS, r.MeasuredS, r.Cause, r.SafeState, r.Why)
	}
}
