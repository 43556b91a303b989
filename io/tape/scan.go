package tape

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math/bits"
	"reflect"

	"drumwright/io/record"
)

// pastWords is what one segment remembers from scan to scan: the words of the last
// one, for strings their number in the list of those seen.
type pastWords struct {
	words   []uint64
	texts   []string          // by number
	known   map[string]uint64 // of the encoder, as is the next
	changed []int
}

func newPast() *pastWords {
	return &pastWords{words: make([]uint64, len(leaves)), texts: []string{""}, known: map[string]uint64{"": 0}}
}

// appendScan writes a scan as what differs from the last: first how many leaves
// do, then for each the step to it and its changed bits. A string that was not
// seen before follows its number.
func (p *pastWords) appendScan(dst []byte, s *record.Scan) []byte {
	changed := p.changed[:0]
	for i := range leaves {
		l := &leaves[i]
		if l.kind == reflect.String {
			if p.texts[p.words[i]] != *l.text(s) {
				changed = append(changed, i)
			}
		} else if l.word(s) != p.words[i] {
			changed = append(changed, i)
		}
	}
	p.changed = changed
	dst = binary.AppendUvarint(dst, uint64(len(changed)))
	last := -1
	for _, i := range changed {
		l := &leaves[i]
		dst = binary.AppendUvarint(dst, uint64(i-last))
		last = i
		if l.kind == reflect.String {
			text := *l.text(s)
			n, old := p.known[text]
			if !old {
				n = uint64(len(p.texts))
				p.texts, p.known[text] = append(p.texts, text), n
			}
			dst = binary.AppendUvarint(dst, n)
			if !old {
				dst = binary.AppendUvarint(dst, uint64(len(text)))
				dst = append(dst, text...)
			}
			p.words[i] = n
			continue
		}
		w := l.word(s)
		dst = appendBits(dst, w^p.words[i])
		p.words[i] = w
	}
	return dst
}

// appendBits writes a word without the zero bytes at its ends, behind a byte that
// counts both.
func appendBits(dst []byte, x uint64) []byte {
	high, low := bits.LeadingZeros64(x)/8, bits.TrailingZeros64(x)/8 // x is not 0
	dst = append(dst, byte(high<<4|low))
	x >>= 8 * low
	for range 8 - high - low {
		dst = append(dst, byte(x))
		x >>= 8
	}
	return dst
}

var errCutOff = errors.New("tape: a scan is cut off")

// cursor reads what was written.
type cursor struct {
	b   []byte
	err error
}

func (c *cursor) uint() uint64 {
	u, n := binary.Uvarint(c.b)
	if n <= 0 {
		c.err = errCutOff
		return 0
	}
	c.b = c.b[n:]
	return u
}

func (c *cursor) take(n uint64) []byte {
	if n > uint64(len(c.b)) {
		c.err = errCutOff
		return nil
	}
	b := c.b[:n]
	c.b = c.b[n:]
	return b
}

func (c *cursor) bits() uint64 {
	h := c.take(1)
	if h == nil {
		return 0
	}
	high, low := int(h[0]>>4), int(h[0]&15)
	if high+low > 7 {
		c.err = fmt.Errorf("tape: a word of %d bytes", 8-high-low)
		return 0
	}
	x := uint64(0)
	for i, b := range c.take(uint64(8 - high - low)) {
		x |= uint64(b) << (8 * (i + low))
	}
	return x
}

// readScan makes s, the last scan, the next one.
func (p *pastWords) readScan(c *cursor, s *record.Scan) {
	n, at := c.uint(), -1
	for range n {
		step := c.uint()
		if c.err != nil {
			return
		}
		if step == 0 || step > uint64(len(leaves)-1-at) {
			c.err = errors.New("tape: a field that records do not have")
			return
		}
		at += int(step)
		l := &leaves[at]
		if l.kind != reflect.String {
			p.words[at] ^= c.bits()
			l.setWord(s, p.words[at])
			continue
		}
		k := c.uint()
		if k == uint64(len(p.texts)) && c.err == nil {
			p.texts = append(p.texts, string(c.take(c.uint())))
		}
		if k >= uint64(len(p.texts)) {
			c.err = errors.New("tape: a text that was not given")
			return
		}
		p.words[at] = k
		*l.text(s) = p.texts[k]
	}
}
