package profiles_test

import (
	"strings"
	"testing"

	"drumwright/profiles"
)

func shipped(t *testing.T, name string) []byte {
	t.Helper()
	text, ok := profiles.Example("recipes/" + name + ".yaml")
	if !ok {
		t.Fatalf("no recipe %s is shipped", name)
	}
	return text
}

// A recipe of a roast asks for what was roasted and keeps the rest.
func TestRecipeFromRoast(t *testing.T) {
	curve := []profiles.CurvePoint{{AtS: 120, Bean: 95.5}, {AtS: 240, Bean: 140}, {AtS: 400, Bean: 178}, {AtS: 560, Bean: 207.25}}
	for _, name := range profiles.ExampleNames() {
		name, ok := strings.CutPrefix(name, "recipes/")
		if !ok {
			continue
		}
		name = strings.TrimSuffix(name, ".yaml")
		was, err := profiles.ParseRecipe(name, shipped(t, name))
		if err != nil {
			t.Fatal(err)
		}
		text, err := profiles.FromRoast(shipped(t, name), "of batch 7", "as roasted", curve, 207)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		r, err := profiles.ParseRecipe("new", text)
		if err != nil {
			t.Fatal(err)
		}
		if r.Name != "of batch 7" || r.Note != "as roasted" || len(r.Curve) != 4 || r.Curve[3].Bean != 207.3 && r.Curve[3].Bean != 207.2 || *r.Drop.Bean != 207 || r.Charge != was.Charge || r.Drop.LatestS != was.Drop.LatestS {
			t.Errorf("%s: %+v", name, r)
		}
		for _, s := range r.Stages {
			if s.Inlet != nil {
				t.Errorf("%s: a stage at %v still sets the inlet air", name, s.When)
			}
		}
		if !strings.Contains(string(text), "# green mass") && strings.Contains(string(shipped(t, name)), "# green mass") {
			t.Errorf("%s: comments are lost: %s", name, text)
		}
	}
	if _, err := profiles.FromRoast(shipped(t, "harbour-medium"), "x", "", curve[:2], 150); err == nil || !strings.Contains(err.Error(), "4 to 64") {
		t.Errorf("two points make a recipe: %v", err)
	}
}

func TestAdvice(t *testing.T) {
	good := string(shipped(t, "harbour-medium"))
	for _, c := range []struct{ name, from, to, want string }{
		{"as shipped", "", "", ""},
		{"no moisture", "  moisture: 11 %", "  #", "moisture is not stated"},
		{"the rise grows", "{at: 5 min, bean: 155.2 °C}", "{at: 5 min, bean: 151.2 °C}", "the rise grows from 12.0 to 17.4 K/min"},
		{"late", "latest: 14 min", "latest: 20 min", "heat may stay on for 9 min 30 s"},
		{"one end", "  loss: 16 %                # estimated loss reaches\n  after_first_crack: 3 min", "  #", "only the bean probe ends this roast"},
	} {
		text := good
		if c.from != "" {
			if text = strings.Replace(good, c.from, c.to, 1); text == good {
				t.Fatalf("%s: %q is not in the recipe", c.name, c.from)
			}
		}
		r, err := profiles.ParseRecipe("r", []byte(text))
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		var all []string
		for _, a := range profiles.Advise(r) {
			all = append(all, a.String())
		}
		if got := strings.Join(all, "\n"); c.want == "" && got != "" || !strings.Contains(got, c.want) || c.want != "" && !strings.Contains(got, "line ") {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// 212 °F are 100 °C by definition; 392 °F are 200 °C (NIST SP 811, B.8).
func TestConvertedTemperatures(t *testing.T) {
	text := strings.NewReplacer("inlet: 203 °C", "inlet: 392 °F", "when: bean 140 °C", "when: bean 284 F").Replace(string(shipped(t, "harbour-medium")))
	r, err := profiles.ParseRecipe("r", []byte(text))
	if err != nil || r.Charge.Air != 200 {
		t.Fatalf("%v, %v", r, err)
	}
	list := profiles.ConvertedIn([]byte(text))
	if len(list) != 2 || list[0].Key != "charge.inlet" || list[0].Understood != "200.0 °C" || list[1].Key != "stages[2].when" || list[1].Understood != "140.0 °C" {
		t.Errorf("%v", list)
	}
}
