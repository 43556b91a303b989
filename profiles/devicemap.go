package profiles

import (
	"embed"
	"fmt"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"
)

//go:embed maps/*.yaml
var shippedMaps embed.FS

// MapNames lists the shipped device maps.
func MapNames() []string {
	entries, _ := shippedMaps.ReadDir("maps") // it is compiled in
	var names []string
	for _, e := range entries {
		names = append(names, strings.TrimSuffix(e.Name(), ".yaml"))
	}
	return names
}

// mapText is a map as it was found.
type mapText struct {
	file string
	text []byte     // nil where it stands in the machine's own text
	root *yaml.Node // its keys
}

// LoadMap reads a shipped map by its name, or a file ending in .yaml. Parameters
// that have no default count as 0, for all that can be looked at without them.
func LoadMap(name string) (*DeviceMap, error) {
	s := newSource(name)
	t := s.findMap(filepath.Base(name), nil, func(string) ([]byte, string, error) {
		data, err := readFile(name)
		return data, name, err
	})
	if t == nil {
		return nil, s.result()
	}
	d := &DeviceMap{Name: name, File: t.file}
	ms := newSource(t.file)
	ms.readMapFile(t.root, d, nil, place("bus", 0, name))
	if err := ms.result(); err != nil {
		return nil, err
	}
	return d, nil
}

// mapFile fetches the text of a map of one's own and says where it lay.
type mapFile func(name string) (text []byte, file string, err error)

// findMap finds a map in the machine's own text, else among the shipped ones or, if
// its name ends in .yaml, where own looks. What is wrong it notes for the key.
func (s *source) findMap(name string, inside map[string]*yaml.Node, own mapFile) *mapText {
	if root := inside[name]; root != nil {
		return &mapText{file: s.file, root: root}
	}
	var t mapText
	if strings.HasSuffix(name, ".yaml") && name == filepath.Base(name) {
		var err error
		if t.text, t.file, err = own(name); err != nil {
			s.faults = append(s.faults, err.(Faults)...) // as readFile makes them
			return nil
		}
	} else {
		text, err := shippedMaps.ReadFile("maps/" + name + ".yaml")
		if err != nil {
			s.add(0, "map", shown(name), strings.Join(MapNames(), ", ")+", or the name of a file that ends in .yaml", instead(name, MapNames()))
			return nil
		}
		t.text, t.file = text, name+".yaml (shipped)"
	}
	ms := newSource(t.file)
	for i, line := range strings.Split(string(t.text), "\n") {
		if strings.HasPrefix(line, "---") || strings.HasPrefix(line, "...") || strings.HasPrefix(line, "%") {
			ms.add(i+1, "", "the mark "+shown(line), "a map without marks of documents", "take the line out")
		}
	}
	if len(ms.faults) == 0 {
		t.root = ms.open(t.text)
	}
	if t.root == nil || len(ms.faults) > 0 {
		s.faults = append(s.faults, ms.faults...)
		return nil
	}
	return &t
}

var parameterUse = regexp.MustCompile(`\$([a-z_0-9]+)(?:([+*])([0-9]+))?`)

// readMapFile reads a map strictly, with its parameters filled in and at a place of
// the machine. It gives the filled points and constants as they stand in the file.
func (s *source) readMapFile(root *yaml.Node, d *DeviceMap, set map[string]int, where []*yaml.Node) (points map[string]*yaml.Node, constants []*yaml.Node) {
	if root.Kind != yaml.MappingNode {
		s.add(root.Line, "", describe(root), "a section with the keys what, layout, tried, parameters, inputs, outputs, identity", "see drumwright help device")
		return nil, nil
	}
	values := parameters(child(root, "parameters"), set)
	points = map[string]*yaml.Node{}
	filled := *root
	filled.Content = slices.Clone(root.Content)
	for i := 0; i+1 < len(filled.Content); i += 2 {
		name, old := filled.Content[i].Value, filled.Content[i+1]
		section := *old
		section.Content = slices.Clone(old.Content)
		switch {
		case (name == "inputs" || name == "outputs") && old.Kind == yaml.MappingNode:
			for k := 1; k < len(section.Content); k += 2 {
				key := section.Content[k-1].Value
				if points[key] != nil {
					s.add(section.Content[k-1].Line, join(name, shown(key)), "the point a second time", "each name once among inputs and outputs", "give it another name")
				}
				section.Content[k] = s.fillPoint(section.Content[k], join(name, shown(key)), values, where)
				points[key] = section.Content[k]
				d.Points = append(d.Points, key)
			}
		case name == "identity" && old.Kind == yaml.SequenceNode:
			for k := range section.Content {
				section.Content[k] = s.fillPoint(section.Content[k], entry(name, k), values, where)
			}
			constants = section.Content
		default:
			continue
		}
		filled.Content[i+1] = &section
	}
	s.read(&filled, "", reflect.ValueOf(d).Elem(), "")
	if len(d.Inputs)+len(d.Outputs) == 0 && s.clean("inputs") && s.clean("outputs") {
		s.add(0, "", "no points", "inputs or outputs", "write at least one point")
	}
	return points, constants
}

// parameters are the values of a map's parameters: those given, else the usual ones,
// else 0.
func parameters(n *yaml.Node, set map[string]int) map[string]int {
	values := map[string]int{}
	if n == nil || n.Kind != yaml.MappingNode {
		return values
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		name := n.Content[i].Value
		values[name] = 0
		if usual := child(n.Content[i+1], "default"); usual != nil {
			values[name], _ = wholeNumber(usual.Value) // what is wrong with it is found when the section is read
		}
		if v, given := set[name]; given {
			values[name] = v
		}
	}
	return values
}

// fillPoint puts parameters and place into a point of a map.
func (s *source) fillPoint(n *yaml.Node, key string, values map[string]int, where []*yaml.Node) *yaml.Node {
	if n.Kind != yaml.MappingNode {
		return n // what is wrong with it is found when it is read
	}
	out := s.fill(n, key, values)
	for i := 0; i+1 < len(out.Content); i += 2 {
		switch k := out.Content[i].Value; k {
		case "bus", "unit", "device", "point":
			s.add(out.Content[i].Line, join(key, k), "the key "+k+" in a map", "bus and unit at the device in the machine file only", "take it out")
			return out
		}
	}
	out.Content = append(out.Content, where...)
	return out
}

func (s *source) fill(n *yaml.Node, key string, values map[string]int) *yaml.Node {
	out := *n
	out.Content = make([]*yaml.Node, len(n.Content))
	for i, c := range n.Content {
		out.Content[i] = s.fill(c, key, values)
	}
	if n.Kind != yaml.ScalarNode || !strings.Contains(n.Value, "$") {
		return &out
	}
	out.Value = parameterUse.ReplaceAllStringFunc(n.Value, func(use string) string {
		part := parameterUse.FindStringSubmatch(use)
		value, ok := values[part[1]]
		if !ok {
			s.add(n.Line, key, shown(use), "the parameters of this map", "list "+part[1]+" under parameters, or correct the name")
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
	if _, err := wholeNumber(out.Value); err == nil {
		out.Tag = "!!int"
	}
	return &out
}

// place is a scalar of the machine file as a key of a point.
func place(key string, line int, value any) []*yaml.Node {
	return []*yaml.Node{{Kind: yaml.ScalarNode, Tag: "!!str", Value: key, Line: line}, {Kind: yaml.ScalarNode, Tag: tagOf(value), Value: fmt.Sprint(value), Line: line}}
}

func tagOf(value any) string {
	if _, number := value.(int); number {
		return "!!int"
	}
	return "!!str"
}
