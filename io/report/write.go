package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
)

//go:embed page.html
var pageSource string

//go:embed page.css
var styleSource string

var page = template.Must(template.New("page").Funcs(template.FuncMap{
	"clean": clean,
	"clock": clock,
	"style": func() template.CSS { return template.CSS(styleSource) },
	"plots": func(s *Session, i int) template.HTML { return plots(&s.Batches[i], plotHeight(s, i)) },
	"rows":  figureRows,
	"about": about,
	"inc":   func(i int) int { return i + 1 },
}).Parse(pageSource))

// Write writes the report of a session. Nothing is written if the session
// cannot be drawn.
func Write(w io.Writer, s *Session) error {
	for i := range s.Batches {
		if err := s.Batches[i].check(); err != nil {
			return err
		}
	}
	var b bytes.Buffer
	if err := page.Execute(&b, s); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("report: writing: %w", err)
	}
	return nil
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
