package safety

// Disable makes a row see nothing, for tests of the tests.
func (g *Gate) Disable(id string) {
	g.spoil(id, func(f finding) finding { return finding{} })
}

// Invert makes a row see the opposite.
func (g *Gate) Invert(id string) {
	g.spoil(id, func(f finding) finding { f.active = !f.active; return f })
}

func (g *Gate) spoil(id string, change func(finding) finding) {
	r := find(g.table, id)
	signal := r.signal
	r.signal = func(g *Gate, v *view) finding { return change(signal(g, v)) }
}
