package devicemap

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"
)

//go:embed maps/*.yaml
var shipped embed.FS

// Map is a kind of device as its file describes it.
type Map struct {
	Name       string               `yaml:"-"`
	What       string               `yaml:"what"`   // one sentence
	Layout     string               `yaml:"layout"` // whose layout it is, with the published source if there is one
	Tried      string               `yaml:"tried"`  // on what: simulation, or the device and firmware
	Parameters map[string]Parameter `yaml:"parameters"`
	Inputs     map[string]yaml.Node `yaml:"inputs"`   // points that can be read
	Outputs    map[string]yaml.Node `yaml:"outputs"`  // points that can be written
	Identity   []yaml.Node          `yaml:"identity"` // constants by which the device is known
}

// Parameter is a whole number that differs from one device of a kind to the next.
type Parameter struct {
	What    string `yaml:"what"`
	Default *int   `yaml:"default"` // nil = it must be given
}

// Names lists the shipped maps.
func Names() []string {
	entries, _ := fs.ReadDir(shipped, "maps") // it is embedded
	var names []string
	for _, e := range entries {
		names = append(names, strings.TrimSuffix(e.Name(), ".yaml"))
	}
	return names
}

// Load reads a shipped map by name, or a file.
func Load(name string) (*Map, error) {
	text, err := shipped.ReadFile(path.Join("maps", name+".yaml"))
	if err != nil {
		if text, err = os.ReadFile(name); err != nil {
			return nil, fmt.Errorf("%s is no shipped map (%s) and no readable file: %w", name, strings.Join(Names(), ", "), err)
		}
	}
	return Parse(strings.TrimSuffix(path.Base(name), ".yaml"), text)
}

// Parse reads a map.
func Parse(name string, text []byte) (*Map, error) {
	m := &Map{Name: name}
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(m); err != nil {
		return nil, fmt.Errorf("map %s: %w; allowed keys are what, layout, tried, parameters, inputs, outputs, identity", name, err)
	}
	switch {
	case m.What == "" || m.Layout == "" || m.Tried == "":
		return nil, fmt.Errorf("map %s: what, layout and tried must say something: nobody should guess whose registers these are", name)
	case len(m.Inputs)+len(m.Outputs) == 0:
		return nil, fmt.Errorf("map %s: no inputs and no outputs", name)
	}
	for p := range m.Outputs {
		if _, both := m.Inputs[p]; both {
			return nil, fmt.Errorf("map %s: %s is an input and an output: give two names", name, p)
		}
	}
	return m, nil
}

// Use is a device of a kind at one place of one machine.
type Use struct {
	Bus   string
	Unit  int
	Set   map[string]int    // parameters
	Roles map[string]string // role of the machine file → point of the map
}

var parameter = regexp.MustCompile(`\$([a-z_]+)(?:([+*])([0-9]+))?`)

// values are the parameters of a use with what was left out.
func (m *Map) values(set map[string]int) (map[string]int, error) {
	v := map[string]int{}
	for name := range set {
		if _, ok := m.Parameters[name]; !ok {
			return nil, fmt.Errorf("map %s has no parameter %s; it has %s", m.Name, name, list(slices.Sorted(maps.Keys(m.Parameters))))
		}
	}
	for name, p := range m.Parameters {
		switch n, given := set[name]; {
		case given:
			v[name] = n
		case p.Default != nil:
			v[name] = *p.Default
		default:
			return nil, fmt.Errorf("map %s: the parameter %s must be given: %s", m.Name, name, p.What)
		}
	}
	return v, nil
}

// line is a point as a line of a machine file, with bus and unit.
func (m *Map) line(n yaml.Node, u *Use, v map[string]int) (string, error) {
	if n.Kind != yaml.MappingNode {
		return "", fmt.Errorf("map %s, line %d: want { } with the keys of a point", m.Name, n.Line)
	}
	n.Style = yaml.FlowStyle
	text, err := yaml.Marshal(&n)
	if err != nil {
		return "", err
	}
	var wrong error
	filled := parameter.ReplaceAllStringFunc(strings.TrimSpace(string(text)), func(s string) string {
		part := parameter.FindStringSubmatch(s)
		value, ok := v[part[1]]
		if !ok {
			wrong = fmt.Errorf("map %s, line %d: $%s is no parameter of it", m.Name, n.Line, part[1])
		}
		by, _ := strconv.Atoi(part[3]) // digits, or nothing = 0
		switch part[2] {
		case "+":
			value += by
		case "*":
			value *= by
		}
		return strconv.Itoa(value)
	})
	return fmt.Sprintf("{bus: %s, unit: %d, %s", u.Bus, u.Unit, strings.TrimPrefix(filled, "{")), wrong
}

// Lines are what a use adds to the sections inputs, identity and outputs of a
// machine file, each line indented as it stands there.
func (m *Map) Lines(u *Use) (inputs, identity, outputs []string, err error) {
	v, err := m.values(u.Set)
	if err != nil {
		return nil, nil, nil, err
	}
	var faults []error
	for _, role := range slices.Sorted(maps.Keys(u.Roles)) {
		p := u.Roles[role]
		n, in := m.Inputs[p]
		if !in {
			var out bool
			if n, out = m.Outputs[p]; !out {
				faults = append(faults, fmt.Errorf("map %s has no point %s for the role %s; it has %s", m.Name, p, role, list(m.Points())))
				continue
			}
		}
		text, err := m.line(n, u, v)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		if text = "  " + role + ": " + text; in {
			inputs = append(inputs, text)
		} else {
			outputs = append(outputs, text)
		}
	}
	for _, n := range m.Identity {
		text, err := m.line(n, u, v)
		faults = append(faults, err)
		identity = append(identity, "  - "+text)
	}
	return inputs, identity, outputs, errors.Join(faults...)
}

// Points are the names of all points.
func (m *Map) Points() []string {
	return append(slices.Sorted(maps.Keys(m.Inputs)), slices.Sorted(maps.Keys(m.Outputs))...)
}

func list(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}
