package fieldbus

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"drumwright/io/point"
	"drumwright/profiles"
	"drumwright/safety"
)

// driven is one output within an item.
type driven struct {
	role   point.Output
	access *point.Access
	deadHz float64
	word   int       // its first word within the item
	mask   [2]uint16 // bits of its words that are its own
	n      int       // words it fills
	next   float64   // value wanted now
	last   float64   // value last acknowledged
}

// item is what one request writes: the outputs that share a word, or a span
// that the device takes only whole. Words and bits of it that no output plays
// are written as 0.
type item struct {
	u        *unit
	table    point.Table
	address  uint16
	multiple bool
	refresh  int // write again after so many scans, 0 = on change only
	outs     []driven

	want, have []uint16 // what is to stand in the registers, and what was last acknowledged there
	payload    []byte
	known      bool // have was once acknowledged or read back
	written    bool // have is still believed to stand in the device
	age        int  // scans since last written
	covered    bool // the permit at hand speaks of it
	stage      stage
	err        error // why the last write failed; nil if acknowledged
	bad        error // a permitted value that cannot be sent
}

// stage orders the writes of one scan: what makes the machine cooler goes out
// first, what heats goes out when air and drum have had their commands.
type stage int

const (
	heatDown stage = iota
	contactorOpen
	air
	drumAndRest
	heatUp
	lifeSign

	numStages
)

func (d *driven) stage(v float64) stage {
	switch d.role {
	case point.AirHeaterPower, point.RadiantPower:
		if v <= d.last || v == 0 {
			return heatDown
		}
		return heatUp
	case point.HeatEnable:
		if v < 0.5 {
			return contactorOpen
		}
		return heatUp
	case point.BlowerRun, point.BlowerSpeed:
		return air
	case point.Heartbeat:
		return lifeSign
	}
	return drumAndRest
}

// value is the permitted value as it may be sent: clamped to the range of the
// machine file, and 0 below the dead band of a drive.
func (d *driven) value(v float64) float64 {
	if v < d.deadHz {
		return 0
	}
	if math.IsInf(v, 0) {
		return v // refused by the encoding; clamping would make full power of it
	}
	if a := d.access; d.role.Role().Kind != point.Contact && a.Min < a.Max {
		v = min(max(v, a.Min), a.Max)
	}
	return v
}

// prepare works out which words the permit wants. A permit that covers only
// some of the outputs of an item leaves the bits of the others as they are. A
// value that cannot be sent turns a heat output off and leaves any other as it
// is.
func (it *item) prepare(p *orders) {
	it.covered, it.stage, it.bad = false, numStages, nil
	copy(it.want, it.have)
	for i := range it.outs {
		d := &it.outs[i]
		if !p.covers[d.role] {
			continue
		}
		it.covered = true
		var words [2]uint16
		v := d.value(p.value[d.role])
		_, err := d.access.Encode(v, &words)
		if err != nil {
			it.bad = err
			if v = 0; safety.IsHeat(d.role) {
				_, err = d.access.Encode(v, &words)
			}
		}
		if err != nil {
			it.stage = min(it.stage, drumAndRest)
			continue
		}
		d.next = v
		it.stage = min(it.stage, d.stage(v))
		for k := range d.n {
			w := &it.want[d.word+k]
			*w = *w&^d.mask[k] | words[k]&d.mask[k]
		}
	}
}

// partial reports whether the permit leaves some outputs of the item alone.
func (it *item) partial(p *orders) bool {
	return slices.ContainsFunc(it.outs, func(d driven) bool { return !p.covers[d.role] })
}

// onlyOff reports whether the item does nothing but turn heat off.
func (it *item) onlyOff() bool {
	return it.bad == nil && !slices.ContainsFunc(it.outs, func(d driven) bool { return !safety.IsHeat(d.role) || d.next != 0 })
}

// due reports whether the wanted words have to be written.
func (it *item) due() bool {
	return !it.written || !slices.Equal(it.want, it.have) || it.refresh > 0 && it.age >= it.refresh
}

// acknowledged notes that the device has taken the wanted words.
func (it *item) acknowledged(p *orders) {
	copy(it.have, it.want)
	it.known, it.written, it.age, it.err = true, true, 0, nil
	for i := range it.outs {
		if d := &it.outs[i]; p.covers[d.role] {
			d.last = d.next
		}
	}
}

// itemsOf gathers the outputs of one bus into items.
func itemsOf(m *profiles.Machine, index int, find func(uint8) *unit) ([]item, error) {
	var items []item
	for _, d := range drivenOf(m, index) {
		a := d.access
		words, err := wordsOf(&d)
		if err != nil {
			return nil, fmt.Errorf("output %s: %w", d.role, err)
		}
		n := len(items)
		if n > 0 && items[n-1].takes(a, words) {
			items[n-1].add(d, words)
			continue
		}
		it := item{u: find(a.Unit), table: a.Table, address: a.Address}
		it.add(d, words)
		items = append(items, it)
	}
	for i := range items {
		it := &items[i]
		if n := len(it.want); n > maxWriteRegisters {
			return nil, fmt.Errorf("output %s: span of %d registers, at most %d can be written at once", it.outs[0].role, n, maxWriteRegisters)
		}
		if end := int(it.address) + len(it.want); end > 1<<16 {
			return nil, fmt.Errorf("output %s: %d registers from address %d go beyond 65535", it.outs[0].role, len(it.want), it.address)
		}
		it.have = make([]uint16, len(it.want))
		it.payload = make([]byte, 2*len(it.want))
	}
	return items, nil
}

// writeReplyBytes is the length of an RTU reply to any write.
const writeReplyBytes = 8

// requestBytes is the length of the RTU request that writes the item.
func (it *item) requestBytes() int {
	switch {
	case it.table == point.Coil && it.multiple:
		return 10
	case len(it.want) > 1 || it.multiple:
		return 9 + 2*len(it.want)
	}
	return 8
}

// maxWriteRegisters is the most that function 16 takes (Modbus application
// protocol V1.1b3, section 6.12).
const maxWriteRegisters = 123

// drivenOf lists the outputs of a bus in the order of their registers.
func drivenOf(m *profiles.Machine, index int) []driven {
	var ds []driven
	for o := range point.NumOutputs {
		if a := &m.Out[o]; m.HasOut[o] && a.Bus == index {
			ds = append(ds, driven{role: o, access: a, deadHz: m.DeadHz[o]})
		}
	}
	slices.SortStableFunc(ds, func(x, y driven) int {
		a, b := x.access, y.access
		return cmp.Or(cmp.Compare(a.Unit, b.Unit), cmp.Compare(a.Table, b.Table), cmp.Compare(a.Address, b.Address))
	})
	return ds
}

// wordsOf finds how many registers an output's item needs and which of their
// bits are the output's own.
func wordsOf(d *driven) (int, error) {
	a := d.access
	if a.Table == point.DiscreteInput || a.Table == point.InputRegister {
		return 0, fmt.Errorf("table %s cannot be written; use coil or holding", a.Table)
	}
	d.n = 1
	d.mask = [2]uint16{0xFFFF, 0xFFFF}
	if a.Table.Bits() {
		return 1, nil
	}
	own := *a // the same place, holding the mask itself as a number
	own.Type = point.Uint16
	raw := 0.0
	switch {
	case len(a.States) > 0:
		raw = float64(a.Mask)
	case a.Bit != point.NoBit:
		raw = float64(uint16(1) << uint(a.Bit))
	default:
		d.n = a.Type.Words()
	}
	if raw != 0 {
		var words [2]uint16
		if _, err := own.EncodeRaw(raw, &words); err != nil {
			return 0, err
		}
		d.mask[0] = words[0]
	}
	return max(d.n, a.SpanWords), nil
}

// takes reports whether an output belongs into the item: it shares a register
// with it.
func (it *item) takes(a *point.Access, words int) bool {
	return it.u.address == a.Unit && it.table == a.Table && !a.Table.Bits() &&
		int(a.Address) < int(it.address)+len(it.want)
}

func (it *item) add(d driven, words int) {
	d.word = int(d.access.Address) - int(it.address)
	for len(it.want) < d.word+words {
		it.want = append(it.want, 0)
	}
	it.multiple = it.multiple || d.access.Multiple
	if r := d.access.RefreshScans; r > 0 && (it.refresh == 0 || r < it.refresh) {
		it.refresh = r
	}
	it.outs = append(it.outs, d)
}
