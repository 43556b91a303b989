package telemetry

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"drumwright/io/point"
	"drumwright/io/record/recordtest"
)

// A real broker keeps the announcements, and what each points at is in what the
// machine publishes. The keys are those of the MQTT discovery convention; from
// memory, no program of home automation was asked.
func TestDiscovery(t *testing.T) {
	b := newBroker(t).start()
	m, err := newMQTT(MQTTConfig{Broker: "tcp://" + b.address, Site: "shop", Machine: "old-drum", Discovery: "house/found",
		Inputs: []point.Input{point.Bean, point.Ambient, point.AirProving, point.AirHeaterCurrent, point.DrumPulses}}, quick)
	if err != nil {
		t.Fatal(err)
	}
	defer m.Close()
	s := recordtest.Roasting()
	m.Put(&s)
	early := b.subscribe()
	state := early.wait(TopicState, says("roasting"))
	sub := b.subscribe() // comes late
	payloads := map[string]string{TopicState: state.payload, TopicMeasurements: ""}
	s.N++
	m.Put(&s)
	payloads[TopicMeasurements] = early.wait(TopicMeasurements, says("points")).payload

	field := regexp.MustCompile(`^{{ value_json\.([a-z0-9_.]+) }}$`)
	ids := map[string]bool{}
	for object, want := range map[string]struct{ component, unit, value string }{
		"bean":               {"sensor", "°C", "171.4"},
		"ambient":            {"sensor", "°C", "null"},
		"air_proving":        {"binary_sensor", "", "1"},
		"air_heater_current": {"sensor", "A", "13.6"},
		"state":              {"sensor", "", `"roasting"`},
		"next":               {"sensor", "", `"Listen for first crack."`},
		"air_power":          {"sensor", "W", "3125"},
		"base_power":         {"sensor", "W", "500"},
		"tripped":            {"binary_sensor", "", "false"},
	} {
		found := sub.wait("house/found/"+want.component+"/drumwright_shop_old-drum/"+object+"/config", says("{"))
		var a struct {
			UniqueID      string `json:"unique_id"`
			State         string `json:"state_topic"`
			Value         string `json:"value_template"`
			Unit          string `json:"unit_of_measurement"`
			Availability  string `json:"availability_topic"`
			Command       string `json:"command_topic"`
			Device        struct{ Identifiers []string }
			PayloadOn     string `json:"payload_on"`
			PayloadOffSet string `json:"payload_off"`
		}
		if err := json.Unmarshal([]byte(found.payload), &a); err != nil {
			t.Fatal(err)
		}
		if !found.retained || ids[a.UniqueID] || a.Unit != want.unit || a.Command != "" || a.Availability != "drumwright/shop/old-drum/status" ||
			len(a.Device.Identifiers) != 1 || (want.component == "binary_sensor") != (a.PayloadOn != "" && a.PayloadOffSet != "") {
			t.Errorf("%s: retained %v, %s", object, found.retained, found.payload)
		}
		ids[a.UniqueID] = true
		path := field.FindStringSubmatch(a.Value)
		if path == nil {
			t.Fatalf("%s: template %q", object, a.Value)
		}
		at := json.RawMessage(payloads[strings.TrimPrefix(a.State, "drumwright/shop/old-drum/")])
		for _, step := range strings.Split(path[1], ".") {
			var level map[string]json.RawMessage
			if err := json.Unmarshal(at, &level); err != nil {
				t.Fatalf("%s: %s: %v", object, path[1], err)
			}
			at = level[step]
		}
		if string(at) != want.value {
			t.Errorf("%s: %s of %s is %s, want %s", object, path[1], a.State, at, want.value)
		}
	}
	if got := len(m.announcements()); got != len(ids) {
		t.Errorf("%d announcements, %d of them looked at", got, len(ids))
	}
}

func TestNothingIsAnnouncedUnasked(t *testing.T) {
	b := newBroker(t).start()
	sub := b.subscribe()
	m := publisher(t, b.address)
	put(m, 1)
	sub.wait(TopicMeasurements, says("points"))
	m.Close()
	sub.wait(TopicStatus, says(Offline))
	sub.mu.Lock()
	defer sub.mu.Unlock()
	for _, x := range sub.seen {
		if strings.HasSuffix(x.topic, "/config") {
			t.Errorf("announced %s", x.topic)
		}
	}
}

func TestDiscoveryPrefixIsChecked(t *testing.T) {
	if _, err := NewMQTT(MQTTConfig{Broker: "tcp://127.0.0.1:1", Site: "shop", Machine: "m", Discovery: "/house"}); err == nil {
		t.Error("a prefix with an empty level was taken")
	}
}
