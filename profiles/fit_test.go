package profiles_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drumwright/profiles"
)

func changed(t testing.TB, file, old, text string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(testFiles, file))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(data), old) {
		t.Fatalf("%s has no %q", file, old)
	}
	return strings.Replace(string(data), old, text, 1)
}

func TestShippedRecipesFitTheirMachines(t *testing.T) {
	for _, c := range []struct{ recipe, machine string }{
		{"harbour-medium", "heron-1000"}, {"harbour-bright", "heron-1000"}, {"window-stages", "lark-300"},
	} {
		if err := profiles.Fit(recipe(t, c.recipe), machine(t, c.machine)); err != nil {
			t.Error(err)
		}
	}
	r := recipe(t, "window-stages")
	if r.Charge.Green != 0.3 || r.Stages[0].OverS != 300 || *r.Stages[0].Inlet != 318 || r.Stages[4].When.Kind != profiles.AfterCrack || !r.Charge.MoistureKnown {
		t.Errorf("window-stages is read as %+v", r)
	}
}

func TestMoistureLeftOutIsLessSure(t *testing.T) {
	r, err := profiles.ParseRecipe("r.yaml", []byte(changed(t, "small-recipe.yaml", "", "")))
	if err != nil || r.Charge.Moisture != 0.11 || r.Charge.MoistureKnown {
		t.Errorf("got %+v, %v; want 11 %%, not known", r.Charge, err)
	}
}

// Each line is a recipe that is sound by itself and does not suit the small
// machine. The air heater's reach is 4 kW × 95 % over 40 kg/h × 1.02 kJ/(kg K),
// 335 K above a room of 20 °C; over 48 kg/h, 279 K (worked out by hand).
func TestFitRefuses(t *testing.T) {
	m := variant(t, "", "")
	for _, c := range []struct{ file, old, text, want string }{
		{"small-recipe.yaml", "green: 1 kg", "green: 300 g", "r.yaml:2: charge.green: found 300 g; allowed: 400 g to 1.25 kg on wren"},
		{"small-recipe.yaml", "green: 1 kg", "green: 2 kg", "charge.green: found 2 kg"},
		{"small-recipe.yaml", "inlet: 203 °C", "inlet: 340 °C", "charge.inlet: found 340 °C; allowed: 120 °C to 320 °C"},
		{"small-recipe.yaml", "inlet: 203 °C", "inlet: 100 °C", "charge.inlet: found 100 °C"},
		{"small-recipe.yaml", "skin: 180 °C}", "skin: 290 °C}", "charge.skin: found 290 °C; allowed: up to loops.base.max_set of the machine, 280 °C"},
		{"small-recipe.yaml", "skin: 210 °C", "skin: 290 °C", "r.yaml:9: stages[1].skin: found 290 °C"},
		{"small-recipe.yaml", "skin: 210 °C", "flow: 60 kg/h", "stages[1].flow: found 60 kg/h; allowed: 10 kg/h to 48 kg/h"},
		{"small-recipe.yaml", "skin: 210 °C", "flow: 5 kg/h", "stages[1].flow: found 5 kg/h"},
		{"small-recipe.yaml", "skin: 180 °C}", "skin: 180 °C, flow: 50 kg/h}", "charge.flow: found 50 kg/h"},
		{"small-recipe.yaml", "drop:", "drum_speed: [{loss: 0 %, speed: 500 mm/s}]\ndrop:", "drum_speed[1].speed: found 500 mm/s; allowed: 132 to 462 mm/s"},
		{"small-recipe.yaml", "bean: 207 °C}", "bean: 236 °C}", "bean_curve[4].bean: found 236 °C; allowed: less than limits.bean_heat_off of the machine, 235 °C"},
		{"small-stages.yaml", "bean: 205 °C", "bean: 235 °C", "drop.bean: found 235 °C"},
		{"small-stages.yaml", "inlet: 300 °C, over", "inlet: 300 °C, flow: 48 kg/h, over", "stages[1].inlet: found 300 °C at 48 kg/h; allowed: up to 299 °C"},
		{"small-recipe.yaml", "when: bean 140 °C", "when: bean 236 °C", "stages[2].when: found bean 236 °C"},
	} {
		r, err := profiles.ParseRecipe("r.yaml", []byte(changed(t, c.file, c.old, c.text)))
		if err != nil {
			t.Errorf("%s: not sound by itself: %v", c.text, err)
			continue
		}
		err = profiles.Fit(r, m)
		var faults profiles.Faults
		if !errors.As(err, &faults) || len(faults) != 1 || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want one fault with %q", c.text, err, c.want)
		}
	}
}

func TestFitWithoutAFile(t *testing.T) {
	r := profiles.Recipe{Name: "made up", Charge: profiles.Charge{Green: 9, Air: 200, Skin: 180}}
	if err := profiles.Fit(&r, variant(t, "", "")); err == nil || !strings.Contains(err.Error(), "charge.green: found 9 kg") {
		t.Errorf("got %v", err)
	}
}
