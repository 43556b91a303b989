package batch

import (
	"testing"

	"drumwright/io/peertest"
	"drumwright/io/record"
)

// node is the sequence together with what a gate and a machine are reduced to.
type node struct {
	state   State
	latched bool // the gate has a standing trip
	anew    bool // heat must be asked for anew
	beans   bool
	tray    bool // beans that are not cool lie in the tray
	hot     bool
	turned  bool // a cold drum is turned by hand
	heat    bool // the contactor is closed
}

// wishesHeat are the states in which control asks for heat.
func wishesHeat(s State) bool {
	return s == Warming || s == Ready || s == Charging || s == Roasting || s == Cooling
}

// ask is a command with the request that it makes.
type ask struct {
	kind record.Kind
	make func(*Facts)
}

var asks = []ask{
	{"", func(*Facts) {}},
	{record.StartWarming, func(f *Facts) { f.AskWarm = true }}, {record.Charged, func(f *Facts) { f.AskCharged = true }},
	{record.DropNow, func(f *Facts) { f.AskDrop = true }}, {record.Dropped, func(f *Facts) { f.AskDropped = true }},
	{record.CoolDone, func(f *Facts) { f.AskCoolDone = true }}, {record.NextBatch, func(f *Facts) { f.AskNext = true }},
	{record.Hold, func(f *Facts) { f.AskHold = true }}, {record.Resume, func(f *Facts) { f.AskResume = true }},
	{record.Stop, func(f *Facts) { f.AskStop = true }}, {record.TurnDrum, func(*Facts) {}},
}

var sights = []func(*Facts){
	func(*Facts) {},
	func(f *Facts) { f.Soaked = true }, func(f *Facts) { f.LostWarm = true }, func(f *Facts) { f.GateOpen = true },
	func(f *Facts) { f.Plunge = true }, func(f *Facts) { f.ChargeLimit = true }, func(f *Facts) { f.DropDue = true },
	func(f *Facts) { f.DoorOpen = true }, func(f *Facts) { f.DoorSeen = true },
	func(f *Facts) { f.TrayCool = true }, func(f *Facts) { f.Cool = true }, func(f *Facts) { f.WarmLimit = true },
	func(f *Facts) { f.Ignored = true }, func(f *Facts) { f.Unsaid = true },
	func(f *Facts) { f.NoCharge = true }, func(f *Facts) { f.NoWarm, f.NoCharge = true, true },
}

// step is one scan: a reset is heard, the sequence moves, the gate judges.
func step(n node, cause, reset, gateMachine, hasDoor, hot bool, a ask, see ...func(*Facts)) (next node, heat bool) {
	next = n
	if reset && !cause {
		next.latched = false
	}
	next.hot = hot
	f := Facts{InS: 1, Tripped: next.latched || n.latched && n.state != Tripped, BeansIn: n.beans, TrayHot: n.tray, HasRecipe: true, Hot: hot,
		ChargeByGate: gateMachine, ChargeByProbe: !gateMachine, HasDoor: hasDoor}
	for _, s := range see {
		s(&f)
	}
	f.Cool = f.Cool && !hot
	if a.kind == record.Stop && n.turned { // it ends the turning and nothing else
		next.turned = false
	} else {
		a.make(&f)
	}
	t := Next(n.state, &f)
	if t != nil {
		next.state = t.To
	}
	if a.kind == record.TurnDrum && n.state == Cold && !next.latched && !hot && !f.DoorOpen && !f.GateOpen && !n.heat {
		next.turned, next.beans = true, true
	}
	switch {
	case next.state == Roasting, t != nil && (t.Name == ChargeBarred || t.Name == UnsaidLate):
		next.beans = true
	case n.state == Discharging && next.state == Cooling, n.state != Roasting && next.beans && (f.AskDropped || f.DoorOpen):
		next.beans, next.tray = false, true
	}
	if f.TrayCool || n.state == Cooling && next.state == Warming || t != nil && t.Name == CooledBarred {
		next.tray = false
	}
	next.turned = next.turned && next.state == Cold && next.beans && !next.latched && !hot && !f.DoorOpen && !f.GateOpen
	// The gate, on the inputs of this scan.
	next.latched = next.latched || cause
	wish := wishesHeat(next.state) && !(next.state == Cooling && f.NoWarm)
	switch {
	case !wish:
		next.anew = false
	case next.latched:
		next.anew = true
	}
	barred := f.NoWarm && !next.beans && next.state != Charging && next.state != Discharging && !n.heat
	next.heat = wish && !next.latched && !next.anew && !barred
	return next, next.heat
}

// All that can come to be, one scan after the other: heat never with a cause
// standing or latched, nor after a trip without being asked for anew; every trip
// leads into the tripped state in the next scan; and from everywhere there is a
// way to a cold, empty machine and to heat.
func TestEverythingThatCanCome(t *testing.T) {
	peertest.OnceIsEnough(t)
	bools := []bool{false, true}
	start := node{state: Cold, anew: true}
	seen := map[node]bool{start: true}
	back := map[node]map[node]bool{} // the nodes that lead to each
	heated := map[node]bool{}
	queue := []node{start}
	scans := 0
	for len(queue) > 0 {
		n := queue[0]
		queue = queue[1:]
		for _, cause := range bools {
			for _, reset := range bools {
				for _, hot := range bools {
					for kind := range 4 {
						for _, ask := range asks {
							for i, a := range sights {
								for _, b := range sights[i:] {
									scans++
									next, heat := step(n, cause, reset, kind&1 == 0, kind&2 == 0, hot, ask, a, b)
									if heat && (cause || next.latched) {
										t.Fatalf("heat in %+v from %+v, cause %v", next, n, cause)
									}
									if heat && n.latched && wishesHeat(n.state) {
										t.Fatalf("heat comes back by a reset in %+v", n)
									}
									if n.latched && (!reset || n.state != Tripped) && next.state != Tripped {
										t.Fatalf("latched in %+v, then %s", n, next.state)
									}
									if n.state == Tripped && wishesHeat(next.state) {
										t.Fatalf("out of a trip straight into %s", next.state)
									}
									if next.turned && (heat || next.state != Cold || !next.beans) {
										t.Fatalf("turned by hand in %+v from %+v", next, n)
									}
									if heat && !ask.kind.LocalOnly() {
										if _, without := step(n, cause, reset, kind&1 == 0, kind&2 == 0, hot, asks[0], a, b); !without {
											t.Fatalf("heat by %s from afar in %+v", ask.kind, n)
										}
									}
									if heat && !n.heat && ask.kind == record.Stop {
										t.Fatalf("stop begins heat in %+v", n)
									}
									if heat {
										heated[next] = true
									}
									if !seen[next] {
										seen[next] = true
										queue = append(queue, next)
									}
									if back[next] == nil {
										back[next] = map[node]bool{}
									}
									back[next][n] = true
								}
							}
						}
					}
				}
			}
		}
	}
	reaches := func(name string, goals func(node) bool) {
		ok := map[node]bool{}
		var q []node
		for n := range seen {
			if goals(n) {
				ok[n] = true
				q = append(q, n)
			}
		}
		for len(q) > 0 {
			n := q[0]
			q = q[1:]
			for p := range back[n] {
				if !ok[p] {
					ok[p] = true
					q = append(q, p)
				}
			}
		}
		for n := range seen {
			if !ok[n] {
				t.Errorf("no way from %+v to %s", n, name)
			}
		}
	}
	reaches("a cold, empty machine", func(n node) bool { return n.state == Cold && !n.beans && !n.tray && !n.latched })
	reaches("heat", func(n node) bool { return heated[n] })
	for s := range NumStates {
		found := false
		for n := range seen {
			found = found || n.state == s
		}
		if !found {
			t.Errorf("%s is never reached", s)
		}
	}
	t.Logf("%d states explored over %d scans", len(seen), scans)
}
