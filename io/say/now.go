package say

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"drumwright/io/point"
	"drumwright/io/record"
)

// Now is what a person reads first.
type Now struct {
	record.Stamp
	State    string    `json:"state"`    // of the sequence
	Where    string    `json:"where"`    // the state and since when, in words
	Headline string    `json:"headline"` // the state and the one fact that counts
	Outlook  []string  `json:"outlook"`  // what comes, and what the machine does
	Next     string    `json:"next"`     // what to do
	Fire     bool      `json:"fire"`     // a suspected fire: the fire screen covers all
	Settling bool      `json:"settling"` // beans are in and the probe has not settled yet
	InDoubt  bool      `json:"in_doubt"` // an alarm stands that says that the bean probe is not to be believed
	Buttons  []Button  `json:"buttons"`  // the first is the main one
	Others   []Button  `json:"others"`
	NotNow   []Refusal `json:"not_now"`
	Motion   Motion    `json:"motion"`
}

const (
	// OnTargetK is how far from the curve still counts as on target.
	OnTargetK = 1.5
	// settleS is for how long after the turn the probe says little about the
	// roast: some four time constants of a usual probe (common practice, no source).
	settleS = 60
	// startS is how long drum and air take to run before heat may come; until
	// then it is not told that it waits.
	startS = 15
	// crackMayC and crackDueC are the estimated bean temperatures from which first
	// crack can be heard at all, and is to be listened for (common practice, no
	// source).
	crackMayC = 165
	crackDueC = 188
)

// Of puts a view into words. alarms may be nil, then no cause is told in words.
func Of(v *record.View, alarms *record.AlarmsView) Now {
	n := Now{Stamp: v.Stamp, State: v.State, Motion: motion(v), Outlook: []string{}, Others: []Button{}, NotNow: []Refusal{}}
	n.Where = "State: " + v.State
	if s := float64(v.InStateS); s >= 60 {
		n.Where += " for " + about(s)[len("about "):]
	}
	b := v.Batch
	n.Settling = v.State == "roasting" && b != nil && !settled(b)
	n.Fire = v.Safety.Tripped && v.Safety.SafeState == "S2"
	n.Headline, n.Next = confirmed(&n, v, headline(v, alarms))
	n.InDoubt = doubted(alarms)
	if text := outlook(v, n.InDoubt); text != "" {
		n.Outlook = append(n.Outlook, text)
	}
	if text := ahead(v); text != "" {
		n.Outlook = append(n.Outlook, text)
	}
	n.Outlook = append(n.Outlook, n.Motion.Heat+". "+n.Motion.Air+". "+n.Motion.Drum+".")
	if permit(v, point.CoolingFan) >= 0.5 {
		n.Outlook[len(n.Outlook)-1] += " " + n.Motion.Tray + "."
	}
	shown, others, notNow := offer(v)
	n.Buttons = append([]Button{}, shown...)
	n.Others = append(n.Others, others...)
	n.NotNow = append(n.NotNow, notNow...)
	return n
}

// confirmS is how long contactor and current may take until they show that heat is off.
const confirmS = 1

// confirmed takes from the words of a trip that heat is off where that is asked and
// not seen: people act on it. Where feedback says otherwise, it says what to do.
func confirmed(n *Now, v *record.View, headline string) (string, string) {
	if v.State != "tripped" || n.Motion.Heat == heatOff || n.Fire { // the fire screen has its own words
		return headline, v.Next
	}
	asked, next := n.Motion.Heat, strings.TrimPrefix(v.Next, "Heat is off. ")
	if v.InStateS < confirmS {
		asked = "Heat asked off"
	} else if feedback(v) {
		next = "Isolate the heaters by hand if the way there is safe. " + next
	}
	if cause, ok := strings.CutPrefix(headline, heatOff+": "); ok {
		return asked + ": " + cause, next
	}
	return strings.TrimSuffix(headline, ", heat off") + "; heat" + strings.TrimPrefix(asked, "Heat"), next
}

func settled(b *record.BatchView) bool { return float64(b.SinceChargeS-b.TurnS) >= settleS }

// sentence is a reason as a sentence: with a capital, and a full stop.
func sentence(s string) string {
	s = strings.TrimRight(strings.TrimSpace(s), ".")
	if s == "" {
		return ""
	}
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:] + "."
}

func headline(v *record.View, alarms *record.AlarmsView) string {
	switch v.State {
	case "cold":
		if permit(v, point.DrumRun) >= 0.5 {
			return "Drum turned by hand, no heat"
		}
		return "Off"
	case "warming":
		if v.Safety.HeldBack != "" && v.InStateS > startS {
			return "Warming: heat is held back"
		}
		if v.ReadyInS.Known() {
			return "Warming: ready in " + about(float64(v.ReadyInS))
		}
		return "Warming up"
	case "ready":
		for _, c := range v.Commands {
			if c.Kind == record.Charged && c.Refused != "" {
				return "Warm, but no beans now"
			}
		}
		return "Ready for beans"
	case "charging":
		return "Taking in the beans"
	case "roasting":
		return roasting(v, doubted(alarms))
	case "discharging":
		return "Beans going into the tray"
	case "cooling":
		return "Beans cooling in the tray"
	case "run-down":
		return "Cooling down"
	case "held":
		if v.Batch != nil && math.IsNaN(float64(v.Batch.DropS)) {
			return "Held: beans in the drum"
		}
		return "Held"
	case "tripped":
		return tripped(v, alarms)
	}
	return sentence(v.State)
}

func roasting(v *record.View, doubt bool) string {
	b := v.Batch
	if b == nil || !settled(b) {
		return "Roasting, probe settling"
	}
	if dropNear(v) {
		switch left := float64(b.DropDueS - b.SinceChargeS); {
		case left <= -1:
			return "Drop now: " + span(-left) + " past the end"
		case left <= countS:
			return "Drop in " + span(left)
		default:
			return "Drop in " + about(left)
		}
	}
	if v.Safety.HeldBack != "" {
		return "Roasting, heat is held back"
	}
	if !math.IsNaN(float64(b.FirstCrackS)) {
		return "Roasting, " + span(float64(b.SinceChargeS-b.FirstCrackS)) + " since first crack"
	}
	if outOfReach(v) {
		return "Roasting, target out of reach"
	}
	off := float64(v.Points[point.Bean.String()].Value - v.Bean.TargetC)
	switch {
	case math.IsNaN(float64(v.Points[point.Bean.String()].Value)):
		return "Roasting, bean probe has no reading"
	case math.IsNaN(off):
		return "Roasting"
	case doubt: // how far from the target it is nobody knows
		return "Roasting, bean probe in doubt"
	case math.Abs(off) <= OnTargetK:
		return "Roasting, on target"
	case off > 0:
		return "Roasting, " + number(off, 1) + thin + "°C above target"
	}
	return "Roasting, " + number(-off, 1) + thin + "°C below target"
}

// In the last dropNearS before the drop the headline counts to it, below countS by
// the second.
const (
	dropNearS = 35
	countS    = 10
)

func dropNear(v *record.View) bool { // also when it is due, or past
	return v.Batch != nil && v.Batch.DropDueS-v.Batch.SinceChargeS <= dropNearS
}

// lateS and shortC are how much the end of the curve must be missed by before
// it is called out of reach.
const (
	lateS  = 5
	shortC = OnTargetK
)

func outOfReach(v *record.View) bool { return v.Bean.LateS >= lateS || v.Bean.ShortC >= shortC }

// ahead is what comes: worked out before the batch, and by the loop in it.
func ahead(v *record.View) string {
	f := v.Forecast
	switch b := v.Batch; v.State {
	case "cold", "warming", "ready":
		switch {
		case f == nil:
		case !f.Reachable:
			return "Worked out ahead, this recipe is out of reach: " + sentence(f.Why)
		case f.DropS.Known():
			text := "Worked out ahead: drop after " + span(float64(f.DropS))
			if f.FirstCrackS.Known() {
				text += ", first crack after " + about(float64(f.FirstCrackS)) + " ±" + span(2*float64(f.FirstCrackSdS))
			}
			return text + ", loss " + number(100*float64(f.Loss), 1) + thin + "% ±" + number(200*float64(f.LossSd), 1) + ", " + withUnit(f.EnergyKWh, 1, "kWh") + "."
		}
	case "roasting":
		if b == nil {
			return ""
		}
		if outOfReach(v) {
			text := "Expect the drop " + about(float64(v.Bean.LateS)) + " late"
			if v.Bean.LateS < lateS {
				text = "Expect the end " + number(float64(v.Bean.ShortC), 0) + thin + "°C low"
			}
			if v.Bean.Bound != "" {
				text += ": held by " + v.Bean.Bound
			}
			return text + "."
		}
		crackS, sdS, dropS := b.CrackDueS, b.CrackDueSdS, b.DropDueS
		if f != nil && !crackS.Known() {
			crackS, sdS = f.FirstCrackS, f.FirstCrackSdS
		}
		if f != nil && !dropS.Known() {
			dropS = f.DropS
		}
		text := ""
		if left := float64(crackS - b.SinceChargeS); left > 0 && !b.FirstCrackS.Known() {
			text = "First crack in " + about(left) + " (±" + span(2*float64(sdS)) + "). "
		}
		if left := float64(dropS - b.SinceChargeS); left > 0 && !dropNear(v) {
			text += "Drop in " + about(left) + "."
		}
		return strings.TrimSpace(text)
	}
	return ""
}

// trips are the headlines of the safe states; %s is the first cause.
var trips = map[string]string{
	"S1": "Heat off: %s",
	"S2": "Suspected fire",
	"S3": "Drum stopped, heat off",
	"S4": "Heat off: no air flow",
	"S5": "Cooling down: %s",
	"S6": "Emergency stop is pressed",
	"S7": "Restarted; heat stays off",
}

func tripped(v *record.View, alarms *record.AlarmsView) string {
	first := strings.ReplaceAll(v.Safety.FirstCause, "_", " ")
	if alarms != nil {
		for _, a := range alarms.Alarms {
			if a.Cause == v.Safety.FirstCause {
				r, n := utf8.DecodeRuneInString(a.Text)
				first = string(unicode.ToLower(r)) + firstSentence(a.Text[n:])
			}
		}
	}
	text, ok := trips[v.Safety.SafeState]
	switch {
	case !v.Safety.Tripped:
		return "Trip is reset"
	case v.Safety.SafeState == "S6" && v.Safety.FirstCause != "emergency_stop", !ok:
		return "All off: " + first
	case strings.Contains(text, "%s"):
		return fmt.Sprintf(text, first)
	}
	return text
}

func firstSentence(s string) string {
	if i := strings.Index(s, ". "); i >= 0 {
		s = s[:i]
	}
	return strings.TrimSuffix(s, ".")
}

func of(c, set record.Number) string {
	if !set.Known() {
		return read(c)
	}
	return read(c) + " of " + celsius(set)
}

// doubts are the causes by which a bean probe that reads well is not to be believed.
var doubts = []string{"bean_frozen", "bean_short", "bean_plunge", "bean_off_model", "bean_doubtful", "bean_exhaust_swapped", "bean_out_of_bed", "bean_in_gas",
	"beans_apart", "beans_differ", "probe_noise", "probe_swamped", "probe_reversed", "converter_shift"}

func doubted(alarms *record.AlarmsView) bool {
	return alarms != nil && slices.ContainsFunc(alarms.Alarms, func(a record.AlarmView) bool {
		return slices.Contains(doubts, a.Cause) && (a.State == record.AlarmUnacknowledged.String() || a.State == record.AlarmAcknowledged.String())
	})
}

func outlook(v *record.View, doubt bool) string {
	switch b := v.Batch; v.State {
	case "warming":
		text := "Inlet air " + of(v.Air.MeasuredC, v.Air.SetC) + ", drum skin " + of(v.Base.MeasuredC, v.Base.SetC) + "."
		if v.NoReady != "" && v.Safety.HeldBack == "" {
			text += " " + v.NoReady
		}
		return text
	case "ready":
		return "Recipe " + v.Recipe + ", " + number(1000*float64(v.GreenKg), 0) + thin + "g."
	case "roasting":
		if b == nil {
			return ""
		}
		return "Charged " + span(float64(b.SinceChargeS)) + " ago; loss " + number(100*float64(v.Bean.Loss), 1) + thin + "% ±" + number(200*float64(v.Bean.LossSd), 1) + " (estimate)."
	case "cooling":
		if p, ok := v.Points[point.CoolingTray.String()]; ok {
			return "Tray " + read(p.Value) + "."
		}
	case "run-down", "tripped":
		bean := read(v.Points[point.Bean.String()].Value)
		if doubt && v.Points[point.Bean.String()].Value.Known() {
			bean += " (in doubt)"
		}
		return "Bean probe " + bean + ", drum skin " + read(v.Base.MeasuredC) + "."
	}
	return ""
}
