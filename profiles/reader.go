package profiles

import (
	"fmt"
	"reflect"
	"strings"

	"gopkg.in/yaml.v3"
)

var triggerType = reflect.TypeFor[Trigger]()

// read fills v from a node by the rules of v's type and tag, and notes every
// fault. What has a fault keeps its zero value.
func (s *source) read(n *yaml.Node, key string, v reflect.Value, tag reflect.StructTag) {
	if !s.plainNode(n, key) {
		return
	}
	t := v.Type()
	switch {
	case t.Kind() == reflect.Pointer:
		p := reflect.New(t.Elem())
		s.read(n, key, p.Elem(), tag)
		v.Set(p)
	case t == triggerType || dimensionOf(t, tag) != nil:
		s.readScalar(n, key, v, tag)
	case t.Kind() == reflect.Struct:
		s.readStruct(n, nil, key, v, tag)
	case t.Kind() == reflect.Map:
		s.readMap(n, key, v)
	case t.Kind() == reflect.Slice:
		s.readList(n, key, v, tag)
	default:
		s.readScalar(n, key, v, tag)
	}
}

// plainNode refuses what makes a file say something else than it shows.
func (s *source) plainNode(n *yaml.Node, key string) bool {
	switch {
	case n.Kind == yaml.AliasNode:
		s.add(n.Line, key, "the alias *"+shown(n.Value), "plain values", "write the value out")
		return false
	case n.Anchor != "":
		s.add(n.Line, key, "the anchor &"+shown(n.Anchor), "plain values", "take the anchor out")
		return false
	case n.Style&yaml.TaggedStyle != 0:
		s.add(n.Line, key, "the tag "+shown(n.Tag), "plain values", "take the tag out")
		return false
	}
	return true
}

// describe says what a node is, for messages.
func describe(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.MappingNode:
		return "a section with keys"
	case n.Kind == yaml.SequenceNode:
		return "a list"
	case n.Kind == yaml.ScalarNode && n.Tag == "!!null":
		return "nothing"
	}
	return shown(n.Value)
}

// fieldsOf lists the keys of a struct in the order of its fields.
func fieldsOf(t reflect.Type) (keys []string, index map[string]int) {
	index = map[string]int{}
	for i := range t.NumField() {
		if k := t.Field(i).Tag.Get("yaml"); k != "" && k != "-" {
			keys = append(keys, k)
			index[k] = i
		}
	}
	return keys, index
}

// pairs goes through a mapping in the order of the file, refusing duplicates
// and merge keys.
func (s *source) pairs(n *yaml.Node, key string, each func(name string, k, v *yaml.Node)) {
	seen := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		if k.Kind != yaml.ScalarNode || !s.plainNode(k, key) {
			if k.Kind != yaml.ScalarNode {
				s.add(k.Line, key, describe(k)+" as a key", "plain words as keys", "write one word before the colon")
			}
			continue
		}
		path := join(key, shown(k.Value))
		if k.Value == "<<" {
			s.add(k.Line, path, "a merge key", "plain keys", "write the keys out")
			continue
		}
		if first, ok := seen[k.Value]; ok {
			_, first = s.located(first)
			s.add(k.Line, path, "the key a second time", fmt.Sprintf("each key once, it stands at line %d already", first), "take one of them out")
			continue
		}
		seen[k.Value] = k.Line
		s.lines[path] = k.Line
		each(k.Value, k, v)
	}
}

// readStruct fills a struct. n may be nil for a section that is left out: then
// only defaults are set. fallback holds defaults of the section as a whole, tag
// is the tag of the field that the section fills.
func (s *source) readStruct(n, fallback *yaml.Node, key string, v reflect.Value, tag reflect.StructTag) {
	keys, index := fieldsOf(v.Type())
	if n != nil {
		if n.Kind != yaml.MappingNode {
			s.add(n.Line, key, describe(n), "a section with the keys "+strings.Join(keys, ", "), "write the keys below it, indented")
			return
		}
		s.pairs(n, key, func(name string, k, value *yaml.Node) {
			path := join(key, shown(name))
			i, ok := index[name]
			if !ok {
				s.add(k.Line, path, "an unknown key", strings.Join(keys, ", "), instead(name, keys))
				return
			}
			f := v.Type().Field(i)
			if f.Type.Kind() == reflect.Struct && f.Type != triggerType && s.plainNode(value, path) {
				s.readStruct(value, defaultNode(f.Tag), path, v.Field(i), f.Tag)
				return
			}
			s.read(value, path, v.Field(i), memberTag(f, tag))
		})
	}
	for i := range v.NumField() {
		f := v.Type().Field(i)
		k := f.Tag.Get("yaml")
		path := join(key, k)
		if k == "" || k == "-" || s.has(path) {
			continue
		}
		if n != nil && f.Tag.Get("need") == "yes" {
			s.fault(path, "no such key", "needed: "+f.Tag.Get("doc"), "add "+k+": with "+allowedText(f.Type, f.Tag))
		}
		def := child(fallback, k)
		if def == nil {
			def = defaultNode(f.Tag)
		}
		switch {
		case f.Type.Kind() == reflect.Struct && f.Type != triggerType:
			s.readStruct(nil, def, path, v.Field(i), f.Tag)
		case def != nil:
			s.read(def, path, v.Field(i), memberTag(f, tag))
		}
	}
}

// memberTag is the tag of a field, with the range of the section it stands in
// if it has none of its own: trips share a type, not a range.
func memberTag(f reflect.StructField, section reflect.StructTag) reflect.StructTag {
	if r := section.Get("range"); r != "" && f.Type == reflect.TypeFor[Celsius]() && f.Tag.Get("range") == "" {
		return f.Tag + reflect.StructTag(` range:"`+r+`"`)
	}
	return f.Tag
}

// defaultNode is the default tag as YAML, nil if there is none.
func defaultNode(tag reflect.StructTag) *yaml.Node {
	text, ok := tag.Lookup("default")
	if !ok {
		return nil
	}
	var doc yaml.Node
	if err := yaml.Unmarshal([]byte(text), &doc); err != nil {
		panic("profiles: default tag " + text + ": " + err.Error()) // a fault of this package, found by any test that reads a file
	}
	return doc.Content[0]
}

// child is the value of a key in a mapping node.
func child(n *yaml.Node, key string) *yaml.Node {
	if n == nil {
		return nil
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			return n.Content[i+1]
		}
	}
	return nil
}

func (s *source) readMap(n *yaml.Node, key string, v reflect.Value) {
	if n.Kind != yaml.MappingNode {
		s.add(n.Line, key, describe(n), "a section with keys", "write the keys below it, indented")
		return
	}
	v.Set(reflect.MakeMap(v.Type()))
	s.pairs(n, key, func(name string, _, value *yaml.Node) {
		e := reflect.New(v.Type().Elem()).Elem()
		s.read(value, join(key, shown(name)), e, "")
		v.SetMapIndex(reflect.ValueOf(name), e)
		s.order[key] = append(s.order[key], name)
	})
}

func (s *source) readList(n *yaml.Node, key string, v reflect.Value, tag reflect.StructTag) {
	const most = 200
	if n.Kind != yaml.SequenceNode {
		s.add(n.Line, key, describe(n), "a list", "begin each entry with a dash, or write [ ] around them")
		return
	}
	if len(n.Content) > most {
		s.add(n.Line, key, fmt.Sprintf("%d entries", len(n.Content)), fmt.Sprintf("up to %d", most), "shorten the list")
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(n.Content), len(n.Content)))
	for i, e := range n.Content {
		s.lines[entry(key, i)] = e.Line
		s.read(e, entry(key, i), v.Index(i), tag)
	}
}
