package telemetry

import (
	"encoding/json"
	"fmt"
	"strings"

	paho "github.com/eclipse/paho.mqtt.golang"

	"drumwright/io/point"
)

// announcement is one sensor as the open MQTT discovery convention of home
// automation has it. Only sensors are announced: nothing here can command the
// machine.
type announcement struct {
	Name        string   `json:"name"`
	UniqueID    string   `json:"unique_id"`
	State       string   `json:"state_topic"`
	Value       string   `json:"value_template"`
	Unit        string   `json:"unit_of_measurement,omitempty"`
	Class       string   `json:"device_class,omitempty"`
	StateClass  string   `json:"state_class,omitempty"`
	On          string   `json:"payload_on,omitempty"`
	Off         string   `json:"payload_off,omitempty"`
	Available   string   `json:"availability_topic"`
	Device      aDevice  `json:"device"`
	Origin      anOrigin `json:"origin"`
	ExpireAfter int      `json:"expire_after,omitempty"` // s without a message until the value counts as unknown
}

type aDevice struct {
	Identifiers []string `json:"identifiers"`
	Name        string   `json:"name"`
}

type anOrigin struct {
	Name string `json:"name"`
}

// announcements are the sensors of the machine by topic.
func (m *MQTT) announcements() map[string]announcement {
	id := "drumwright_" + plain(m.cfg.Site) + "_" + plain(m.cfg.Machine)
	out := map[string]announcement{}
	add := func(component, object, name, topic, value string, a announcement) {
		a.Name, a.UniqueID = name, id+"_"+object
		a.State, a.Value, a.Available = m.base+"/"+topic, "{{ "+value+" }}", m.base+"/"+TopicStatus
		a.Device = aDevice{Identifiers: []string{id}, Name: m.cfg.Machine}
		a.Origin = anOrigin{Name: "drumwright"}
		if topic == TopicMeasurements {
			a.ExpireAfter = max(30, int(3*m.cfg.Period.Seconds()))
		}
		out[m.cfg.Discovery+"/"+component+"/"+id+"/"+object+"/config"] = a
	}
	for _, i := range m.cfg.Inputs {
		r := i.Role()
		value := "value_json.points." + r.Name + ".value"
		switch r.Kind {
		case point.Temperature:
			add("sensor", r.Name, r.About, TopicMeasurements, value, announcement{Unit: "°C", Class: "temperature", StateClass: "measurement"})
		case point.Number:
			add("sensor", r.Name, r.About, TopicMeasurements, value, announcement{Unit: r.Unit, StateClass: "measurement"})
		case point.Contact:
			add("binary_sensor", r.Name, r.About, TopicMeasurements, value, announcement{On: "1", Off: "0"})
		}
	}
	add("sensor", "state", "state", TopicState, "value_json.state", announcement{})
	add("sensor", "next", "what to do next", TopicState, "value_json.next", announcement{})
	for _, loop := range []string{"air", "base"} {
		add("sensor", loop+"_power", loop+" heater", TopicMeasurements, "value_json."+loop+".power_w", announcement{Unit: "W", Class: "power", StateClass: "measurement"})
	}
	// A truth value of JSON is printed as True or False by such a template.
	add("binary_sensor", "tripped", "tripped", TopicState, "value_json.safety.tripped", announcement{On: "True", Off: "False", Class: "problem"})
	return out
}

// announce publishes the announcements, retained, on connecting.
func (m *MQTT) announce(c paho.Client) error {
	if m.cfg.Discovery == "" {
		return nil
	}
	for topic, a := range m.announcements() {
		b, err := json.Marshal(a)
		if err != nil {
			return fmt.Errorf("announce %s: %w", topic, err)
		}
		if err := m.send(c, topic, 1, true, b); err != nil {
			return err
		}
	}
	return nil
}

// plain is a name with the signs only that the convention allows in an id.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if r < 128 && (r == '_' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z') {
			return r
		}
		return '-'
	}, s)
}
