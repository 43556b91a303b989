package profiles

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// Advice is something about a recipe that is allowed and yet worth a thought.
type Advice struct {
	Line int // 0 = of no line
	Text string
}

func (a Advice) String() string {
	if a.Line == 0 {
		return a.Text
	}
	return fmt.Sprintf("line %d: %s", a.Line, a.Text)
}

// What is worth a thought (all common practice, no source).
const (
	flatKPerMin   = 3.0 // below it near the end a roast is said to stall
	bumpKPerMin   = 0.5 // by which the rise may grow again unnoticed
	shortRoastS   = 360
	longRoastS    = 1080
	lateAllowance = 240 // s between the curve's end and drop.latest
	earlyCurveS   = 75  // before it most probes have not turned
)

// Advise says what about a recipe is worth a thought, in the order of the file.
// It is for a recipe without faults.
func Advise(r *Recipe) []Advice {
	var list []Advice
	say := func(key, format string, args ...any) {
		list = append(list, Advice{r.lines[key], fmt.Sprintf(format, args...)})
	}
	if !r.Charge.MoistureKnown {
		say("charge", "moisture is not stated: it is taken as 11 %%, and loss and first crack are foretold less surely. Measure it, or ask whoever sold the coffee")
	}
	rise := func(i int) float64 {
		return 60 * float64(r.Curve[i].Bean-r.Curve[i-1].Bean) / float64(r.Curve[i].AtS-r.Curve[i-1].AtS)
	}
	if n := len(r.Curve); n > 1 {
		if r.Curve[0].AtS < earlyCurveS {
			say(entry("bean_curve", 0), "the curve begins at %s: the probe has hardly turned by then. Begin at 1 min 30 s or later", r.Curve[0].AtS)
		}
		for i := 2; i < n; i++ {
			if a, b := rise(i-1), rise(i); b > a+bumpKPerMin {
				say(entry("bean_curve", i), "the rise grows from %.1f to %.1f K/min here: most recipes let it fall all the way to drop", a, b)
			}
		}
		if last := rise(n - 1); last < flatKPerMin {
			say(entry("bean_curve", n-1), "the rise ends at %.1f K/min: below %.0f a roast is said to stall", last, flatKPerMin)
		}
		switch end := float64(r.Curve[n-1].AtS); {
		case end < shortRoastS:
			say(entry("bean_curve", n-1), "the roast takes %s only: few coffees are roasted through so fast", r.Curve[n-1].AtS)
		case end > longRoastS:
			say(entry("bean_curve", n-1), "the roast takes %s: long roasts taste flat", r.Curve[n-1].AtS)
		}
		if late := float64(r.Drop.LatestS - r.Curve[n-1].AtS); late > lateAllowance {
			say("drop.latest", "heat may stay on for %s past the end of the curve: 1 to 3 min are enough", Seconds(late))
		}
	}
	if r.Drop.Bean != nil && r.Drop.Loss == nil && r.Drop.AfterCrack == nil && !r.Drop.Operator {
		say("drop", "only the bean probe ends this roast in time: give loss or after_first_crack too, for the day it reads wrong")
	}
	slices.SortStableFunc(list, func(a, b Advice) int { return a.Line - b.Line })
	return list
}

// Converted is a temperature that a file gives in °F, and what is understood.
type Converted struct {
	Line                int
	Key                 string
	Written, Understood string
}

func (c Converted) String() string {
	return fmt.Sprintf("line %d: %s: written %s, understood %s", c.Line, c.Key, c.Written, c.Understood)
}

var fahrenheitIn = regexp.MustCompile(`^(?:bean\s+)?([+-]?[0-9.]+\s*°?\s*F)$`)

// ConvertedIn lists the temperatures in °F of a file that can be read.
func ConvertedIn(data []byte) []Converted {
	var doc yaml.Node
	if yaml.Unmarshal(data, &doc) != nil {
		return nil
	}
	var list []Converted
	var walk func(n *yaml.Node, key string)
	walk = func(n *yaml.Node, key string) {
		switch n.Kind {
		case yaml.DocumentNode:
			walk(n.Content[0], key)
		case yaml.SequenceNode:
			for i, c := range n.Content {
				walk(c, entry(key, i))
			}
		case yaml.MappingNode:
			for i := 0; i+1 < len(n.Content); i += 2 {
				walk(n.Content[i+1], strings.TrimPrefix(key+"."+n.Content[i].Value, "."))
			}
		case yaml.ScalarNode:
			m := fahrenheitIn.FindStringSubmatch(strings.TrimSpace(n.Value))
			if m == nil {
				return
			}
			if c, err := ParseQuantity[Celsius](m[1]); err == nil {
				list = append(list, Converted{n.Line, key, n.Value, fmt.Sprintf("%.1f °C", float64(c))})
			}
		}
	}
	walk(&doc, "")
	return list
}
