package say

import (
	"fmt"
	"strings"

	"drumwright/io/point"
	"drumwright/io/record"
)

// Text is what a terminal shows: the same words as the page, 80 columns wide.
func Text(n *Now, v *record.View, a *record.AlarmsView) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("%s   %s", n.Time, n.Where)
	for _, x := range a.Alarms {
		mark := map[string]string{"critical": "Act now", "high": "Act now", "medium": "Act soon", "low": "Plan it"}[x.Priority]
		line("%s", wrap(fmt.Sprintf("[%s] %s (%s, %s)", mark, x.Text, x.Cause, x.State), "    "))
	}
	if len(a.Alarms) == 0 {
		line("No alarms.")
	}
	line("\n%s\n", strings.ToUpper(n.Headline))
	for _, o := range n.Outlook {
		line("%s", wrap(o, ""))
	}
	line("\nNext for you: %s\n", wrap(n.Next, ""))
	if p, ok := v.Points[point.Bean.String()]; ok {
		text := "no reading"
		if p.Value.Known() {
			text = withUnit(p.Value, 1, "°C")
		}
		if p.Quality != point.Good.String() {
			text += " (" + p.Quality + strings.TrimRight(" "+p.Cause, " ") + ")"
		}
		line("%-11s %s%s", "Bean probe", text, target(v))
	}
	line("%-11s %s", "Base", loopText(&v.Base, permit(v, point.RadiantPower)))
	line("%-11s %s", "Inlet air", loopText(&v.Air, permit(v, point.AirHeaterPower)))
	line("%-11s %s, set %s", "Drum", withUnit(v.Drum.MeasuredMMPerS, 0, "mm/s"), number(float64(v.Drum.SetMMPerS), 0))
	line("%-11s %s, set %s", "Air flow", withUnit(v.Drum.FlowKgPerH, 0, "kg/h"), number(float64(v.Drum.FlowSetKgPerH), 0))
	if v.Bean.Loss.Known() {
		line("%-11s %s", "Loss", number(100*float64(v.Bean.Loss), 1)+thin+"% ±"+number(200*float64(v.Bean.LossSd), 1)+" (estimate)")
	}
	line("")
	for _, list := range [][]Button{n.Buttons, n.Others} {
		for _, x := range list {
			kind := string(x.Kind)
			if x.Number != nil {
				kind += " --drop-c " + number(float64(x.Number.Now), 0)
			}
			line("  drumwright do %-16s %s", kind, x.Label)
		}
	}
	for _, r := range n.NotNow {
		line("%s", wrap("Not now: "+r.Label+": "+r.Why, "  "))
	}
	return b.String()
}

func target(v *record.View) string {
	if !v.Bean.TargetC.Known() {
		return ""
	}
	return ", target " + number(float64(v.Bean.TargetC), 1)
}

func loopText(l *record.LoopView, permit float64) string {
	set := ""
	if l.SetC.Known() {
		set = ", set " + number(float64(l.SetC), 0)
	}
	return celsius(l.MeasuredC) + set + ", " + l.Mode + ", output " + percent(permit)
}

// wide is the width of the narrowest terminal in use.
const wide = 80

// wrap breaks a text at blanks; later lines begin with the indent.
func wrap(s, indent string) string {
	var b strings.Builder
	n := 0
	for i, w := range strings.Fields(s) {
		k := len([]rune(w))
		switch {
		case i > 0 && n+1+k > wide:
			b.WriteString("\n" + indent)
			n = len(indent)
		case i > 0:
			b.WriteByte(' ')
			n++
		}
		b.WriteString(w)
		n += k
	}
	return b.String()
}
