package batch

import (
	"flag"
	"os"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the golden files anew")

// walk is the sequence of a state under facts: one way to take each row.
var walk = []struct {
	row  string
	from State
	f    Facts
	to   State
}{
	{"trip", Cold, Facts{Tripped: true}, Tripped},
	{"trip", Roasting, Facts{Tripped: true, BeansIn: true, AskStop: true, DropDue: true}, Tripped},
	{"cool-restart", Tripped, Facts{AskStop: true}, RunDown},
	{"cool-restart", Tripped, Facts{AskStop: true, Hot: true}, RunDown},
	{"reset-hot", Tripped, Facts{Hot: true}, RunDown},
	{"reset-cold", Tripped, Facts{}, Cold},
	{"stop", Charging, Facts{AskStop: true, Plunge: true}, RunDown},
	{"stop", Held, Facts{AskStop: true, AskResume: true}, RunDown},
	{"alarm-ignored", Roasting, Facts{Ignored: true, BeansIn: true, DropDue: true}, RunDown},
	{"alarm-ignored", Held, Facts{Ignored: true, AskResume: true}, RunDown},
	{"cool", Cold, Facts{AskStop: true, Hot: true}, RunDown},
	{"warm", Cold, Facts{AskWarm: true, HasRecipe: true}, Warming},
	{"warm", RunDown, Facts{AskWarm: true, HasRecipe: true, Cool: true}, Warming},
	{"warm-cooling", RunDown, Facts{AskWarm: true, HasRecipe: true, TrayHot: true}, Cooling},
	{"charge-barred", Warming, Facts{NoCharge: true, AskCharged: true}, RunDown},
	{"charge-barred", Ready, Facts{NoCharge: true, NoWarm: true, AskCharged: true}, RunDown},
	{"charge-barred", Ready, Facts{NoCharge: true, ChargeByGate: true, GateOpen: true}, RunDown},
	{"charge-barred", Ready, Facts{NoCharge: true, ChargeByProbe: true, Plunge: true}, RunDown},
	{"charged", Charging, Facts{NoCharge: true, NoWarm: true, AskCharged: true}, Roasting},
	{"beans-in", Charging, Facts{NoCharge: true, NoWarm: true, Plunge: true}, Roasting},
	{"warm-barred", Warming, Facts{NoWarm: true, NoCharge: true, Soaked: true}, RunDown},
	{"warm-barred", Ready, Facts{NoWarm: true, NoCharge: true}, RunDown},
	{"cooled-barred", Cooling, Facts{NoWarm: true, TrayCool: true}, RunDown},
	{"cooled-barred", Cooling, Facts{NoWarm: true, AskNext: true}, RunDown},
	{"resume-roast", Held, Facts{NoWarm: true, NoCharge: true, AskResume: true, BeansIn: true}, Roasting},
	{"warm-enough", Warming, Facts{Soaked: true}, Ready},
	{"lost-warmth", Ready, Facts{LostWarm: true}, Warming},
	{"warm-limit", Ready, Facts{WarmLimit: true}, RunDown},
	{"charged", Warming, Facts{AskCharged: true}, Roasting},
	{"charged", Ready, Facts{AskCharged: true, LostWarm: true}, Roasting},
	{"charged", Charging, Facts{AskCharged: true}, Roasting},
	{"gate-open", Ready, Facts{ChargeByGate: true, GateOpen: true, LostWarm: true}, Charging},
	{"beans-in", Charging, Facts{Plunge: true, ChargeLimit: true}, Roasting},
	{"no-beans", Charging, Facts{ChargeLimit: true}, Ready},
	{"plunge", Ready, Facts{ChargeByProbe: true, Plunge: true, LostWarm: true}, Roasting},
	{"beans-unsaid", Warming, Facts{Unsaid: true}, Roasting},
	{"beans-unsaid", Ready, Facts{Unsaid: true, ChargeByGate: true}, Roasting},
	{"charge-barred", Warming, Facts{Unsaid: true, NoCharge: true}, RunDown},
	{"beans-unsaid-cooling", Cooling, Facts{Unsaid: true, TrayHot: true}, RunDown},
	{"beans-unsaid-cooling", Cooling, Facts{Unsaid: true, TrayCool: true}, RunDown},
	{"drop-asked", Roasting, Facts{AskDrop: true}, Discharging},
	{"drop-asked", Roasting, Facts{AskDropped: true, DropDue: true}, Discharging},
	{"door-open", Roasting, Facts{DoorOpen: true, DropDue: true}, Discharging},
	{"drop-due", Roasting, Facts{DropDue: true, AskHold: true}, Discharging},
	{"emptied", Discharging, Facts{AskDropped: true, InS: 0.1}, Cooling},
	{"door-shut", Discharging, Facts{HasDoor: true, DoorSeen: true}, Cooling},
	{"cooled", Cooling, Facts{TrayCool: true}, Warming},
	{"cooled", Cooling, Facts{AskCoolDone: true}, Warming},
	{"cooled", Cooling, Facts{AskNext: true}, Warming},
	{"cool-enough", RunDown, Facts{Cool: true}, Cold},
	{"hold", Warming, Facts{AskHold: true}, Held},
	{"hold", Roasting, Facts{AskHold: true}, Held},
	{"hold", Cooling, Facts{AskHold: true}, Held},
	{"resume-roast", Held, Facts{AskResume: true, BeansIn: true}, Roasting},
	{"drop-held", Held, Facts{BeansIn: true, AskDrop: true}, Discharging},
	{"drop-held", Held, Facts{BeansIn: true, DoorOpen: true}, Discharging},
	{"resume-cooling", Held, Facts{AskResume: true, TrayHot: true}, Cooling},
	{"resume", Held, Facts{AskResume: true}, Warming},
}

func TestEveryRowIsTaken(t *testing.T) {
	taken := map[string]bool{}
	for _, w := range walk {
		got := Next(w.from, &w.f)
		if got == nil || got.Name != w.row || got.To != w.to {
			t.Errorf("%s under %+v: got %+v, want %s to %s", w.from, w.f, got, w.row, w.to)
			continue
		}
		taken[w.row] = true
	}
	for i := range Table {
		if !taken[Table[i].Name] {
			t.Errorf("row %s is taken by no case", Table[i].Name)
		}
	}
}

// Nothing moves the sequence by itself but what the row of its state names.
func TestStays(t *testing.T) {
	for _, c := range []struct {
		s   State
		f   Facts
		why string
	}{
		{Cold, Facts{AskStop: true}, "a cool machine has nothing to run down"},
		{Cold, Facts{AskWarm: true}, "no recipe"},
		{Cold, Facts{AskWarm: true, HasRecipe: true, NoWarm: true}, "new roasts are held up"},
		{Cold, Facts{AskWarm: true, HasRecipe: true, Ignored: true}, "an ignored alarm is still there"},
		{RunDown, Facts{AskWarm: true, HasRecipe: true, TrayHot: true, NoWarm: true}, "new roasts are held up"},
		{Held, Facts{AskResume: true, NoWarm: true}, "new roasts are held up"},
		{Roasting, Facts{NoWarm: true, NoCharge: true, Plunge: true, GateOpen: true, ChargeByGate: true}, "a roast under way is not cut"},
		{Discharging, Facts{NoWarm: true, NoCharge: true}, "a roast under way is not cut"},
		{Cold, Facts{AskWarm: true, HasRecipe: true, BeansIn: true}, "beans in the drum"},
		{RunDown, Facts{AskWarm: true, HasRecipe: true, BeansIn: true, TrayHot: true}, "beans in the drum"},
		{RunDown, Facts{Cool: true, TrayHot: true}, "hot beans in the tray"},
		{Warming, Facts{Plunge: true, GateOpen: true, ChargeByGate: true}, "not ready"},
		{Ready, Facts{Plunge: true, ChargeByGate: true}, "the gate is to tell"},
		{Ready, Facts{GateOpen: true, ChargeByProbe: true}, "the probe is to tell"},
		{Charging, Facts{AskHold: true}, "beans are on the way"},
		{Discharging, Facts{AskDropped: true}, "the word that called for the drop does not end it in the same scan"},
		{Discharging, Facts{InS: 600}, "nothing has said that the beans are out, and the drum must not be heated again"},
		{Discharging, Facts{HasDoor: true, DoorSeen: true, DoorOpen: true}, "the door is open"},
		{Roasting, Facts{AskWarm: true, HasRecipe: true, TrayCool: true, Soaked: true, Plunge: true}, "all of other states"},
		{Held, Facts{DoorOpen: true}, "no beans to lose"},
		{Held, Facts{DropDue: true, BeansIn: true}, "held"},
		{Tripped, Facts{Tripped: true, AskStop: true, AskWarm: true, HasRecipe: true, Hot: true}, "a trip stands"},
	} {
		if got := Next(c.s, &c.f); got != nil {
			t.Errorf("%s, %s: took %s", c.s, c.why, got.Name)
		}
	}
}

// From cold every state is reached, and from every state cold is reached again.
func TestEveryStateHasAWayInAndOut(t *testing.T) {
	reach := func(start State) map[State]bool {
		seen := map[State]bool{start: true}
		for todo := []State{start}; len(todo) > 0; todo = todo[1:] {
			for i := range Table {
				if slices.Contains(Table[i].From, todo[0]) && !seen[Table[i].To] {
					seen[Table[i].To] = true
					todo = append(todo, Table[i].To)
				}
			}
		}
		return seen
	}
	for s := range NumStates {
		if !reach(Cold)[s] {
			t.Errorf("%s is never reached", s)
		}
		if !reach(s)[Cold] {
			t.Errorf("%s never leads back to cold", s)
		}
	}
}

func anyFacts(t *rapid.T) Facts {
	b := func(name string) bool { return rapid.Bool().Draw(t, name) }
	return Facts{
		InS: rapid.Float64Range(0, 100).Draw(t, "InS"), Tripped: b("Tripped"), BeansIn: b("BeansIn"), TrayHot: b("TrayHot"),
		HasRecipe: b("HasRecipe"), Hot: b("Hot"), Warm: b("Warm"), LostWarm: b("LostWarm"), Soaked: b("Soaked"), Cool: b("Cool"),
		GateOpen: b("GateOpen"), Plunge: b("Plunge"), ChargeByGate: b("ChargeByGate"), ChargeByProbe: b("ChargeByProbe"),
		ChargeLimit: b("ChargeLimit"), DropDue: b("DropDue"), DoorOpen: b("DoorOpen"),
		DoorSeen: b("DoorSeen"), HasDoor: b("HasDoor"), TrayCool: b("TrayCool"), WarmLimit: b("WarmLimit"), Ignored: b("Ignored"), NoWarm: b("NoWarm"), NoCharge: b("NoCharge"),
		AskWarm: b("AskWarm"), AskCharged: b("AskCharged"), AskDrop: b("AskDrop"), AskDropped: b("AskDropped"),
		AskCoolDone: b("AskCoolDone"), AskNext: b("AskNext"), AskHold: b("AskHold"), AskResume: b("AskResume"), AskStop: b("AskStop"),
	}
}

// What must hold whatever the facts are.
func TestRules(t *testing.T) {
	heats := func(s State) bool {
		return s == Warming || s == Ready || s == Charging || s == Roasting || s == Cooling
	}
	rapid.Check(t, func(t *rapid.T) {
		s, f := State(rapid.IntRange(0, int(NumStates)-1).Draw(t, "state")), anyFacts(t)
		got := Next(s, &f)
		to, name := s, "nothing"
		if got != nil {
			to, name = got.To, got.Name
		}
		switch {
		case f.Tripped && to != Tripped:
			t.Fatalf("%s goes to %s with a trip standing", s, to)
		case heats(to) && !heats(s) && !f.AskWarm && !f.AskResume && !(s == Discharging && to == Cooling):
			t.Fatalf("%s takes %s into heat and nobody has asked", s, name)
		case to == Warming && s != Warming && f.BeansIn && (s == Cold || s == RunDown || s == Held):
			t.Fatalf("%s takes %s with beans in the drum", s, name)
		case (f.NoWarm && (to == Warming || to == Ready && s != Charging) || f.NoCharge && to == Roasting && s != Charging && !(s == Held && f.BeansIn)) && to != s:
			t.Fatalf("%s takes %s towards a new roast though they are held up", s, name)
		case (f.NoWarm || f.NoCharge) && (s == Roasting || s == Discharging) && to == RunDown && !f.AskStop && !f.Ignored:
			t.Fatalf("%s is cut by %s", s, name)
		case f.AskStop && slices.Contains(running, s) && !f.Tripped && to != RunDown:
			t.Fatalf("%s takes %s though stop was asked", s, name)
		}
		// The two ways out of a trip, the three out of hold, exclude one another.
		open := map[string]bool{}
		for i := range Table {
			if slices.Contains(Table[i].From, s) && Table[i].guard(&f) {
				open[Table[i].Name] = true
			}
		}
		for _, group := range [][]string{{"reset-hot", "reset-cold"}, {"resume-roast", "resume-cooling", "resume"}, {"warm", "warm-cooling"},
			{"gate-open", "lost-warmth"}} {
			n := 0
			for _, row := range group {
				if open[row] {
					n++
				}
			}
			if group[0] == "gate-open" && !f.ChargeByGate {
				continue
			}
			if n > 1 {
				t.Fatalf("%s: more than one of %v is open under %+v", s, group, f)
			}
		}
	})
}

// Which request is taken in which state, with a recipe loaded and a day like
// any other.
func TestAllowed(t *testing.T) {
	asks := map[string]func(*Facts){
		"warm": func(f *Facts) { f.AskWarm = true }, "charged": func(f *Facts) { f.AskCharged = true },
		"drop": func(f *Facts) { f.AskDrop = true }, "dropped": func(f *Facts) { f.AskDropped = true },
		"cool-done": func(f *Facts) { f.AskCoolDone = true }, "next": func(f *Facts) { f.AskNext = true },
		"hold": func(f *Facts) { f.AskHold = true }, "resume": func(f *Facts) { f.AskResume = true },
		"stop": func(f *Facts) { f.AskStop = true },
	}
	want := map[State][]string{
		Cold:        {"warm", "stop"}, // stop because it is hot
		Warming:     {"charged", "hold", "stop"},
		Ready:       {"charged", "hold", "stop"},
		Charging:    {"charged", "stop"},
		Roasting:    {"drop", "dropped", "hold", "stop"},
		Discharging: {"dropped", "stop"},
		Cooling:     {"cool-done", "next", "hold", "stop"},
		RunDown:     {"warm"},
		Held:        {"drop", "dropped", "resume", "stop"},
		Tripped:     {},
	}
	for s := range NumStates {
		f := Facts{InS: 5, HasRecipe: true, Hot: true, HasDoor: true, Tripped: s == Tripped, BeansIn: s.BeansIn() || s == Held}
		for name, ask := range asks {
			if got := Allowed(s, &f, ask); got != slices.Contains(want[s], name) {
				t.Errorf("%s while %s: allowed %v", name, s, got)
			}
		}
	}
	if Allowed(Ready, &Facts{AskStop: true}, asks["hold"]) {
		t.Error("hold is allowed in the scan in which stop was")
	}
}

func TestMarkdown(t *testing.T) {
	const golden = "testdata/sequence.md"
	got := Markdown()
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the table differs from %s; if it should, run the tests with -update.\n%s", golden, got)
	}
}

func TestNames(t *testing.T) {
	seen := map[string]bool{}
	for s := range NumStates {
		if s.String() == "" || seen[s.String()] || Names()[s] != s.String() {
			t.Errorf("state %d is called %q", s, s)
		}
		seen[s.String()] = true
	}
}
