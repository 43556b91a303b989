package report

import (
	"bytes"
	_ "embed"
	"html/template"
	"io"
)

// Machine is a page of the figures of a machine, to be checked by others.
type Machine struct {
	Title, Machine, About string
	Warnings              []string
	Parts                 []Part
	Foot                  string
}

// Part is one section of it.
type Part struct {
	Title, Note string
	Drawing     []byte // an SVG of ours, trusted; nil = none
	Table       Table
	List        []string
	Small       bool // many columns
	NewPage     bool
}

//go:embed machine.html
var machineSource string

//go:embed machine.css
var machineStyle string

var machine = parse("machine", machineSource, template.FuncMap{
	"style": func() template.CSS { return template.CSS(machineStyle) },
	"drawing": func(svg []byte) template.HTML { // a page has its own declaration
		return template.HTML(svg[max(0, bytes.Index(svg, []byte("<svg"))):])
	},
})

// WriteMachine writes the page. Nothing is written if it cannot be made.
func WriteMachine(w io.Writer, m *Machine) error { return write(w, machine, m) }
