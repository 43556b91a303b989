package profiles

import (
	"maps"
	"reflect"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// partLines is more lines than a file can have: lines of the n-th map are numbered
// from n times this on, so that a line number alone names its file too.
const partLines = 1 << 21

// located is the file and the line of it that a line number means.
func (s *source) located(line int) (file string, at int) {
	if part := line / partLines; part > 0 {
		return s.parts[part-1], line % partLines
	}
	return s.file, line
}

// include puts the points of the machine's devices, as their maps lay them out, in
// place of what the machine file says of them, and adds the devices' constants. It
// reports whether the maps are sound.
func (s *source) include(root *yaml.Node, m *Machine, inside map[string]*yaml.Node, own mapFile) bool {
	m.Maps, m.mapTexts = map[string]*DeviceMap{}, map[string]mapText{}
	points := map[string]map[string]*yaml.Node{} // device → point → its keys
	before := len(s.faults)
	if root.Kind != yaml.MappingNode {
		return true // found when the file is read
	}
	if devices := child(root, "devices"); devices != nil && devices.Kind == yaml.MappingNode {
		for i := 0; i+1 < len(devices.Content); i += 2 {
			name, n := devices.Content[i].Value, devices.Content[i+1]
			var d Device
			probe := newSource(s.file)
			probe.lines[""] = n.Line
			probe.read(n, "", reflect.ValueOf(&d).Elem(), "")
			if len(probe.faults) > 0 {
				s.adopt(probe.faults, join("devices", shown(name)), "")
				continue
			}
			points[name] = s.includeMap(root, m, name, &d, n.Line, inside, own)
		}
	}
	if len(s.faults) > before {
		return false
	}
	for _, section := range [...]string{"inputs", "outputs"} {
		list := child(root, section)
		if list == nil || list.Kind != yaml.MappingNode {
			continue
		}
		for i := 0; i+1 < len(list.Content); i += 2 {
			if n := list.Content[i+1]; child(n, "device") != nil || child(n, "point") != nil {
				list.Content[i+1] = s.includePoint(m, section, list.Content[i].Value, n, points)
			}
		}
	}
	return len(s.faults) == before
}

// includeMap reads the map of one device and gives its points at this device.
func (s *source) includeMap(root *yaml.Node, m *Machine, name string, d *Device, line int, inside map[string]*yaml.Node, own mapFile) map[string]*yaml.Node {
	finder := newSource(s.file)
	t := finder.findMap(d.Map, inside, own)
	if t == nil {
		for _, f := range finder.faults {
			if f.File == s.file { // it is not there at all
				f.Line, f.Key = line, join("devices", shown(name))+".map"
			}
			s.faults = append(s.faults, f)
		}
		return nil
	}
	kind := &DeviceMap{Name: d.Map, File: t.file}
	ms := newSource(t.file)
	points, constants := ms.readMapFile(t.root, kind, d.With, append(place("bus", 0, d.Bus), place("unit", 0, d.Unit)...))
	if key := join("devices", shown(name)) + ".with"; ms.clean("parameters") {
		known := slices.Sorted(maps.Keys(kind.Parameters))
		for _, p := range slices.Sorted(maps.Keys(d.With)) {
			if !slices.Contains(known, p) {
				s.add(line, join(key, shown(p)), "no parameter of "+d.Map, listed(known), instead(p, known))
			}
		}
		for _, p := range known {
			if _, given := d.With[p]; !given && kind.Parameters[p].Default == nil {
				s.add(line, join(key, p), "no such key", "needed by "+d.Map+": "+kind.Parameters[p].What, "add with: {"+p+": …}")
			}
		}
	}
	s.adopt(ms.faults, "", "; the device "+shown(name)+" uses this map")
	m.Maps[name], m.mapTexts[d.Map] = kind, *t
	base := 0
	if t.text != nil {
		s.parts = append(s.parts, t.file)
		base = len(s.parts) * partLines
	}
	for k, p := range points {
		points[k] = inPart(p, base, line)
	}
	if len(constants) > 0 {
		list := child(root, "identity")
		if list == nil {
			list = &yaml.Node{Kind: yaml.SequenceNode, Tag: "!!seq", Line: line}
			root.Content = append(root.Content, &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: "identity", Line: line}, list)
		}
		for _, c := range constants {
			list.Content = append(list.Content, inPart(c, base, line))
		}
	}
	return points
}

// adopt takes over the faults that another source has found.
func (s *source) adopt(faults Faults, section, why string) {
	for _, f := range faults {
		if section != "" {
			f.Key = join(section, f.Key)
		}
		f.Hint += why
		s.faults = append(s.faults, f)
	}
}

// inPart is a node whose lines are those of a part; what has no line is of the
// machine file.
func inPart(n *yaml.Node, base, line int) *yaml.Node {
	out := *n
	if out.Line > 0 {
		out.Line += base
	} else {
		out.Line = line
	}
	out.Content = make([]*yaml.Node, len(n.Content))
	for i, c := range n.Content {
		out.Content[i] = inPart(c, base, line)
	}
	return &out
}

// includePoint is a point of the machine file with what the map says of it. What
// the machine file says itself counts before the map.
func (s *source) includePoint(m *Machine, section, role string, n *yaml.Node, points map[string]map[string]*yaml.Node) *yaml.Node {
	key := join(section, shown(role))
	x := Included{Role: role, Output: section == "outputs"}
	for _, k := range [...]struct {
		name string
		to   *string
	}{{"device", &x.Device}, {"point", &x.Point}} {
		v := child(n, k.name)
		if v == nil || v.Kind != yaml.ScalarNode {
			s.add(n.Line, join(key, k.name), "no such word", "device, the name of one of devices, and point, a point of its map", "write both or neither")
			return n
		}
		*k.to = v.Value
	}
	kind := m.Maps[x.Device]
	if kind == nil {
		s.add(n.Line, join(key, "device"), shown(x.Device), listed(slices.Sorted(maps.Keys(m.Maps))), instead(x.Device, slices.Sorted(maps.Keys(m.Maps))))
		return n
	}
	laid := points[x.Device][x.Point]
	at, isInput := kind.Inputs[x.Point]
	if laid == nil || isInput == x.Output {
		var names []string
		for _, p := range kind.Points {
			if _, in := kind.Inputs[p]; in != x.Output {
				names = append(names, p)
			}
		}
		s.add(n.Line, join(key, "point"), shown(x.Point), listed(names)+" of "+kind.Name, instead(x.Point, names))
		return n
	}
	x.File, x.Line = s.located(laid.Line)
	out := *n
	out.Content = slices.Clone(n.Content)
	for i := 0; i+1 < len(n.Content); i += 2 {
		switch k := n.Content[i].Value; k {
		case "device", "point":
		case "bus", "unit":
			s.add(n.Content[i].Line, join(key, k), "the key "+k+" with a device", "it stands at devices."+x.Device, "take it out")
		default:
			x.Own = append(x.Own, k)
		}
	}
	for i := 0; i+1 < len(laid.Content); i += 2 {
		if k := laid.Content[i].Value; k != "min" && k != "max" && child(n, k) == nil {
			out.Content = append(out.Content, laid.Content[i], laid.Content[i+1])
		}
	}
	// What the device can give narrows what the role may be, and widens nothing.
	r := [2]*float64{at.Min, at.Max}
	for i, k := range [...]string{"min", "max"} {
		if child(n, k) != nil {
			r[i] = nil
		}
	}
	s.ranges[key] = r
	m.Included = append(m.Included, x)
	return &out
}

func listed(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}

// wholeText is a machine file followed by the maps it uses, each behind its name as
// a document of its own: all that ParseMachine needs to make the machine again.
func wholeText(data []byte, used map[string]mapText) string {
	text := string(data)
	for _, name := range slices.Sorted(maps.Keys(used)) {
		if used[name].text == nil {
			continue
		}
		if !strings.HasSuffix(text, "\n") {
			text += "\n"
		}
		text += "--- " + name + "\n---\n" + string(used[name].text)
	}
	return text
}

// mapsInside are the maps that stand in a machine's text behind the machine file.
func (s *source) mapsInside(docs []*yaml.Node) map[string]*yaml.Node {
	inside := map[string]*yaml.Node{}
	for i := 1; i < len(docs); i += 2 {
		name := docs[i].Content[0]
		if name.Kind != yaml.ScalarNode || name.Value == "" || i+1 == len(docs) {
			s.secondDocument(docs[i])
			break
		}
		inside[name.Value] = docs[i+1].Content[0]
	}
	return inside
}
