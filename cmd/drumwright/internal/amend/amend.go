package amend

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// Edit is one change. Exactly one of Value and Lines is set, or neither to take
// the key out.
type Edit struct {
	Path  string   // keys joined by dots, such as bed.drum_heat
	Value string   // the new scalar, as it stands in the file
	Lines []string // or a list below the key, an item a line
}

// Apply makes the edits one after the other. note, such as a date, goes with
// each earlier value.
func Apply(text []byte, edits []Edit, note string) ([]byte, error) {
	lines := strings.Split(strings.TrimRight(string(text), "\n"), "\n")
	for _, e := range edits {
		var root yaml.Node
		if err := yaml.Unmarshal([]byte(strings.Join(lines, "\n")), &root); err != nil {
			return nil, fmt.Errorf("change %s: the file is no YAML: %w", e.Path, err)
		}
		if len(root.Content) == 0 || root.Content[0].Kind != yaml.MappingNode {
			return nil, fmt.Errorf("change %s: the file holds no keys", e.Path)
		}
		var err error
		if lines, err = e.apply(lines, root.Content[0], note); err != nil {
			return nil, err
		}
	}
	var b bytes.Buffer
	for _, l := range lines {
		b.WriteString(strings.TrimRight(l, " ") + "\n")
	}
	return b.Bytes(), nil
}

func (e Edit) apply(lines []string, at *yaml.Node, note string) ([]string, error) {
	keys := strings.Split(e.Path, ".")
	owner := (*yaml.Node)(nil) // key of the mapping at
	for i, k := range keys {
		key, value := child(at, k)
		switch {
		case key == nil:
			if e.Value == "" && e.Lines == nil {
				return lines, nil // nothing to take out
			}
			return e.add(lines, at, owner, keys[i:])
		case i == len(keys)-1:
			if value.Kind == yaml.ScalarNode && e.Value != "" {
				return e.replace(lines, value, note)
			}
			return e.comment(lines, at, key, value, note)
		case value.Kind != yaml.MappingNode:
			return nil, e.byHand("the value of " + k + " is not a list of keys")
		}
		owner, at = key, value
	}
	return lines, nil
}

func (e Edit) byHand(why string) error {
	return fmt.Errorf("change %s: %s; write it into the file by hand", e.Path, why)
}

func child(m *yaml.Node, name string) (key, value *yaml.Node) {
	for i := 0; i+1 < len(m.Content); i += 2 {
		if m.Content[i].Value == name {
			return m.Content[i], m.Content[i+1]
		}
	}
	return nil, nil
}

// replace puts the new scalar in place of the old one.
func (e Edit) replace(lines []string, v *yaml.Node, note string) ([]string, error) {
	l := lines[v.Line-1]
	rest := []rune(l)[v.Column-1:]
	old := []rune(v.Value)
	if v.Style != 0 || len(rest) < len(old) || string(rest[:len(old)]) != v.Value {
		return nil, e.byHand("the value is written over several lines or in quotes")
	}
	tail := string(rest[len(old):])
	if spare := len(old) - len([]rune(e.Value)); spare > 0 && strings.HasPrefix(tail, " ") {
		tail = strings.Repeat(" ", spare) + tail // comments stay in their column
	} else if spare < 0 {
		for ; spare < 0 && strings.HasPrefix(tail, "  "); spare++ {
			tail = tail[1:]
		}
	}
	mark := "  # "
	if strings.Contains(tail, " #") {
		mark = "; "
	}
	out := slices.Clone(lines)
	out[v.Line-1] = string([]rune(l)[:v.Column-1]) + e.Value + tail + mark + "before " + note + ": " + v.Value
	return out, nil
}

// comment turns a key with all below it into comments, and puts the new block
// in its place if there is one.
func (e Edit) comment(lines []string, in, key, value *yaml.Node, note string) ([]string, error) {
	if in.Style&yaml.FlowStyle != 0 {
		return e.inBraces(lines, value, note)
	}
	indent := strings.Repeat(" ", key.Column-1)
	var out []string
	out = append(out, lines[:key.Line-1]...)
	if e.Lines != nil {
		out = append(out, e.block(indent, []string{key.Value})...)
	} else if e.Value != "" {
		return nil, e.byHand("a list of keys stands there")
	}
	out = append(out, indent+"# before "+note+":")
	end := last(value)
	for _, l := range lines[key.Line-1 : end] {
		out = append(out, indent+"# "+strings.TrimPrefix(l, indent))
	}
	return append(out, lines[end:]...), nil
}

// last is the last line of a node.
func last(n *yaml.Node) int {
	end := n.Line
	for _, c := range n.Content {
		end = max(end, last(c))
	}
	return end
}

// add writes the missing keys right below their owner, or at the end.
func (e Edit) add(lines []string, in, owner *yaml.Node, keys []string) ([]string, error) {
	if len(in.Content) == 0 {
		return nil, e.byHand("its section is empty")
	}
	if in.Style&yaml.FlowStyle != 0 {
		end := closing([]rune(lines[in.Line-1]), in.Column-1)
		if end < 0 || len(keys) > 1 {
			return nil, e.byHand("its section stands in braces over several lines")
		}
		l, out := []rune(lines[in.Line-1]), slices.Clone(lines)
		out[in.Line-1] = string(l[:end]) + ", " + keys[0] + ": " + e.flow() + string(l[end:])
		return out, nil
	}
	indent := strings.Repeat(" ", in.Content[0].Column-1)
	if owner == nil {
		return append(slices.Clone(lines), e.block(indent, keys)...), nil
	}
	return slices.Insert(slices.Clone(lines), owner.Line, e.block(indent, keys)...), nil
}

// inBraces puts the new value in place of a list within braces.
func (e Edit) inBraces(lines []string, v *yaml.Node, note string) ([]string, error) {
	l, from := []rune(lines[v.Line-1]), v.Column-1
	end := closing(l, from)
	if end < 0 || e.Value == "" && e.Lines == nil {
		return nil, e.byHand("it stands in braces")
	}
	mark := "  # "
	if strings.Contains(string(l[end:]), " #") {
		mark = "; "
	}
	out := slices.Clone(lines)
	out[v.Line-1] = string(l[:from]) + e.flow() + string(l[end+1:]) + mark + "before " + note + ": " + string(l[from:end+1])
	return out, nil
}

// closing is where the brace or bracket at from is closed on its line, -1 if it
// is not.
func closing(l []rune, from int) int {
	depth := 0
	for i := from; i < len(l); i++ {
		switch l[i] {
		case '{', '[':
			depth++
		case '}', ']':
			if depth--; depth == 0 {
				return i
			}
		case '"', '\'', '#':
			return -1
		}
		if depth == 0 {
			return -1
		}
	}
	return -1
}

// flow is the new value on one line.
func (e Edit) flow() string {
	if e.Lines == nil {
		return e.Value
	}
	var items []string
	for _, l := range e.Lines {
		items = append(items, strings.TrimPrefix(l, "- "))
	}
	return "[" + strings.Join(items, ", ") + "]"
}

// block is the value below its keys.
func (e Edit) block(indent string, keys []string) (out []string) {
	for i, k := range keys {
		l := indent + strings.Repeat("  ", i) + k + ":"
		if i == len(keys)-1 && e.Value != "" {
			l += " " + e.Value
		}
		out = append(out, l)
	}
	for _, l := range e.Lines {
		out = append(out, indent+strings.Repeat("  ", len(keys))+l)
	}
	return out
}
