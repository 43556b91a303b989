package control

import (
	"strings"
	"testing"

	"drumwright/control/batch"
	"drumwright/control/learn"
	"drumwright/io/record"
)

// A recipe beyond the machine is loaded, and said to be so in the answer, in an
// event and in every record until another is loaded.
func TestForecast(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Ready)
	load := Command{Command: record.Command{Kind: record.LoadRecipe, Local: true}, Loaded: g.recipe, Forecast: record.Forecast{Made: true, WorstC: 4.5, Why: "too steep"}}
	a := g.ask(load)
	if !a.Accepted || !strings.Contains(a.Reason, "beyond this machine: too steep") || !g.has(record.Note, "beyond-reach") {
		t.Errorf("%+v, %v", a, g.events)
	}
	g.run(1)
	if g.rec.Forecast != load.Forecast {
		t.Errorf("record has %+v", g.rec.Forecast)
	}
	g.events = nil
	load.Forecast = record.Forecast{Made: true, Reachable: true, DropS: 620}
	if a := g.ask(load); a.Reason != "recipe "+g.recipe.Name+" loaded" || g.has(record.Note, "beyond-reach") || g.rec.Forecast.DropS != 620 {
		t.Errorf("%+v, %v", a, g.rec.Forecast)
	}
	lessons := Command{Command: record.Command{Kind: record.Learned, Local: true}, Lessons: &learn.Lessons{Recipe: g.recipe.Name}}
	if g.ask(lessons); g.rec.Forecast.DropS != 620 {
		t.Errorf("lessons without a forecast left %+v", g.rec.Forecast)
	}
	lessons.Forecast = record.Forecast{Made: true, Reachable: true, DropS: 620, FirstCrackS: 500, FirstCrackSdS: 9}
	if g.ask(lessons); g.rec.Forecast != lessons.Forecast {
		t.Errorf("what was learned left %+v", g.rec.Forecast)
	}
	lessons.Lessons, lessons.Forecast.DropS = &learn.Lessons{Recipe: "another"}, 1
	if g.ask(lessons); g.rec.Forecast.DropS != 620 {
		t.Errorf("lessons of another recipe left %+v", g.rec.Forecast)
	}
	load.Forecast = record.Forecast{}
	if g.ask(load); g.rec.Forecast.Made {
		t.Error("a forecast of another recipe")
	}
}
