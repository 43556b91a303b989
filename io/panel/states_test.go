package panel_test

import (
	"slices"
	"testing"

	"github.com/chromedp/chromedp"

	"drumwright/control"
	"drumwright/control/plant"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

type sayer func(*floor, moment)

// theDay is a batch from the cold machine to the cold machine.
func theDay(t *testing.T, told sayer) {
	f := newFloor(t, nil, control.Restored{})
	f.run(1)
	told(f, moment{"cold, no recipe", "Off", "Load a recipe and start warming at the machine.", "",
		[]string{"Start warming: No recipe is loaded. Load one first.", "Beans are in: The drum is cold. Start warming first."}})
	f.bar = control.Bar{Warm: "the emergency stop test is overdue: do it under Machine"}
	f.give(record.LoadRecipe)
	f.run(1)
	told(f, moment{"a proof test overdue", "Off", "No new roast: the emergency stop test is overdue: do it under Machine.", "",
		[]string{"Start warming: No new roast: the emergency stop test is overdue: do it under Machine.", "Beans are in: The drum is cold. Start warming first."}})
	f.bar = control.Bar{}
	f.run(1)
	told(f, moment{"cold", "Off", "Start warming at the machine.", "Start warming (h)", []string{"Beans are in: The drum is cold. Start warming first."}})
	f.give(record.StartWarming)
	told(f, moment{"warming begins", "Warming up", "Stand clear: the drum is about to turn.", "Run down (h) · Hold here", nil})
	f.until("the forecast", 300, func(s *record.Scan) bool { return s.ReadyInS > 0 })
	told(f, moment{"warming", "Warming: ready in about {}", "Wait until drum and air are warm. Weigh the green coffee.", "Run down (h) · Hold here", nil})

	f = newFloor(t, nil, control.Restored{})
	f.run(3)
	f.give(record.LoadRecipe)
	f.do(record.Command{Kind: record.TurnDrum, SkinMMPerS: 300})
	f.run(10)
	told(f, moment{"drum turned by hand", "Drum turned by hand, no heat", "The drum is turned by hand without heat. Hands out.", "Cool: drum and air on (h) · Drum is empty (h)",
		[]string{"Start warming: Beans may still be in the drum. Let them out, then say that they are out.", "Beans are in: The drum is cold. Start warming first."}})

	f = newFloor(t, nil, control.Restored{})
	f.ready()
	told(f, moment{"ready", "Ready for beans", "Charge 1000 g of green coffee.", "Beans are in (h) · Run down (h) · Hold here", nil})
	f.bar = control.Bar{Charge: "bench exception by Ada until 18:00"}
	f.run(1)
	told(f, moment{"bench exception", "Warm, but no beans now", "Warm only to measure or to prove. Do not charge: bench exception by Ada until 18:00.", "Run down (h) · Hold here",
		[]string{"Beans are in: No new roast: bench exception by Ada until 18:00. If beans are in, heat goes off with this: let them out, then say that they are out."}})
	f.bar = control.Bar{}
	f.give(record.Hold)
	f.run(1)
	told(f, moment{"held, empty", "Held", "Heat is held. Carry on, or run down.", "Carry on (h) · Run down (h)", []string{"Beans are in: The machine is held. Carry on first."}})
	f.give(record.Resume)
	f.until("ready again", 600, in("ready"))
	f.pour()
	f.until("the gate", 30, in("charging"))
	told(f, moment{"charging", "Taking in the beans", "Let all beans in and shut the gate.", "Beans are all in · Run down (h)", []string{"Drop now: Beans are going in. Shut the charge gate first."}})
	f.until("the beans", 60, in("roasting"))
	f.run(5)
	roasting := []string{isIn, noLoad}
	told(f, moment{"roasting, settling", "Roasting, probe settling", "The beans are in: see that gate and door are shut.", "Drop now (h) · Hold here · Heat off, cool (h)", roasting})
	since := func(s float64) func(*record.Scan) bool {
		return func(r *record.Scan) bool { return r.Batch.SinceS >= s }
	}
	f.until("later", 400, since(330))
	told(f, moment{"roasting", "Roasting, on target", "Nothing to do: the beans take up heat. Weigh the next batch.", "Drop now (h) · Hold here · Heat off, cool (h) · Change remaining target", roasting})
	f.until("later", 400, since(420))
	told(f, moment{"first crack possible", "Roasting, on target", "Nothing to do: the beans take up heat. Weigh the next batch.", "Drop now (h) · Hold here · Heat off, cool (h) · Change remaining target · First crack heard", roasting})
	f.until("later", 400, since(500))
	told(f, moment{"first crack due", "Roasting, on target", "First crack is expected: listen, and note it when it comes.", "First crack heard · Drop now (h) · Hold here · Heat off, cool (h) · Change remaining target", roasting})
	f.give(record.FirstCrack)
	f.run(5)
	told(f, moment{"developing", "Roasting, {} since first crack", "First crack is noted. Get ready for the drop.", "Drop now (h) · Hold here · Heat off, cool (h) · Take back first crack · Change remaining target", roasting})
	left := func(s float64) func(*record.Scan) bool {
		return func(r *record.Scan) bool { return r.Batch.DropDueS-r.Batch.SinceS <= s }
	}
	f.until("the drop comes near", 200, left(34))
	near := []string{isIn, noLoad, late}
	told(f, moment{"drop near", "Drop in about {}", "Drop soon: go to the discharge door.", "Drop now (h) · 15 s longer · Hold here · Heat off, cool (h) · Take back first crack", near})
	f.until("the drop comes near", 60, left(8))
	told(f, moment{"drop due", "Drop in {}", "Drop any moment: hand on the discharge door.", "Drop now (h) · 15 s longer · Hold here · Heat off, cool (h) · Take back first crack", near})
	f.until("the drop", 60, in("discharging"))
	f.run(1)
	out := []string{"Beans are in: Beans are going out. Let them all out first."}
	told(f, moment{"discharging", "Beans going into the tray", "Open the discharge door and let the beans out.", "Drum is empty · Run down (h)", out})
	f.drop()
	f.run(3)
	told(f, moment{"door open", "Beans going into the tray", "Shut the discharge door when the drum is empty.", "Drum is empty · Run down (h)", out})
	f.until("the tray", 120, in("cooling"))
	f.run(2)
	told(f, moment{"cooling", "Beans cooling in the tray", "Stir until the beans are cool, then empty the tray.", "Beans are cold · Run down (h) · Hold here", []string{"Beans are in: Beans cool in the tray. Empty it first."}})
	f.give(record.CoolDone)
	f.give(record.Stop)
	f.run(1)
	told(f, moment{"run-down", "Cooling down", "Leave drum and air running until the machine is cool.", "Warm again (h)", []string{"Beans are in: The machine is cooling down. Start warming first."}})
}

// theRoast is what can come over a roast without a trip.
func theRoast(t *testing.T, told sayer) {
	roasting := []string{isIn, noLoad}
	const calls = " · Acknowledge · Silence horn"
	nothing := "Nothing to do: the beans take up heat. Weigh the next batch."
	off := func(k float64) func(*record.Scan) bool {
		return func(s *record.Scan) bool { return (s.Image.In[point.Bean].V-s.Bean.TargetC)/k > 1 }
	}
	f := newFloor(t, nil, control.Restored{})
	f.roast(200)
	f.do(record.Command{Kind: record.SetManual, Loop: "air", Value: 0.95})
	f.until("above", 200, off(2))
	told(f, moment{"above target", "Roasting, {} above target", nothing, "Drop now (h) · Hold here · Heat off, cool (h) · Change remaining target", roasting})
	f.do(record.Command{Kind: record.SetManual, Loop: "air", Value: 0.1})
	f.until("below", 200, off(-2))
	told(f, moment{"below target", "Roasting, {} below target", nothing, "Drop now (h) · Hold here · Heat off, cool (h) · Change remaining target", roasting})

	f = newFloor(t, nil, control.Restored{})
	f.roast(120)
	f.fault("air_heater_weak")
	f.fault("radiant_broken")
	f.until("late", 300, func(s *record.Scan) bool { return s.Bean.LateS > 6 })
	f.run(1)
	told(f, moment{"out of reach", "Roasting, target out of reach", nothing, "Drop now (h) · Hold here · Heat off, cool (h) · Change remaining target" + calls,
		append(roasting, "Accept the later drop: The later drop would come after the recipe's latest time. Aim for a lower drop, or drop by hand.")})

	f = newFloor(t, nil, control.Restored{})
	f.roast(300)
	f.fault("exhaust_probe_open")
	f.run(4)
	told(f, moment{"a probe lost that a roast can end without", "Roasting, on target", nothing, "Drop now (h) · Hold here · Heat off, cool (h) · Change remaining target" + calls, roasting})
	f.give(record.Hold)
	f.run(1)
	told(f, moment{"held, beans in", "Held: beans in the drum", "Heat is held. Carry on, or drop.", "Carry on (h) · Drop now (h) · Run down (h)" + calls, []string{"Beans are in: The machine is held. Carry on first."}})
	f.give(record.Resume)
	f.run(2)
	told(f, moment{"heat held back", "Roasting, heat is held back", "Heat is held back: exhaust has no good value.", "Drop now (h) · Hold here · Heat off, cool (h) · Change remaining target" + calls, roasting})

	f = newFloor(t, func(_ *profiles.Machine, r *profiles.Recipe) { r.Drop.Operator = true }, control.Restored{})
	f.roast(540)
	f.give(record.FirstCrack)
	f.until("overdue", 300, func(s *record.Scan) bool { return s.Batch.DropDueS > 0 && s.Batch.SinceS > s.Batch.DropDueS+5 })
	told(f, moment{"drop overdue", "Drop now: {} past the end", "Drop now: the recipe's drop is reached.", "Drop now (h) · Hold here · Heat off, cool (h) · Take back first crack",
		append(roasting, late, "15 s longer: The drop is reached, and nothing but you lets the beans out. Drop now.")})
}

// theTrips are the safe states, each by a fault of the machine.
func theTrips(t *testing.T, told sayer) {
	const drop = "Heat is off. Drop the beans when you are ready and let the machine cool."
	const offered = "Acknowledge · Silence horn · Beans are out (h)"
	for _, c := range []struct {
		fault, also string
		m           moment
	}{
		{"bean_probe_open", "", moment{"S1, bean probe open", "Heat off: the bean probe gives no usable value", drop, offered,
			[]string{"Reset trip: The cause still stands. The bean probe gives no usable value. Check probe and plug.", stands}}},
		{"bean_probe_frozen", "", moment{"S1, bean probe frozen", "Heat off: the bean probe does not move at all", drop, offered,
			[]string{"Reset trip: The cause still stands. The bean probe does not move at all. Check converter and wiring.", stands}}},
		{"cover_open", "contactor_welded", moment{"S1, contactor welded", "Heat asked off, not confirmed: a cover or guard is open",
			"Isolate the heaters by hand if the way there is safe. Drop the beans when you are ready and let the machine cool.", offered,
			[]string{"Reset trip: The cause still stands. The heat contactor stays closed though it is told to open. Isolate the mains by hand.", stands}}},
		{"collector_fire", "", moment{"S2", "Suspected fire", "Suspected fire. Do not open drum, door or collector. Do not restart the air. Raise the alarm, isolate the mains if that is safe, follow the shop's fire plan and call the fire service if it is not clearly out.", offered,
			[]string{"Reset trip: The cause still stands. The chaff collector becomes hot fast. Follow the fire plan; keep everything shut.", stands}}},
		{"drum_stall", "", moment{"S3", "Drum stopped, heat off", "The drum stands. Empty it by the written procedure; hands out until the drive is isolated.", "Acknowledge · Silence horn · Reset trip (h) · Beans are out (h)", []string{stands}}},
		{"air_lost", "", moment{"S4", "Heat off: no air flow", "The air has failed. Drop the beans; look at blower, filter and duct.", offered,
			[]string{"Reset trip: The cause still stands. The blower is told to run but no air is proven. Look at blower, filter and duct.", stands}}},
		{"co_alarm", "", moment{"S5", "Cooling down: the carbon monoxide or smoke alarm of the room sounds", "The room's alarm sounds. Leave the room, let fresh air in and call for help if anybody feels ill. The machine cools by itself.", offered,
			[]string{"Reset trip: The cause still stands. The carbon monoxide or smoke alarm of the room sounds. Leave the room, let air in, look at the exhaust before going on.", stands}}},
		{"estop_pressed", "", moment{"S6", "Emergency stop is pressed", "Emergency stop. Hot beans may be in the drum: empty it by hand as written.", offered,
			[]string{"Reset trip: The cause still stands. The emergency stop is pressed or its chain is open. Look at the machine, release the stop, reset.", stands}}},
	} {
		f := newFloor(t, nil, control.Restored{})
		f.roast(300)
		if c.also != "" {
			f.fault(c.also)
		}
		f.fault(c.fault)
		f.until(c.m.name, 30, in("tripped"))
		f.run(3)
		told(f, c.m)
		if c.fault != "bean_probe_open" {
			continue
		}
		f.give(record.Acknowledge)
		f.mend(c.fault)
		f.run(15)
		told(f, moment{"reset allowed", c.m.headline, drop, "Reset trip (h) · Beans are out (h)", []string{stands}})
		f.give(record.ResetTrip)
		f.run(2)
		told(f, moment{"reset, beans in", "Cooling down", "Beans may still be in the drum: let them out, then say that they are out.", "Drum is empty (h)",
			[]string{"Warm again: Beans may still be in the drum. Let them out, then say that they are out.", "Beans are in: The machine is cooling down. Start warming first."}})
	}
	f := newFloor(t, func(_ *profiles.Machine, r *profiles.Recipe) { r.Drop.LatestS = 360 }, control.Restored{})
	f.roast(300)
	f.fault("cooling_fan_failed")
	f.until("the fan", 90, in("tripped"))
	f.run(3)
	told(f, moment{"S1, tray fan dead", "Heat off: the cooling fan is told to run but is not proven", drop, offered,
		[]string{"Reset trip: The cause still stands. The cooling fan is told to run but is not proven. Spread the beans by hand; check the fan.", stands}})
}

// theRestarts are the ways in which a controller can come to itself.
func theRestarts(t *testing.T, told sayer) {
	const offered = "Acknowledge · Silence horn · Reset trip (h) · Cool: drum and air on (h)"
	start := func(r control.Restored, hot, running bool) *floor {
		f := newFloor(t, nil, r)
		if hot {
			f.hot(running)
			f.hand(func(m *plant.Machine) error { return m.Charge(1, 0.11) })
		}
		f.run(3)
		return f
	}
	const rest = "Restarted; heat stays off"
	told(start(control.Restored{OpenBatch: true}, true, false), moment{"S7 in a batch, standing", rest, "The controller restarted in a batch, which does not go on, and nothing turns. Look into the drum. Cool, or the reset button, starts drum and air after the horn, without heat. Let the beans out, then say that they are out.", offered + " · Beans are out (h)", []string{stands}})
	told(start(control.Restored{}, true, false), moment{"S7 hot, standing", rest, "The controller restarted with a hot machine and nothing turns. Look first. Cool, or the reset button, starts drum and air after the horn, without heat.", offered, []string{stands}})
	told(start(control.Restored{}, true, true), moment{"S7 hot, turning", rest, "The controller restarted with a hot machine. What turned goes on turning; heat is off. Look first, then cool with drum and air, here or by the reset button.", offered, []string{stands}})
	told(start(control.Restored{Lost: true}, false, false), moment{"S7, memory lost", rest, "The controller restarted and its memory is lost. Look at the machine, then reset with your name.", offered, []string{stands}})
}

// A bean probe that fails on the machine looks like it before anything has tripped: one
// that is open gives no number, one that jumps reads well and is in doubt by its alarm;
// and what a frozen one has read last is told as doubtful.
func TestFailingProbeLooksFailing(t *testing.T) {
	peertest.OnceIsEnough(t)
	b := openBrowser(t)
	for _, c := range []struct {
		fault string
		so    func(*record.Scan) bool
		shown string
	}{
		{"", func(*record.Scan) bool { return true }, `/^\d+\.\d/.test(big.textContent) && !big.classList.contains('hollow')`},
		{"bean_probe_open", func(s *record.Scan) bool { return !s.Image.In[point.Bean].Usable() }, `big.textContent === 'no reading' && big.classList.contains('hollow')`},
		{"bean_probe_noise", func(s *record.Scan) bool {
			return slices.ContainsFunc(s.Alarms.List[:s.Alarms.Num], func(a record.Alarm) bool { return a.ID == "probe_noise" && a.State == record.AlarmUnacknowledged })
		}, `/^≈ \d+\.\d/.test(big.textContent) && big.classList.contains('hollow') && document.querySelector('#headline').textContent === 'Roasting, bean probe in doubt'`},
	} {
		f := newFloor(t, nil, control.Restored{})
		f.roast(300)
		if c.fault != "" {
			f.fault(c.fault)
		}
		f.until(c.fault, 20, func(s *record.Scan) bool { return s.State == "roasting" && c.so(s) })
		b.show(c.fault, &f.last)
		b.until(`(big => ` + c.shown + `)(document.querySelector('.bignum'))`)
		b.shots("failing-" + c.fault)
		b.do(chromedp.EmulateViewport(1280, 800))
	}
	f := newFloor(t, nil, control.Restored{})
	f.roast(300)
	f.fault("bean_probe_frozen")
	f.until("the trip", 30, in("tripped"))
	b.show("frozen", &f.last)
	b.until(`/^Bean probe \d+\s°C \(in doubt\)/.test(document.querySelector('.outlook p').textContent)`)
}
