package fieldbus

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"drumwright/io/point"
)

func drawSpan(every []int, longest int) *rapid.Generator[span] {
	return rapid.Custom(func(t *rapid.T) span {
		a := point.Access{
			Unit:       rapid.Uint8Range(1, 2).Draw(t, "unit"),
			Table:      point.Table(rapid.IntRange(0, 3).Draw(t, "table")),
			Address:    uint16(rapid.IntRange(0, 200).Draw(t, "address")),
			Type:       rapid.SampledFrom([]point.Type{point.Uint16, point.Float32}).Draw(t, "type"),
			SpanWords:  rapid.IntRange(0, longest).Draw(t, "span"),
			Alone:      rapid.IntRange(0, 9).Draw(t, "alone") == 0,
			EveryScans: rapid.SampledFrom(every).Draw(t, "every"),
		}
		return spanOf(0, &a)
	})
}

// numbered gives each span its own role, so that it can be found again.
func numbered(spans []span) []span {
	for i := range spans {
		spans[i].role = source(i)
	}
	return spans
}

// Limits of the Modbus application protocol V1.1b3: 125 registers, 2000 bits.
func TestGroupsKeepTheRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spans := numbered(rapid.SliceOfN(drawSpan([]int{1, 5, 20}, 60), 0, 30).Draw(t, "spans"))
		hole := rapid.IntRange(0, 64).Draw(t, "hole")
		seen := map[source]int{}
		for _, c := range clusters(spans, hole) {
			if n := c.end - c.start; c.table.Bits() && n > 2000 || !c.table.Bits() && n > 125 {
				t.Fatalf("group of %d in %v", n, c.table)
			}
			var inside []span
			for _, r := range c.roles {
				s := spans[r]
				seen[r]++
				if s.unit != c.unit || s.table != c.table || s.every < c.every || s.start < c.start || s.end > c.end {
					t.Fatalf("span %+v in group %+v", s, c)
				}
				if s.alone && (s.start != c.start || s.end != c.end) {
					t.Fatalf("span %+v is to be read alone, group %+v", s, c)
				}
				inside = append(inside, s)
			}
			if !groupable(inside, hole) {
				t.Fatalf("group %+v has too wide a hole: %+v", c, inside)
			}
		}
		for r := range spans {
			if seen[source(r)] != 1 {
				t.Fatalf("span %d is read %d times", r, seen[source(r)])
			}
		}
	})
}

// groupable states the rules over again for a set of accesses, without order.
func groupable(set []span, holeWords int) bool {
	if len(set) < 2 {
		return true
	}
	set = slices.Clone(set)
	slices.SortFunc(set, func(a, b span) int { return a.start - b.start })
	hole, most := holeWords, 125
	if set[0].table == point.Coil || set[0].table == point.DiscreteInput {
		hole, most = 16*holeWords, 2000
	}
	end := set[0].end
	for _, s := range set[1:] {
		if s.unit != set[0].unit || s.table != set[0].table {
			return false
		}
		if (s.alone || set[0].alone) && (s.alone != set[0].alone || s.start != set[0].start || s.end != set[0].end) {
			return false
		}
		if s.start-end > hole {
			return false
		}
		end = max(end, s.end)
	}
	return end-set[0].start <= most
}

// fewest tries every partition.
func fewest(spans []span, hole int) int {
	best := len(spans)
	var place func(i int, parts [][]span)
	place = func(i int, parts [][]span) {
		if len(parts) >= best && i < len(spans) || len(parts) > best {
			return
		}
		if i == len(spans) {
			for _, p := range parts {
				if !groupable(p, hole) {
					return
				}
			}
			best = min(best, len(parts))
			return
		}
		for k := range parts {
			old := parts[k]
			parts[k] = append(slices.Clone(old), spans[i])
			place(i+1, parts)
			parts[k] = old
		}
		place(i+1, append(slices.Clone(parts), []span{spans[i]}))
	}
	place(0, nil)
	return best
}

// The number of groups against a search of all partitions.
func TestGroupsAreAsFewAsPossible(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spans := rapid.SliceOfN(drawSpan([]int{1}, 120), 1, 7).Draw(t, "spans")
		for i := range spans { // one table of registers, where the limit bites
			spans[i].unit, spans[i].table = 1, point.Holding
		}
		hole := rapid.IntRange(0, 40).Draw(t, "hole")
		if got, want := len(clusters(spans, hole)), fewest(spans, hole); got != want {
			t.Fatalf("%d groups, %d are enough", got, want)
		}
	})
}

func TestGroupBoundaries(t *testing.T) {
	reg := func(address uint16, span int) span { return spanAt(point.Holding, address, span) }
	bit := func(address uint16) span { return spanAt(point.Coil, address, 0) }
	for _, c := range []struct {
		name  string
		spans []span
		hole  int
		want  int
	}{
		{"adjacent", []span{reg(0, 1), reg(1, 1)}, 0, 1},
		{"hole just allowed", []span{reg(0, 1), reg(9, 1)}, 8, 1},
		{"hole too wide", []span{reg(0, 1), reg(10, 1)}, 8, 2},
		{"125 registers", []span{reg(0, 1), reg(124, 1)}, 123, 1},
		{"126 registers", []span{reg(0, 1), reg(125, 1)}, 124, 2},
		{"2000 bits", []span{bit(0), bit(1999)}, 125, 1},
		{"2001 bits", []span{bit(0), bit(2000)}, 125, 2},
		{"bit hole is 16 per word", []span{bit(0), bit(17)}, 1, 1},
		{"bit hole too wide", []span{bit(0), bit(18)}, 1, 2},
		{"overlapping", []span{reg(0, 10), reg(5, 10)}, 0, 1},
	} {
		if got := len(clusters(numbered(c.spans), c.hole)); got != c.want {
			t.Errorf("%s: %d groups, want %d", c.name, got, c.want)
		}
	}
}

func spanAt(table point.Table, address uint16, words int) span {
	return spanOf(0, &point.Access{Unit: 1, Table: table, Address: address, Type: point.Uint16, SpanWords: words})
}

func TestSlowPointInsideFastGroupRidesAlong(t *testing.T) {
	slow := spanAt(point.Holding, 3, 0)
	slow.every = 10
	outside := spanAt(point.Holding, 5, 0)
	outside.every = 10
	got := clusters(numbered([]span{slow, spanAt(point.Holding, 0, 5), outside}), 8)
	if len(got) != 2 || !slices.Equal(got[0].roles, []source{1, 0}) || got[0].every != 1 || !slices.Equal(got[1].roles, []source{2}) {
		t.Errorf("groups %+v", got)
	}
}

func TestSlowGroupsFallDueInDifferentScans(t *testing.T) {
	gs := make([]group, 5)
	for i := range gs {
		gs[i].every = 5
	}
	gs[0].every = 1
	stagger(gs)
	for i := range gs {
		gs[i].owed = false
	}
	for scan := uint64(1); scan <= 20; scan++ {
		n := 0
		for i := range gs[1:] {
			if gs[i+1].due(scan) {
				n++
			}
		}
		if n > 1 || !gs[0].due(scan) {
			t.Errorf("scan %d: %d slow groups due, fast due %v", scan, n, gs[0].due(scan))
		}
	}
}
