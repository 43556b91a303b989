package profiles

import (
	"fmt"
	"strings"
)

const triggerForms = "charge, a time since charge (2 min), bean 150 °C, loss 6 %, first crack, first crack + 30 s"

// ParseTrigger reads the moment at which a stage begins.
func ParseTrigger(text string) (Trigger, error) {
	s := strings.Trim(blanks.Replace(text), " ")
	fail := func(err error) (Trigger, error) {
		return Trigger{}, fmt.Errorf("%w; the forms are: %s", err, triggerForms)
	}
	var t Trigger
	var err error
	switch {
	case s == "charge":
		return Trigger{Kind: AtCharge}, nil
	case s == "first crack":
		return Trigger{Kind: AfterCrack}, nil
	case strings.HasPrefix(s, "first crack"):
		after := strings.TrimLeft(strings.TrimPrefix(s, "first crack"), " ")
		if !strings.HasPrefix(after, "+") {
			return fail(fmt.Errorf("write a plus and a time after first crack"))
		}
		t.Kind = AfterCrack
		t.Value, err = seconds.parse(after[1:])
	case strings.HasPrefix(s, "bean "):
		t.Kind = AtBean
		t.Value, err = celsius.parse(s[len("bean "):])
	case strings.HasPrefix(s, "loss "):
		t.Kind = AtLoss
		t.Value, err = share.parse(s[len("loss "):])
	default:
		t.Kind = AtTime
		t.Value, err = seconds.parse(s)
	}
	if err != nil {
		return fail(err)
	}
	span := triggerSpans[t.Kind]
	if !(t.Value >= span[0] && t.Value <= span[1]) {
		lo, hi := t, t
		lo.Value, hi.Value = span[0], span[1]
		return fail(fmt.Errorf("choose from %s to %s", lo, hi))
	}
	return t, nil
}

// triggerSpans are the values that make sense for each kind.
var triggerSpans = [...][2]float64{
	AtTime:     {1, 1800},
	AtBean:     {40, 240},
	AtLoss:     {0.001, 0.25},
	AfterCrack: {0, 900},
}

// String writes the moment as files do.
func (t Trigger) String() string {
	switch t.Kind {
	case AtTime:
		return Seconds(t.Value).String()
	case AtBean:
		return "bean " + Celsius(t.Value).String()
	case AtLoss:
		return "loss " + Share(t.Value).String()
	case AfterCrack:
		if t.Value == 0 {
			return "first crack"
		}
		return "first crack + " + Seconds(t.Value).String()
	}
	return "charge"
}
