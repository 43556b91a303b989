package profiles_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"gopkg.in/yaml.v3"

	"drumwright/profiles"
)

func TestSchemasAreUpToDate(t *testing.T) {
	for _, kind := range []string{"machine", "recipe"} {
		got, err := profiles.Schema(kind)
		if err != nil {
			t.Fatal(err)
		}
		golden(t, filepath.Join("schema", kind+".schema.json"), string(got))
	}
	if _, err := profiles.Schema("grinder"); err == nil {
		t.Error("a schema for an unknown kind of file")
	}
}

// The schema must take every shipped file: editors would mark right lines as
// wrong otherwise.
func TestExamplesMeetTheSchema(t *testing.T) {
	for _, name := range profiles.ExampleNames() {
		data, _ := profiles.Example(name)
		for _, complaint := range against(t, schemaFor(t, name), data) {
			t.Errorf("%s: %s", name, complaint)
		}
	}
}

// What the schema can see in the broken files, it must see.
func TestSchemaRefuses(t *testing.T) {
	for _, name := range []string{
		"machine-unknown-key", "machine-wrong-kind", "machine-no-unit", "machine-wrong-unit", "machine-decimal-comma", "machine-missing-keys",
		"machine-missing-section", "machine-unknown-word", "machine-unknown-role", "machine-not-whole", "machine-sexagesimal", "machine-unknown-section",
		"recipe-fahrenheit-without-unit", "recipe-no-latest", "recipe-trigger",
	} {
		data, err := os.ReadFile(filepath.Join(testFiles, "broken", name+".yaml"))
		if err != nil {
			t.Fatal(err)
		}
		if len(against(t, schemaFor(t, name), data)) == 0 {
			t.Errorf("%s passes the schema", name)
		}
	}
}

func schemaFor(t *testing.T, name string) map[string]any {
	t.Helper()
	kind, _, _ := strings.Cut(name, "-")
	kind = strings.TrimSuffix(strings.Split(kind, "/")[0], "s")
	text, err := profiles.Schema(kind)
	if err != nil {
		t.Fatal(err)
	}
	var s map[string]any
	if err := json.Unmarshal(text, &s); err != nil {
		t.Fatal(err)
	}
	return s
}

func against(t *testing.T, schema map[string]any, data []byte) []string {
	t.Helper()
	var doc any
	if err := yaml.Unmarshal(data, &doc); err != nil {
		t.Fatal(err)
	}
	defs, _ := schema["$defs"].(map[string]any)
	v := validator{defs: defs}
	v.check("", schema, doc)
	return v.complaints
}

// validator knows the part of JSON Schema (draft 2020-12) that the schemas use,
// and stops at anything else.
type validator struct {
	defs       map[string]any
	complaints []string
}

func (v *validator) say(path, format string, args ...any) {
	v.complaints = append(v.complaints, path+": "+fmt.Sprintf(format, args...))
}

func (v *validator) check(path string, s map[string]any, x any) {
	for key, rule := range s {
		switch key {
		case "$schema", "$defs", "title", "description", "default", "properties":
		case "$ref":
			v.check(path, v.defs[strings.TrimPrefix(rule.(string), "#/$defs/")].(map[string]any), x)
		case "type":
			if !isType(rule.(string), x) {
				v.say(path, "%v is no %v", x, rule)
			}
		case "pattern":
			if text, ok := x.(string); ok && !regexp.MustCompile(rule.(string)).MatchString(text) {
				v.say(path, "%q does not match %v", text, rule)
			}
		case "enum":
			if !slices.Contains(rule.([]any), x) {
				v.say(path, "%v is none of %v", x, rule)
			}
		case "minimum":
			if f, ok := number(x); ok && f < rule.(float64) {
				v.say(path, "%v is below %v", x, rule)
			}
		case "maximum":
			if f, ok := number(x); ok && f > rule.(float64) {
				v.say(path, "%v is above %v", x, rule)
			}
		case "required":
			m, _ := x.(map[string]any)
			for _, k := range rule.([]any) {
				if _, ok := m[k.(string)]; !ok {
					v.say(path, "%v is missing", k)
				}
			}
		case "anyOf":
			met := false
			for _, r := range rule.([]any) {
				one := validator{defs: v.defs}
				one.check(path, r.(map[string]any), x)
				met = met || len(one.complaints) == 0
			}
			if !met {
				v.say(path, "none of %v is met", rule)
			}
		case "items":
			list, _ := x.([]any)
			for i, e := range list {
				v.check(fmt.Sprintf("%s[%d]", path, i), rule.(map[string]any), e)
			}
		case "additionalProperties":
			v.members(path, s, rule, x)
		default:
			v.say(path, "the schema has the rule %s, which this test does not know", key)
		}
	}
}

func (v *validator) members(path string, s map[string]any, additional, x any) {
	m, _ := x.(map[string]any)
	properties, _ := s["properties"].(map[string]any)
	for k, e := range m {
		if p, ok := properties[k]; ok {
			v.check(path+"."+k, p.(map[string]any), e)
		} else if a, ok := additional.(map[string]any); ok {
			v.check(path+"."+k, a, e)
		} else {
			v.say(path, "unknown key %s", k)
		}
	}
}

func isType(name string, x any) bool {
	f, num := number(x)
	switch name {
	case "object":
		_, ok := x.(map[string]any)
		return ok
	case "array":
		_, ok := x.([]any)
		return ok
	case "string":
		_, ok := x.(string)
		return ok
	case "boolean":
		_, ok := x.(bool)
		return ok
	case "integer":
		return num && f == math.Trunc(f)
	case "number":
		return num
	}
	return false
}

func number(x any) (float64, bool) {
	switch n := x.(type) {
	case int:
		return float64(n), true
	case float64:
		return n, true
	}
	return 0, false
}

// Every key of the files is shown in the shipped examples, once at least with a
// comment on its line.
func TestExamplesShowEveryKey(t *testing.T) {
	for _, kind := range []string{"machine", "recipe"} {
		var all strings.Builder
		for _, name := range profiles.ExampleNames() {
			if strings.HasPrefix(name, kind) {
				data, _ := profiles.Example(name)
				all.Write(data)
			}
		}
		for _, key := range keysOf(schemaFor(t, kind+"s/"), nil) {
			shown := regexp.MustCompile(`(?m)(^|[ {,-])` + regexp.QuoteMeta(key) + `:.*#`)
			if !shown.MatchString(all.String()) {
				t.Errorf("%s: no example shows and explains the key %s", kind, key)
			}
		}
	}
}

// keysOf collects the keys that the schema requires or allows, without the
// roles, of which no machine has all.
func keysOf(s map[string]any, keys []string) []string {
	add := func(x any) {
		if m, ok := x.(map[string]any); ok {
			keys = keysOf(m, keys)
		}
	}
	properties, _ := s["properties"].(map[string]any)
	for k, p := range properties {
		if p.(map[string]any)["$ref"] == nil {
			keys = append(keys, k)
		}
		add(p)
	}
	add(s["items"])
	add(s["additionalProperties"])
	defs, _ := s["$defs"].(map[string]any)
	for _, d := range defs {
		add(d)
	}
	slices.Sort(keys)
	return slices.Compact(keys)
}
