package profiles

import (
	"fmt"
	"strings"
	"unicode"
)

// steepestKPerMin is the steepest rise that a bean curve may ask for. Rates
// after the turning point stay below 30 K/min (common practice, no source).
const steepestKPerMin = 40

// checkRecipe refuses recipes that no machine can roast. Fit asks whether a
// certain machine can.
func (s *source) checkRecipe(r *Recipe) {
	const longest = 60
	if n := r.Name; n != "" && (len(n) > longest || n[0] == '.' || strings.TrimSpace(n) != n || strings.ContainsFunc(n, notInName)) {
		s.fault("recipe", shown(n), fmt.Sprintf("up to %d characters on one line, without / and \\, not beginning with a point", longest), "choose a plain name; coffee and note have room for more")
	}
	// Lessons are kept under the coffee, and all of this is printed on terminals.
	if c := r.Coffee; len(c) > 200 || strings.ContainsFunc(c, func(x rune) bool { return !unicode.IsPrint(x) }) {
		s.fault("coffee", shown(c), "up to 200 bytes on one line, of signs that can be printed", "write it shorter or plainer; note has room for more")
	}
	if n := r.Note; strings.ContainsFunc(n, func(x rune) bool { return x != '\n' && !unicode.IsPrint(x) }) {
		s.fault("note", shown(n), "lines of signs that can be printed", "write it plainer")
	}
	s.checkCurve(r)
	s.checkStages(r)
	s.checkDrop(r)
	s.checkSchedule("drum_speed", r.Speed)
}

// notInName finds what a name, by which files and topics are called, cannot have.
func notInName(c rune) bool { return c == '/' || c == '\\' || !unicode.IsPrint(c) }

func (s *source) checkCurve(r *Recipe) {
	if !s.has("bean_curve") || !s.sound("bean_curve") {
		return
	}
	if n := len(r.Curve); n < 4 || n > 64 {
		s.fault("bean_curve", counted(n, "point"), "4 to 64", "give a point about every minute from after the turning point to drop")
	}
	for i, q := range r.Curve {
		k := entry("bean_curve", i)
		if i == 0 || !s.sound(k, k+".at", k+".bean", entry("bean_curve", i-1)+".at", entry("bean_curve", i-1)+".bean") {
			continue
		}
		p := r.Curve[i-1]
		switch slope := float64(q.Bean-p.Bean) / float64(q.AtS-p.AtS) * 60; {
		case q.AtS <= p.AtS:
			s.fault(k+".at", q.AtS.String(), "later than the "+p.AtS.String()+" before it", "put the points in order of time")
		case q.Bean <= p.Bean:
			s.fault(k+".bean", q.Bean.String(), "warmer than the "+p.Bean.String()+" before it", "begin the curve after the turning point and let it rise to drop")
		case slope > steepestKPerMin:
			s.fault(k+".bean", fmt.Sprintf("a rise of %.0f K/min", slope), fmt.Sprintf("up to %d K/min", steepestKPerMin), "leave more time to this point")
		}
	}
	if n := len(r.Curve); n > 0 {
		k := entry("bean_curve", n-1) + ".at"
		if s.sound(k) && r.Curve[n-1].AtS > 1800 {
			s.fault(k, r.Curve[n-1].AtS.String(), "a roast of up to 30 min", "shorten the curve")
		}
	}
}

func (s *source) checkStages(r *Recipe) {
	if !s.sound("stages", "bean_curve") {
		return
	}
	curve := s.has("bean_curve")
	inlet := false
	var last [AfterCrack + 1]*Trigger
	for i := range r.Stages {
		st := &r.Stages[i]
		k := entry("stages", i)
		if !s.sound(k) {
			continue
		}
		if s.has(k + ".inlet") {
			inlet = true
			if curve {
				s.fault(k+".inlet", "an inlet set point beside a bean curve", "one of them: with a curve the bean loop finds the inlet air", "take out inlet or bean_curve")
			}
		}
		if s.has(k+".over") && !s.has(k+".inlet") {
			s.fault(k+".over", "over without inlet", "over together with inlet", "take it out")
		}
		if s.clean(k) && st.Inlet == nil && st.Skin == nil && st.Flow == nil {
			s.fault(k, "a stage that changes nothing", "inlet, skin or flow beside when", "add a set point or take the stage out")
		}
		if !s.has(k+".when") || !s.sound(k+".when") {
			continue
		}
		t := st.When
		if p := last[t.Kind]; p != nil && t.Value <= p.Value {
			s.fault(k+".when", t.String(), "later than the stage at "+p.String(), "put stages of the same kind in order, each moment once")
		}
		last[t.Kind] = &st.When
		if t.Kind == AtTime && s.has("drop.latest") && s.sound("drop.latest") && t.Value >= float64(r.Drop.LatestS) {
			s.fault(k+".when", t.String(), "before drop.latest, "+r.Drop.LatestS.String(), "move the stage or take it out")
		}
	}
	if !curve && !inlet && s.clean("stages") {
		s.fault("bean_curve", "neither a bean curve nor an inlet set point in any stage", "one of them", "add bean_curve, or inlet to the stages")
	}
}

func (s *source) checkDrop(r *Recipe) {
	d := &r.Drop
	if !s.has("drop") || !s.sound("drop", "drop.bean", "drop.loss", "drop.after_first_crack", "drop.operator") {
		return
	}
	if d.Bean == nil && d.Loss == nil && d.AfterCrack == nil && !d.Operator && s.clean("drop") {
		s.fault("drop", "no condition", "bean, loss, after_first_crack or operator: true", "say when the beans go out")
	}
	n := len(r.Curve)
	if n == 0 || !s.sound("bean_curve") {
		return
	}
	end, k := r.Curve[n-1], entry("bean_curve", n-1)
	if d.Bean != nil && s.sound(k+".bean") && *d.Bean > end.Bean {
		s.fault("drop.bean", d.Bean.String(), "up to the end of the curve, "+end.Bean.String(), "lengthen the curve or drop earlier")
	}
	if s.has("drop.latest") && s.sound("drop.latest", k+".at") && d.LatestS < end.AtS {
		s.fault("drop.latest", d.LatestS.String(), "not before the end of the curve, "+end.AtS.String(), "leave the roast time to end")
	}
}
