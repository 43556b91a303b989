package profiles

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"

	"drumwright/io/point"
)

// Schema is the JSON Schema (draft 2020-12) of a kind of file, "machine" or
// "recipe", for editors. It is made from the types and their tags. Rules that
// tie keys together are beyond it; Parse checks them.
func Schema(kind string) ([]byte, error) {
	var root reflect.Type
	switch kind {
	case "machine":
		root = reflect.TypeFor[Machine]()
	case "recipe":
		root = reflect.TypeFor[Recipe]()
	default:
		return nil, fmt.Errorf("schema: there is no kind of file called %s, allowed are machine and recipe", shown(kind))
	}
	s := schemaOf(root, "", "")
	s.Dialect = "https://json-schema.org/draft/2020-12/schema"
	s.Title = "drumwright " + kind
	if kind == "machine" {
		p := schemaOf(reflect.TypeFor[Point](), "", "")
		p.AnyOf, p.Required = []*schema{{Required: p.Required}, {Required: []string{"device", "point"}}}, nil
		s.Defs = map[string]*schema{"point": p}
	}
	out, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("schema of a %s: %w", kind, err)
	}
	return append(out, '\n'), nil
}

// schema is the part of JSON Schema that the files need. Maps are written by
// encoding/json with sorted keys.
type schema struct {
	Dialect     string             `json:"$schema,omitempty"`
	Ref         string             `json:"$ref,omitempty"`
	Defs        map[string]*schema `json:"$defs,omitempty"`
	Title       string             `json:"title,omitempty"`
	Description string             `json:"description,omitempty"`
	Type        any                `json:"type,omitempty"`
	Pattern     string             `json:"pattern,omitempty"`
	Enum        []string           `json:"enum,omitempty"`
	Minimum     *float64           `json:"minimum,omitempty"`
	Maximum     *float64           `json:"maximum,omitempty"`
	Default     any                `json:"default,omitempty"`
	Required    []string           `json:"required,omitempty"`
	AnyOf       []*schema          `json:"anyOf,omitempty"`
	Properties  map[string]*schema `json:"properties,omitempty"`
	Additional  any                `json:"additionalProperties,omitempty"`
	Items       *schema            `json:"items,omitempty"`
}

// schemaOf describes a type; path is its key, which tells inputs from outputs.
func schemaOf(t reflect.Type, path string, tag reflect.StructTag) *schema {
	s := &schema{Description: tag.Get("doc")}
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if d := dimensionOf(t, tag); d != nil {
		s.Type, s.Pattern = "string", d.pattern()
		s.Description = strings.TrimPrefix(s.Description+"; "+allowedText(t, tag), "; ")
		s.setDefault(tag.Get("default"))
		return s
	}
	lo, hi, ranged := span(tag)
	if ranged {
		s.Minimum, s.Maximum = &lo, &hi
	}
	switch {
	case t == triggerType:
		s.Type, s.Pattern = "string", triggerPattern()
	case t.Kind() == reflect.Struct:
		s.Minimum, s.Maximum = nil, nil
		s.object(t, tag)
		if d := tag.Get("default"); d != "" {
			s.Description += "; default " + strings.NewReplacer("{at: ", "", ", after: ", " after ", "}", "").Replace(d)
		}
	case t.Kind() == reflect.Map:
		s.Type = "object"
		s.mapOf(t, path)
	case t.Kind() == reflect.Slice:
		s.Type, s.Items = "array", schemaOf(t.Elem(), path, "")
	case t.Kind() == reflect.Bool:
		s.Type = "boolean"
	case t.Kind() == reflect.Int:
		s.Type = "integer"
		if v, err := wholeNumber(tag.Get("default")); err == nil {
			s.Default = v
		}
	case t.Kind() == reflect.Float64:
		s.Type = "number"
		if v, err := plainNumber(tag.Get("default")); err == nil {
			s.Default = v
		}
	default:
		s.Type = "string"
		if words := tag.Get("enum"); words != "" {
			s.Enum = strings.Split(words, ",")
		}
		s.setDefault(tag.Get("default"))
	}
	return s
}

func (s *schema) setDefault(text string) {
	if text != "" {
		s.Default = text
	}
}

func (s *schema) object(t reflect.Type, tag reflect.StructTag) {
	s.Type, s.Additional, s.Properties = "object", false, map[string]*schema{}
	keys, index := fieldsOf(t)
	for _, k := range keys {
		f := t.Field(index[k])
		s.Properties[k] = schemaOf(f.Type, k, memberTag(f, tag))
		if f.Tag.Get("need") == "yes" {
			s.Required = append(s.Required, k)
		}
	}
}

// mapOf lists the roles as the keys of inputs and outputs; other maps have keys
// of the writer's own.
func (s *schema) mapOf(t reflect.Type, path string) {
	add := func(r point.Role) {
		e := &schema{Ref: "#/$defs/point", Description: r.About}
		if r.Unit != "" {
			e.Description += ", " + r.Unit
		}
		s.Properties[r.Name] = e
	}
	switch path {
	case "inputs":
		s.Properties, s.Additional = map[string]*schema{}, false
		for i := range point.NumInputs {
			add(i.Role())
		}
	case "outputs":
		s.Properties, s.Additional = map[string]*schema{}, false
		for o := range point.NumOutputs {
			add(o.Role())
		}
	default:
		s.Additional = schemaOf(t.Elem(), "", "")
	}
}

// pattern is a regular expression for the quantity, as parse reads it.
func (d *dimension) pattern() string {
	const number, gap = `-?[0-9]+(\.[0-9]+)? *`, ` *`
	names := func(units ...string) string { return strings.Join(units, "|") }
	if d.sum {
		part := func(unit string) string { return `([0-9]+(\.[0-9]+)? *` + unit + gap + `)?` }
		return `^` + part("h") + part("min") + part("s") + part("ms") + `$`
	}
	var units []string
	for _, u := range d.units {
		units = append(units, u.name)
	}
	return `^` + number + `(` + names(units...) + `)$`
}

func triggerPattern() string {
	inner := func(d *dimension) string { return strings.Trim(d.pattern(), "^$") }
	return `^(charge|bean ` + inner(celsius) + `|loss ` + inner(share) + `|first crack( *\+ *` + inner(seconds) + `)?|` + inner(seconds) + `)$`
}
