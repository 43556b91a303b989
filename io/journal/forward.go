package journal

import (
	"context"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

// EventsAfter gives the first events that come after a place, in their order, at
// most limit of them, which must be more than a scan can have. Of events that are
// more than back before the newest it only says how many they are. What the worst
// quality among the points was is not kept.
func (r *Reader) EventsAfter(ctx context.Context, after record.Place, limit, back int) (list []record.PlacedEvent, left uint64, err error) {
	// The search for the scan goes back from the end: only as far as is to be read.
	from, newest := int64(0), int64(0)
	err = r.query(ctx, func(s *sqlite3.Stmt) { from, newest = s.ColumnInt64(0), s.ColumnInt64(1) }, `SELECT
		coalesce((SELECT id FROM events WHERE run < ?1 OR run = ?1 AND scan < ?2 ORDER BY id DESC LIMIT 1), 0),
		coalesce((SELECT max(id) FROM events), 0)`, after.Run, after.Scan)
	if err != nil {
		return nil, 0, err
	}
	if oldest := newest - int64(back); from < oldest {
		from, left = oldest, uint64(oldest-from)
	}
	at := record.Place{}
	err = r.query(ctx, func(s *sqlite3.Stmt) {
		if run, scan := uint64(s.ColumnInt64(0)), uint64(s.ColumnInt64(1)); run != at.Run || scan != at.Scan {
			at = record.Place{Run: run, Scan: scan}
		}
		at.N++
		if !at.After(after) {
			return
		}
		list = append(list, record.PlacedEvent{Place: at, Event: record.EventView{
			Stamp: record.Stamp{Time: s.ColumnText(2), Scan: at.Scan, ScanS: columnNumber(s, 3)},
			Batch: uint64(s.ColumnInt64(4)), State: s.ColumnText(5), Kind: s.ColumnText(6), Name: s.ColumnText(7),
			Text: s.ColumnText(8), Value: columnNumber(s, 9), Limit: columnNumber(s, 10)}})
	}, `SELECT run, scan, at, scan_s, batch, state, kind, name, text, value, limit_value FROM events WHERE id > ? ORDER BY id LIMIT ?`, from, limit)
	return list, left, err
}
