package fieldbus

import (
	"cmp"
	"slices"

	"drumwright/io/point"
)

// Most that one request may read (Modbus application protocol V1.1b3,
// sections 6.1 to 6.4).
const (
	maxRegisters = 125
	maxBits      = 2000
)

// bitsPerHoleWord turns a permitted hole in registers into one in bits: the
// bytes on the wire are the same.
const bitsPerHoleWord = 16

// span is one access to be read: a stretch of one table of one unit.
type span struct {
	role       source
	unit       uint8
	table      point.Table
	start, end int // [start, end)
	every      int
	alone      bool
}

func spanOf(role source, a *point.Access) span {
	s := span{role: role, unit: a.Unit, table: a.Table, start: int(a.Address), every: max(a.EveryScans, 1), alone: a.Alone}
	length := a.SpanWords
	if !a.Table.Bits() {
		length = max(length, a.Type.Words())
	}
	s.end = s.start + max(length, 1)
	return s
}

// cluster is the accesses that one request reads.
type cluster struct {
	span
	roles []source
}

func single(s span) cluster { return cluster{s, []source{s.role}} }

func (c *cluster) add(s span) {
	c.end = max(c.end, s.end)
	c.roles = append(c.roles, s.role)
}

func (c *cluster) same(s *span) bool {
	return c.unit == s.unit && c.table == s.table
}

func limitOf(t point.Table) int {
	if t.Bits() {
		return maxBits
	}
	return maxRegisters
}

// joinable reports whether s, of the same rhythm and starting no earlier than
// the cluster, may be read with it.
func (c *cluster) joinable(s *span, holeWords int) bool {
	if !c.same(s) {
		return false
	}
	if c.alone || s.alone {
		// The same registers twice, as bits of one word, are one access.
		return c.alone && s.alone && c.start == s.start && c.end == s.end
	}
	hole := holeWords
	if s.table.Bits() {
		hole *= bitsPerHoleWord
	}
	return s.start-c.end <= hole && max(c.end, s.end)-c.start <= limitOf(s.table)
}

// clusters groups the accesses of one bus into as few requests as the rules
// allow: one unit, table and rhythm each, no hole wider than holeWords, no
// longer than the protocol allows.
//
// Sorted by start, each access joins the running group as long as it may. That
// is the minimum. Let j be the first access that does not fit the group that
// begins with a. All before j fit together, so some best grouping has them in
// one group: taking them out of other groups opens no hole there, because what
// they bridged there lies inside j (it starts after j and j ends beyond the
// reach of a's group) and can be read with j for nothing. No group that begins
// with a can hold j, so a best grouping of the rest begins at j; and so on.
//
// A slow access that lies inside the group of a faster rhythm is read with it.
func clusters(spans []span, holeWords int) []cluster {
	sorted := slices.Clone(spans)
	slices.SortStableFunc(sorted, func(a, b span) int {
		return cmp.Or(
			cmp.Compare(a.every, b.every),
			cmp.Compare(a.unit, b.unit),
			cmp.Compare(a.table, b.table),
			cmp.Compare(boolInt(a.alone), boolInt(b.alone)),
			cmp.Compare(a.start, b.start),
			cmp.Compare(a.end, b.end),
		)
	})
	var out []cluster
	faster := 0 // clusters of faster rhythms than the one at hand
	for i, s := range sorted {
		if i > 0 && s.every != sorted[i-1].every {
			faster = len(out)
		}
		if k := inside(out[:faster], &s); k >= 0 {
			out[k].add(s)
			continue
		}
		if n := len(out); n > faster && out[n-1].joinable(&s, holeWords) {
			out[n-1].add(s)
			continue
		}
		out = append(out, single(s))
	}
	return out
}

// inside finds a cluster that reads all of s anyway.
func inside(cs []cluster, s *span) int {
	if s.alone {
		return -1
	}
	return slices.IndexFunc(cs, func(c cluster) bool {
		return c.same(s) && !c.alone && c.start <= s.start && s.end <= c.end
	})
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}

// group is a cluster as it is being read, owned by its bus.
type group struct {
	cluster
	u      *unit
	offset uint64 // stagger: slow groups of a bus fall due in different scans
	owed   bool   // fell due, not asked yet
	refuse bool   // the device refused the joined read

	// What came of the group in flight, until the scan has taken it in.
	answered bool
	failed   error
}

// stagger spreads slow groups over the scans, so that they do not all fall due
// in the same one.
func stagger(gs []group) {
	n := uint64(0)
	for i := range gs {
		gs[i].owed = true // all are due in the first scan
		if gs[i].every > 1 {
			gs[i].offset = n % uint64(gs[i].every)
			n++
		}
	}
}

func (g *group) due(scan uint64) bool {
	return g.owed || (scan+g.offset)%uint64(g.every) == 0
}

// split gives every access of a group a request of its own.
func (g *group) split(in *[numSources]point.Access) []group {
	var parts []group
	for _, role := range g.roles {
		s := spanOf(role, &in[role])
		s.every = g.every
		parts = append(parts, group{cluster: single(s), u: g.u, offset: g.offset, owed: true})
	}
	return parts
}
