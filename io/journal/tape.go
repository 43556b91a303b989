package journal

import (
	"bytes"
	"context"
	"math"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

// keptTapes is of how many batches the tape is kept: about 1 MB each.
const keptTapes = 200

// KeepTape keeps a piece of a batch's tape. It does not wait; any goroutine may
// call it. The first piece of a batch takes the place of the oldest tape. When more
// waits than may, a tape goes before a trip does.
func (s *Sink) KeepTape(batch uint64, c record.TapeChunk) {
	s.queue.PutSample(row{batch: batch, tape: &c})
}

const (
	insertTape = `INSERT INTO tapes VALUES (?, ?, ?, ?)`
	forgetTape = `DELETE FROM tapes WHERE batch <= ?`
)

func (w *writer) writeTape(batch uint64, c *record.TapeChunk) error {
	if c.Seq == 0 && batch > keptTapes {
		if err := once(w.conn, forgetTape, batch-keptTapes); err != nil {
			return err
		}
	}
	s, err := w.prepared(&w.tape, insertTape)
	if err != nil {
		return err
	}
	return run(s, batch, c.Seq, c.Start, c.Data)
}

// Tape gives the pieces of a batch's tape in their order; none if it is not kept.
func (r *Reader) Tape(ctx context.Context, batch uint64) ([]record.TapeChunk, error) {
	if batch > math.MaxInt64 {
		return nil, nil
	}
	var list []record.TapeChunk
	err := r.query(ctx, func(s *sqlite3.Stmt) {
		list = append(list, record.TapeChunk{Seq: s.ColumnInt(0), Start: s.ColumnBool(1), Data: bytes.Clone(s.ColumnRawBlob(2))})
	}, `SELECT seq, start, data FROM tapes WHERE batch = ? ORDER BY seq`, batch)
	return list, err
}

// Text gives the machine file or recipe that was kept under a hash, "" if none was.
func (r *Reader) Text(ctx context.Context, hash string) (string, error) {
	text := ""
	err := r.query(ctx, func(s *sqlite3.Stmt) { text = s.ColumnText(0) }, `SELECT text FROM texts WHERE hash = ?`, hash)
	return text, err
}
