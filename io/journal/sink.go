package journal

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

// Config says how to keep.
type Config struct {
	SampleS     float64      // scan time between samples in a batch; 0 = 1 s. Outside a batch ten times as long
	QueueLen    int          // rows that may wait for the disk; 0 = 12288, see thin
	MachineText string       // the machine file, kept with each batch
	AirW, BaseW float64      // rated power of the heaters, for the energy of a batch; 0 = not known
	LimitBytes  int64        // size from which samples of old batches make room, once they are backed up; 0 = none
	Version     string       // of the program, kept with each run
	Log         *slog.Logger // nil = none
}

// idleFactor stretches the time between samples outside a batch: a machine
// that waits moves slowly, and most hours of the year it waits.
const idleFactor = 10

// What is put may be lost for as long as the wait for the next transaction and
// that transaction take. Events do not wait. For the rest lossWindow is what is
// left of the two seconds that are promised when a tape has kept a scan for half a
// second: an SD card wears by how often it is written to, not only by how much. The
// writer shortens its waits when the disk turns slow, and does not wait once so
// many rows are there that writing them would itself take long. At the pace of a
// machine there are some twenty. leastWait is between two transactions, so that a
// flood of events becomes a few.
const (
	lossWindow = 1400 * time.Millisecond
	leastWait  = 50 * time.Millisecond
	manyRows   = 256
)

// A roast gives three rows a second, two of them tape. While the disk takes nothing,
// waitingRows is an hour and twenty minutes of that: 34 minutes whole, the rest with
// samples as far apart as outside a batch. A transaction takes mostRows, so that each
// try costs little as long as none succeeds and a long wait is made good in steps.
const (
	waitingRows = 12288
	mostRows    = 512
)

// pages makes the pages of a new file half as large as usual: a commit writes each
// page it touches whole, and a second of a roast fills a quarter of one. The log is
// folded into the file at the usual 4 MB.
const pages = `PRAGMA page_size = 2048; PRAGMA wal_autocheckpoint = 2000`

// Stats are counted since Open.
type Stats struct {
	DroppedSamples uint64 // and pieces of tape; the disk was too slow or full
	DroppedEvents  uint64
	Refused        uint64 // rows that the database would not take
	Failures       uint64 // transactions that failed; they are tried again
	Commits        uint64
	WorstCommitS   float64
}

// Sink keeps what is put into it. It also reads, see Reader.
type Sink struct {
	*Reader

	cfg     Config
	machine string // hash of the machine file
	queue   *record.Queue[row]
	lock    *os.File

	// Of the goroutine that puts.
	before  uint64 // highest batch number of earlier runs
	closed  uint64 // highest batch number that was closed in this one
	batch   record.KeptBatch
	open    bool
	nextS   float64 // scan time of the next sample
	thinned bool    // samples are further apart, for so many rows wait
	stopped bool

	// Of the writer.
	conn    *sqlite3.Conn
	runID   int64
	tasks   chan task
	urgent  chan struct{} // readable when an event waits
	stop    chan struct{}
	done    chan struct{}
	flushed time.Time // when the last transaction was over
	failed  error     // why the last transaction failed; nil = it did not

	mu    sync.Mutex
	stats Stats

	lastBatch atomic.Uint64
}

// row is one thing to write; exactly one of its pointers is set, or text.
type row struct {
	scan     uint64
	unixNano int64
	batch    uint64
	sample   *record.KeptSample
	event    *event
	kept     *record.KeptBatch
	tape     *record.TapeChunk
	audit    *record.Audit
	text     string
}

type event struct {
	record.KeptEvent
	kind      record.EventKind
	safeState string
	tripped   bool
}

// Open opens or makes the journal, brings its schema up to date, closes a batch
// that an earlier run left open as aborted and starts the writer. Only one
// Sink may have a journal open; the second is refused.
func Open(path string, cfg Config) (*Sink, error) {
	if cfg.SampleS <= 0 {
		cfg.SampleS = 1
	}
	if cfg.QueueLen <= 0 {
		cfg.QueueLen = waitingRows
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	s := &Sink{cfg: cfg, queue: record.NewQueue[row](cfg.QueueLen), tasks: make(chan task), urgent: make(chan struct{}, 1), stop: make(chan struct{}), done: make(chan struct{})}
	if err := try(func() error { return s.openFile(path) }); err != nil {
		if s.conn != nil {
			_ = try(s.conn.Close) // why it is not open is told
		}
		if s.lock != nil {
			s.lock.Close()
		}
		return nil, fmt.Errorf("open journal %s: %w", path, err)
	}
	go s.write()
	return s, nil
}

func (s *Sink) openFile(path string) error {
	lock, err := lockFile(path + ".lock")
	if err != nil {
		return err
	}
	s.lock = lock
	const notOne = "%w (if this is not a journal, name another file; if it is damaged, move it away and keep it)"
	s.conn, err = sqlite3.Open(path)
	if errors.Is(err, sqlite3.NOTADB) || errors.Is(err, sqlite3.CORRUPT) {
		return fmt.Errorf(notOne, err)
	}
	if err != nil {
		return fmt.Errorf("%w (is the folder there, and may this user write to it?)", err)
	}
	if err := s.conn.BusyTimeout(5 * time.Second); err != nil {
		return err
	}
	if err := s.conn.Exec(pages); err != nil {
		return fmt.Errorf(notOne, err)
	}
	mode, err := text(s.conn, `PRAGMA journal_mode = WAL`)
	if err != nil {
		return fmt.Errorf(notOne, err)
	}
	if mode != "wal" {
		return fmt.Errorf("the file system allows no write-ahead log (journal mode %q): use a local disk, not a network share", mode)
	}
	if err := s.conn.Exec(`PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON`); err != nil {
		return err
	}
	if err := s.beforeMigration(path); err != nil {
		return err
	}
	if err := migrate(s.conn); err != nil {
		return err
	}
	if err := s.begin(); err != nil {
		return err
	}
	if s.Reader, err = OpenReader(path); err != nil {
		return err
	}
	return giveToFolder(path)
}

// begin notes the new run and closes what the last one left open.
func (s *Sink) begin() (err error) {
	tx, err := s.conn.BeginImmediate()
	if err != nil {
		return err
	}
	defer tx.End(&err)
	left, err := text(s.conn, `SELECT group_concat(id) FROM batches WHERE result = 'open'`)
	if err != nil {
		return err
	}
	for id := range strings.SplitSeq(left, ",") {
		if id == "" {
			break
		}
		if err := once(s.conn, sumUp, id, givenW(s.cfg.AirW), givenW(s.cfg.BaseW)); err != nil {
			return err
		}
	}
	// The end of an aborted batch is the last that was heard of it.
	err = s.conn.Exec(`UPDATE batches SET result = 'aborted', ended = coalesce(
		(SELECT max(at) FROM (
			SELECT max(at) AS at FROM events WHERE batch = batches.id
			UNION ALL
			SELECT strftime('%Y-%m-%dT%H:%M:%fZ', max(at_ms) / 1000.0, 'unixepoch') FROM samples WHERE batch = batches.id)),
		charged) WHERE result = 'open'`)
	if err != nil {
		return err
	}
	if err := once(s.conn, `INSERT INTO runs (started, version) VALUES (?, ?)`, record.TimeString(time.Now().UnixNano()), s.cfg.Version); err != nil {
		return err
	}
	s.runID = s.conn.LastInsertRowID()
	s.machine = hash(s.cfg.MachineText)
	if err := once(s.conn, insertText, s.machine, s.cfg.MachineText); err != nil {
		return err
	}
	last, err := text(s.conn, `SELECT max((SELECT coalesce(max(id), 0) FROM batches), (SELECT coalesce(max(batch), 0) FROM events))`)
	if err != nil {
		return err
	}
	if s.before, err = strconv.ParseUint(last, 10, 64); err != nil {
		return err
	}
	s.closed = s.before
	s.lastBatch.Store(s.before)
	return nil
}

// RunID is the number of this run.
func (s *Sink) RunID() uint64 { return uint64(s.runID) }

// LastBatchID is the highest batch number that the journal knows of, 0 if none.
// New batches count up from there.
func (s *Sink) LastBatchID() uint64 { return s.lastBatch.Load() }

// KeepText keeps a recipe file, by its hash, so that batches that name the hash
// can show it, and returns the hash: SHA-256, hex. It does not wait.
func (s *Sink) KeepText(text string) string {
	s.queue.PutEvent(row{text: text})
	return hash(text)
}

// Stats returns what was counted.
func (s *Sink) Stats() Stats {
	s.mu.Lock()
	defer s.mu.Unlock()
	st := s.stats
	st.DroppedSamples, st.DroppedEvents = s.queue.Dropped()
	return st
}

// Close closes an open batch as aborted, writes what waits and closes the file.
// Nothing may be put afterwards.
func (s *Sink) Close() error {
	if s.stopped {
		return nil
	}
	s.stopped = true
	if s.open {
		s.end(record.BatchAborted, time.Now().UnixNano())
	}
	close(s.stop)
	<-s.done
	var lost error
	if n := s.queue.Len(); n > 0 {
		lost = fmt.Errorf("%d rows were not written", n)
	}
	return errors.Join(s.failed, lost, s.Reader.Close(), try(s.conn.Close), s.lock.Close())
}

func hash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}
