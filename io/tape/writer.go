package tape

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"log/slog"
	"sync/atomic"

	"drumwright/io/record"
)

// Config says what a Writer is to do.
type Config struct {
	// Keep takes a chunk for a batch. It is called from the Writer's goroutine and
	// must not block.
	Keep func(batch uint64, c record.TapeChunk)
	// Freeze appends what the controller remembers, and Shape tells which program
	// can read that. Freeze is called within Put.
	Freeze  func(dst []byte) ([]byte, error)
	Shape   uint64
	Version string       // of the program, for people
	Patient bool         // Put waits for the encoder: for simulated time that flies
	Log     *slog.Logger // nil = none
}

const (
	// segmentS is how often a new segment begins while there is no batch, and so
	// how long before its charge the tape of a batch begins at least. The segment
	// before is kept until then too.
	segmentS = 60.0
	chunkS   = 0.5 // of the two seconds that may be lost; the journal takes the rest
	slots    = 64  // scans that may wait for the encoder

	headLen = 1 + 8 // format and shape
	format  = 1
)

// slot is a scan on its way to the encoder.
type slot struct {
	rec   record.Scan
	heard []byte
	state []byte // the controller after this scan, if fresh
	fresh bool   // the segment begins after this scan
}

// Writer makes tapes of batches.
type Writer struct {
	cfg Config

	// Of the goroutine that puts.
	nextS   float64
	inBatch bool
	idle    bool // nothing is kept: the machine is cold
	anew    bool // a segment must begin: the first, or after a scan that was not kept
	failed  bool

	made       int // slots: no more than ever waited at once
	free, full chan *slot
	done       chan struct{}
	lost       atomic.Uint64

	e encoder
}

// NewWriter makes a writer and starts its goroutine.
func NewWriter(cfg Config) *Writer {
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	w := &Writer{cfg: cfg, anew: true, free: make(chan *slot, slots), full: make(chan *slot, slots), done: make(chan struct{})}
	w.e = encoder{cfg: &w.cfg}
	go func() {
		defer close(w.done)
		for s := range w.full {
			w.e.take(s)
			w.free <- s
		}
		w.e.flush()
	}()
	return w
}

// Lost counts the scans of batches that could not be kept.
func (w *Writer) Lost() uint64 { return w.lost.Load() }

// Close encodes what waits and ends.
func (w *Writer) Close() {
	close(w.full)
	<-w.done
}

// Put takes a scan as it was decided, with the bytes of what it heard; nil when
// that is what the last scan with any heard, without its commands. A machine that
// is cold is not worth a tape.
func (w *Writer) Put(rec *record.Scan, heard []byte, cold bool) {
	in := rec.Batch.ID != 0
	if w.failed {
		return
	}
	if cold && !in {
		w.idle, w.inBatch = true, false
		return
	}
	begin := w.idle || w.anew || !in && (w.inBatch || rec.ScanS >= w.nextS)
	w.inBatch = in
	s := w.slot()
	if s == nil {
		if in {
			w.lost.Add(1)
		}
		w.anew = true
		return
	}
	s.rec = *rec
	clear(s.rec.Events[rec.NumEvents:])
	s.heard = append(s.heard[:0], heard...)
	if s.fresh = begin; begin {
		var err error
		if s.state, err = w.cfg.Freeze(s.state[:0]); err != nil {
			w.failed = true
			w.cfg.Log.Error("no tape for replays: the controller cannot be frozen", "err", err)
			w.free <- s
			return
		}
		w.idle, w.anew, w.nextS = false, false, rec.ScanS+segmentS
	}
	w.full <- s // there is room: as many as there are slots
}

// slot is one that is free, nil if the encoder is too far behind.
func (w *Writer) slot() *slot {
	select {
	case s := <-w.free:
		return s
	default:
	}
	switch {
	case w.made < slots:
		w.made++
		return &slot{}
	case w.cfg.Patient:
		return <-w.free
	}
	return nil
}

// encoder is the Writer's goroutine.
type encoder struct {
	cfg     *Config
	seq     int
	batch   uint64 // whose chunks go out; 0 = they wait
	current *segment
	before  *segment
	z       *flate.Writer // of the current segment; more than a megabyte, so there is one
	buf     []byte
}

// segment is one under way.
type segment struct {
	past   *pastWords
	out    bytes.Buffer
	waits  []record.TapeChunk
	sinceS float64 // scan time of the last chunk
	lastN  uint64
}

func (e *encoder) take(s *slot) {
	if g := e.current; g != nil && s.rec.N == g.lastN+1 {
		e.scan(g, s)
	} else {
		e.current = nil // scans are missing; a new segment follows
	}
	switch id := s.rec.Batch.ID; {
	case id != 0 && id != e.batch:
		e.batch, e.seq = id, 0
		for _, g := range []*segment{e.before, e.current} {
			if g != nil {
				e.give(g)
			}
		}
		e.before = nil
	case id == 0 && e.batch != 0:
		e.flush()
		e.batch, e.current = 0, nil
	}
	if s.fresh {
		if e.current != nil {
			e.cut(e.current, false)
		}
		e.flush()
		e.before, e.current = e.current, e.begin(s)
		if e.batch != 0 {
			e.before = nil
			e.give(e.current)
		}
	}
}

// begin starts a segment after a scan.
func (e *encoder) begin(s *slot) *segment {
	g := &segment{past: newPast(), sinceS: s.rec.ScanS, lastN: s.rec.N}
	head := append(make([]byte, 0, headLen), format)
	head = binary.LittleEndian.AppendUint64(head, e.cfg.Shape)
	g.out.Write(head)
	if e.z == nil {
		e.z, _ = flate.NewWriter(&g.out, flate.BestSpeed+4) // the level is one that there is
	} else {
		e.z.Reset(&g.out)
	}
	b := binary.AppendUvarint(e.buf[:0], uint64(len(e.cfg.Version)))
	b = append(b, e.cfg.Version...)
	b = binary.AppendUvarint(b, uint64(len(s.state)))
	b = append(b, s.state...)
	b = g.past.appendScan(b, &s.rec)
	e.buf = b
	e.z.Write(b)
	e.cut(g, true)
	return g
}

func (e *encoder) scan(g *segment, s *slot) {
	b := binary.AppendUvarint(e.buf[:0], uint64(len(s.heard)))
	b = append(b, s.heard...)
	b = g.past.appendScan(b, &s.rec)
	e.buf = b
	e.z.Write(b) // to memory: it cannot fail
	g.lastN = s.rec.N
	if s.rec.ScanS-g.sinceS >= chunkS {
		g.sinceS = s.rec.ScanS
		e.cut(g, false)
		if e.batch != 0 {
			e.give(g)
		}
	}
}

// cut makes what was written so far a chunk.
func (e *encoder) cut(g *segment, start bool) {
	e.z.Flush()
	g.waits = append(g.waits, record.TapeChunk{Start: start, Data: bytes.Clone(g.out.Bytes())})
	g.out.Reset()
}

func (e *encoder) give(g *segment) {
	for _, c := range g.waits {
		c.Seq = e.seq
		e.seq++
		e.cfg.Keep(e.batch, c)
	}
	g.waits = nil
}

// flush gives what has been written of a batch.
func (e *encoder) flush() {
	if e.current != nil && e.batch != 0 {
		e.cut(e.current, false)
		e.give(e.current)
	}
}
