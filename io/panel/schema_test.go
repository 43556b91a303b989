package panel

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"drumwright/io/record"
	"drumwright/io/say"
)

var update = flag.Bool("update", false, "write the part of openapi.yaml that is made from the Go types")

// madeMark begins the part of openapi.yaml that is made from the Go types.
const madeMark = "    # What follows is made from the Go types"

// answered are the types of all answers in JSON.
var answered = []any{sessionView{}, controlView{}, machineHere{}, record.View{}, record.StatusView{}, record.MeasuredView{}, record.AlarmsView{}, record.EventView{}, say.Now{},
	record.Answer{}, record.KeptBatch{}, record.KeptDetail{}, record.KeptAlarm{}, record.Entry{}, record.Weighing{}, record.GreenAhead{}, record.RecipeRow{}, record.RecipeView{},
	record.RecipeCheck{}, record.RecipeVersion{}, record.LessonBook{}, record.ProofBook{}, record.CommissionBook{}, record.Matrix{}, record.Audit{}}

// The part of the description that says what answers look like follows from the
// types that are marshalled, comments and all.
func TestDescribedTypes(t *testing.T) {
	head, made, found := bytes.Cut(description, []byte(madeMark))
	if !found {
		t.Fatalf("openapi.yaml has no line %q", madeMark)
	}
	rest, _, _ := bytes.Cut(made, []byte("\n"))
	want := append(bytes.Clone(head), madeMark...)
	want = append(append(want, rest...), '\n')
	want = append(want, schemas(t)...)
	if bytes.Equal(want, description) {
		return
	}
	if *update {
		if err := os.WriteFile("openapi.yaml", want, 0o644); err != nil {
			t.Fatal(err)
		}
		description = want
		return
	}
	t.Error("openapi.yaml does not say what the Go types are: run go test ./io/panel -run Described -update and look at the difference")
}

type schemaMaker struct {
	t     *testing.T
	docs  map[string]string // of Type and Type.Field
	todo  []reflect.Type
	named map[string]reflect.Type
	out   strings.Builder
}

func schemas(t *testing.T) string {
	m := &schemaMaker{t: t, docs: make(map[string]string), named: make(map[string]reflect.Type)}
	for _, folder := range []string{".", "../record", "../say"} {
		m.readDocs(folder)
	}
	for _, a := range answered {
		m.of(reflect.TypeOf(a))
	}
	for len(m.todo) > 0 {
		next := m.todo[0]
		m.todo = m.todo[1:]
		m.write(next)
	}
	return m.out.String()
}

func (m *schemaMaker) readDocs(folder string) {
	files, err := filepath.Glob(filepath.Join(folder, "*.go"))
	if err != nil {
		m.t.Fatal(err)
	}
	for _, f := range files {
		tree, err := parser.ParseFile(token.NewFileSet(), f, nil, parser.ParseComments)
		if err != nil {
			m.t.Fatal(err)
		}
		for _, d := range tree.Decls {
			g, ok := d.(*ast.GenDecl)
			if !ok || g.Tok != token.TYPE {
				continue
			}
			for _, s := range g.Specs {
				m.readType(s.(*ast.TypeSpec), g.Doc)
			}
		}
	}
}

func (m *schemaMaker) readType(s *ast.TypeSpec, doc *ast.CommentGroup) {
	if s.Doc != nil {
		doc = s.Doc
	}
	m.docs[s.Name.Name] = strings.Join(strings.Fields(doc.Text()), " ")
	st, ok := s.Type.(*ast.StructType)
	if !ok {
		return
	}
	for _, f := range st.Fields.List {
		text := strings.Join(strings.Fields(f.Comment.Text()), " ")
		if text == "" {
			text = strings.Join(strings.Fields(f.Doc.Text()), " ")
		}
		for _, n := range f.Names {
			m.docs[s.Name.Name+"."+n.Name] = text
		}
	}
}

func schemaName(t reflect.Type) string { return strings.ToUpper(t.Name()[:1]) + t.Name()[1:] }

// of is the schema of a type; those with a name are referred to.
func (m *schemaMaker) of(t reflect.Type) map[string]any {
	switch t {
	case reflect.TypeFor[record.Number]():
		return map[string]any{"type": []string{"number", "null"}}
	case reflect.TypeFor[time.Time]():
		return map[string]any{"type": "string", "format": "date-time"}
	case reflect.TypeFor[json.RawMessage]():
		return map[string]any{}
	}
	switch t.Kind() {
	case reflect.String:
		return map[string]any{"type": "string"}
	case reflect.Bool:
		return map[string]any{"type": "boolean"}
	case reflect.Float32, reflect.Float64:
		return map[string]any{"type": "number"}
	case reflect.Int, reflect.Int32, reflect.Int64:
		return map[string]any{"type": "integer"}
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return map[string]any{"type": "integer", "minimum": 0}
	case reflect.Slice:
		return map[string]any{"type": []string{"array", "null"}, "items": m.of(t.Elem())}
	case reflect.Map:
		return map[string]any{"type": "object", "additionalProperties": m.of(t.Elem())}
	case reflect.Pointer:
		return map[string]any{"anyOf": []any{m.of(t.Elem()), map[string]any{"type": "null"}}}
	case reflect.Struct:
		name := schemaName(t)
		if had, ok := m.named[name]; ok && had != t {
			m.t.Fatalf("%v and %v have one name", had, t)
		} else if !ok {
			m.named[name] = t
			m.todo = append(m.todo, t)
		}
		return map[string]any{"$ref": "#/components/schemas/" + name}
	}
	m.t.Fatalf("%v cannot be described", t)
	return nil
}

func (m *schemaMaker) write(t reflect.Type) {
	fmt.Fprintf(&m.out, "    %s:\n      type: object\n", schemaName(t))
	if d := m.docs[t.Name()]; d != "" {
		fmt.Fprintf(&m.out, "      description: %s\n", compact(m.t, d))
	}
	var required []string
	var lines strings.Builder
	var fields func(reflect.Type)
	fields = func(t reflect.Type) {
		for i := range t.NumField() {
			f := t.Field(i)
			tag, options, _ := strings.Cut(f.Tag.Get("json"), ",")
			if f.Anonymous && tag == "" {
				fields(f.Type)
				continue
			}
			if tag == "-" || !f.IsExported() {
				continue
			}
			if tag == "" {
				tag = f.Name
			}
			if !strings.Contains(options, "omitempty") {
				required = append(required, tag)
			}
			s := m.of(f.Type)
			if d := m.docs[t.Name()+"."+f.Name]; d != "" {
				s["description"] = d
			}
			fmt.Fprintf(&lines, "        %s: %s\n", tag, compact(m.t, s))
		}
	}
	fields(t)
	slices.Sort(required)
	fmt.Fprintf(&m.out, "      required: %s\n      properties:\n%s", compact(m.t, required), lines.String())
}

// compact is JSON, which is YAML too.
func compact(t *testing.T, v any) string {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(b.String())
}
