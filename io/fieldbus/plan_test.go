package fieldbus

import (
	"testing"

	"drumwright/profiles"
)

// The requests of a scan for the shipped machines are the fewest that the rules of
// grouping allow, by a search of all partitions of each unit's tables: points of
// different units, tables or rhythms never share a request, so the sum of the
// parts is the whole.
func TestShippedMachinesAskAsFewTimesAsPossible(t *testing.T) {
	type part struct {
		unit  uint8
		table int
		every int
	}
	for _, name := range []string{"heron-1000", "lark-300"} {
		data, _ := profiles.Example("machines/" + name + ".yaml")
		m, err := profiles.ParseMachine(name, data)
		if err != nil {
			t.Fatal(err)
		}
		for index := range m.BusList {
			spans, err := spansOf(m, index)
			if err != nil {
				t.Fatal(err)
			}
			parts := map[part][]span{}
			for _, s := range spans {
				p := part{s.unit, int(s.table), s.every}
				parts[p] = append(parts[p], s)
			}
			hole, want, fast := m.BusList[index].HoleWords, 0, 0
			for p, set := range parts {
				n := fewestOf(set, hole)
				if want += n; p.every == 1 {
					fast += n
				}
			}
			got, gotFast := 0, 0
			for _, c := range clusters(spans, hole) {
				if got++; c.every == 1 {
					gotFast++
				}
			}
			t.Logf("%s, bus %s: %d points in %d requests, %d of them in every scan", name, m.BusList[index].Name, len(spans), got, gotFast)
			if gotFast != fast || got > want {
				t.Errorf("%s, bus %s: %d requests (%d in every scan), %d (%d) are enough", name, m.BusList[index].Name, got, gotFast, want, fast)
			}
		}
	}
}

// fewestOf searches only where one request does not do: all partitions of twenty
// points are too many to try.
func fewestOf(spans []span, hole int) int {
	if groupable(spans, hole) {
		return 1
	}
	return fewest(spans, hole)
}
