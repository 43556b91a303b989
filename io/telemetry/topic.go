package telemetry

import (
	"fmt"
	"strings"
	"unicode"
)

// The topics below <prefix>/<site>/<machine>; what each carries is said in the
// package comment.
const (
	TopicStatus       = "status"
	TopicState        = "state"
	TopicMeasurements = "measurements"
	TopicEvents       = "events"
	TopicAlarms       = "alarms"
)

// Online and Offline are the payloads of TopicStatus.
const (
	Online  = "online"
	Offline = "offline"
)

// topics lists them with what each carries, for whoever subscribes.
var topics = []struct{ name, payload, kept, about string }{
	{TopicStatus, "`online` or `offline`", "retained, QoS 1", "the daemon is connected; `offline` is also its last will"},
	{TopicState, "JSON", "retained, QoS 1", "state of the batch sequence, what the operator does next, batch, safety; on change and on connecting"},
	{TopicMeasurements, "JSON", "QoS 0", "points with quality, bean, loops, drum, outputs; each period"},
	{TopicEvents, "JSON", "QoS 1", "trips, warnings, milestones and commands, each as it happens; after an outage those that were missed, in their order"},
	{TopicAlarms, "JSON", "retained, QoS 1", "what calls for a person now; on change and on connecting"},
}

// base joins the levels that all topics of a machine begin with.
func base(prefix, site, machine string) (string, error) {
	for _, l := range []struct {
		what, text string
		levels     bool
	}{{"prefix", prefix, true}, {"site", site, false}, {"machine", machine, false}} {
		if err := checkLevel(l.text, l.levels); err != nil {
			return "", fmt.Errorf("mqtt %s %q %w", l.what, l.text, err)
		}
	}
	return prefix + "/" + site + "/" + machine, nil
}

// checkLevel holds topics to what MQTT 3.1.1 section 4.7 allows, and to what
// every dashboard can subscribe to: no space, no sign with a meaning of its own.
func checkLevel(s string, slashes bool) error {
	switch {
	case s == "":
		return fmt.Errorf("is empty: give it a name")
	case len(s) > 128:
		return fmt.Errorf("is longer than 128 bytes")
	case strings.ContainsAny(s, "+#"):
		return fmt.Errorf("holds + or #, which are for subscribers: use letters, digits, - and _")
	case strings.HasPrefix(s, "$"):
		return fmt.Errorf("begins with $, which belongs to the broker")
	case !slashes && strings.Contains(s, "/"):
		return fmt.Errorf("holds /, which would make two levels of it")
	case strings.HasPrefix(s, "/") || strings.HasSuffix(s, "/") || strings.Contains(s, "//"):
		return fmt.Errorf("has an empty level between its /")
	case strings.ContainsFunc(s, func(r rune) bool { return unicode.IsSpace(r) || unicode.IsControl(r) || r == unicode.ReplacementChar }):
		return fmt.Errorf("holds a space or a sign that cannot be printed")
	}
	return nil
}
