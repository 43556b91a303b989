package tape

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"drumwright/io/record"
)

// Segment is one stretch of a tape without a gap.
type Segment struct {
	Shape   uint64
	Version string      // of the program that recorded it
	State   []byte      // what the controller remembered before the first scan
	Before  record.Scan // the scan before the first
	Cut     bool        // pieces are missing: it goes on after its last scan

	now  record.Scan
	c    cursor
	past *pastWords
	last uint64
}

// most bounds what a segment may unpack to: four hours at 10 Hz.
const most = 512 << 20

// Segments reads a tape. The end of the last segment may be missing, as after a
// kill: it then ends with the last whole scan.
func Segments(chunks []record.TapeChunk) ([]*Segment, error) {
	var all []*Segment
	for len(chunks) > 0 {
		if !chunks[0].Start {
			return nil, errors.New("tape: its beginning is missing")
		}
		n := 1
		for n < len(chunks) && !chunks[n].Start {
			n++
		}
		whole := 1
		for whole < n && chunks[whole].Seq == chunks[whole-1].Seq+1 {
			whole++
		}
		s, err := segmentOf(chunks[:whole])
		if err != nil {
			return nil, fmt.Errorf("tape: segment %d: %w", len(all)+1, err)
		}
		s.Cut = whole < n || n < len(chunks) && chunks[n].Seq != chunks[n-1].Seq+1
		all, chunks = append(all, s), chunks[n:]
	}
	return all, nil
}

func segmentOf(chunks []record.TapeChunk) (*Segment, error) {
	var packed []byte
	for _, c := range chunks {
		packed = append(packed, c.Data...)
	}
	if len(packed) < headLen || packed[0] != format {
		return nil, errors.New("not in the format of this program")
	}
	s := &Segment{Shape: binary.LittleEndian.Uint64(packed[1:]), past: newPast()}
	data, err := io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(packed[headLen:])), most))
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) { // a stream that is never ended properly
		return nil, err
	}
	s.c.b = data
	s.Version = string(s.c.take(s.c.uint()))
	s.State = s.c.take(s.c.uint())
	s.past.readScan(&s.c, &s.now)
	s.Before, s.last = s.now, s.now.N
	return s, s.c.err
}

// Next fills rec with the next scan and returns what it heard, nil if nothing new.
// It reports false at the end.
func (s *Segment) Next(rec *record.Scan) (heard []byte, ok bool, err error) {
	if len(s.c.b) == 0 {
		return nil, false, nil
	}
	heard = s.c.take(s.c.uint())
	s.past.readScan(&s.c, &s.now)
	*rec = s.now
	if errors.Is(s.c.err, errCutOff) {
		return nil, false, nil
	}
	if s.c.err == nil && rec.N != s.last+1 {
		s.c.err = fmt.Errorf("tape: scan %d follows scan %d", rec.N, s.last)
	}
	s.last = rec.N
	return heard, s.c.err == nil, s.c.err
}
