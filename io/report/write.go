package report

import (
	"bytes"
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
)

//go:embed page.html
var pageSource string

//go:embed page.css
var styleSource string

// headSource begins every page: nothing is fetched from anywhere.
//
//go:embed head.html
var headSource string

// parse makes a kind of page of its own source and what all kinds share; funcs
// come on top.
func parse(name, source string, funcs template.FuncMap) *template.Template {
	shared := template.FuncMap{"clean": clean, "style": func() template.CSS { return template.CSS(styleSource) }}
	return template.Must(template.New(name).Funcs(shared).Funcs(funcs).Parse(headSource + source))
}

// write writes a page whole, or nothing of it.
func write(w io.Writer, t *template.Template, what any) error {
	var b bytes.Buffer
	if err := t.Execute(&b, what); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("report: writing: %w", err)
	}
	return nil
}

var page = parse("page", pageSource, template.FuncMap{
	"clock":   clock,
	"title":   title,
	"plots":   func(s *Session, i int) template.HTML { return plots(&s.Batches[i], plotHeight(s, i)) },
	"rows":    figureRows,
	"about":   about,
	"ordered": ordered,
	"inc":     func(i int) int { return i + 1 },
})

// Write writes the report of a session. Nothing is written if the session
// cannot be drawn.
func Write(w io.Writer, s *Session) error {
	for i := range s.Batches {
		if err := s.Batches[i].check(); err != nil {
			return err
		}
	}
	return write(w, page, s)
}

// ordered are the events in order of time: some are noticed after they were.
func ordered(list []Event) []Event {
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b Event) int { return cmp.Compare(a.S, b.S) })
	return list
}

func title(s *Session) string {
	if m := clean(s.Machine); m != "" {
		return "Roasting session, " + m
	}
	return "Roasting session"
}

// about is the line under the title: what is known of machine, site, recipe and
// start.
func about(s *Session) string {
	var parts []string
	for _, p := range [...]struct{ name, value string }{
		{"machine ", s.Machine}, {"site ", s.Site}, {"recipe ", s.Recipe},
	} {
		if v := clean(p.value); v != "" {
			parts = append(parts, p.name+v)
		}
	}
	if !s.Start.IsZero() {
		parts = append(parts, "session started "+s.Start.Format("2006-01-02 15:04 MST"))
	}
	return strings.Join(parts, " · ")
}

// figuresInRow is how many figures stand side by side.
const figuresInRow = 3

// figureRows sets the figures in rows.
func figureRows(f []Figure) [][]Figure {
	var rows [][]Figure
	for ; len(f) > figuresInRow; f = f[figuresInRow:] {
		rows = append(rows, f[:figuresInRow])
	}
	if len(f) > 0 {
		rows = append(rows, f)
	}
	return rows
}
