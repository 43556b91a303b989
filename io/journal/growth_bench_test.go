package journal

import (
	"fmt"
	"path/filepath"
	"runtime"
	"testing"

	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// What a batch of 12 minutes with its samples adds to the file.
func BenchmarkGrowth(b *testing.B) {
	path := filepath.Join(b.TempDir(), "journal.db")
	s, err := Open(path, Config{})
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	size := func() float64 {
		n, err := text(s.Reader.conn, `SELECT page_count * page_size FROM pragma_page_count, pragma_page_size`)
		if err != nil {
			b.Fatal(err)
		}
		var v float64
		fmt.Sscan(n, &v)
		return v
	}
	n := 0
	for i := range 12 { // samples of 60 s each
		n = roast(s, n, uint64(i+1))
	}
	for s.queue.Len() > 0 {
		if err := s.SaveLatch("x", "y"); err != nil {
			b.Fatal(err)
		}
	}
	before := size()
	done := uint64(12)
	for b.Loop() {
		for range 12 {
			done++
			n = roast(s, n, done)
		}
		for s.queue.Len() > 0 {
			if err := s.SaveLatch("x", "y"); err != nil {
				b.Fatal(err)
			}
		}
	}
	if err := s.SaveLatch("x", "z"); err != nil {
		b.Fatal(err)
	}
	b.ReportMetric((size()-before)/float64((done-12)/12), "B/batch")
}

// What an hour of a roast takes in memory while the disk takes nothing: rows as they
// wait, with pieces of tape that make a megabyte in a batch of 12 minutes (an estimate).
func BenchmarkHourWaits(b *testing.B) {
	var before, after runtime.MemStats
	for b.Loop() {
		s := &Sink{cfg: Config{SampleS: 1, QueueLen: waitingRows}, queue: record.NewQueue[row](waitingRows)}
		runtime.GC()
		runtime.ReadMemStats(&before)
		for i := range 7200 {
			sc := recordtest.At(5 * i)
			s.Put(&sc)
			s.KeepTape(41, record.TapeChunk{Seq: i, Data: make([]byte, 700)})
		}
		runtime.GC()
		runtime.ReadMemStats(&after)
		runtime.KeepAlive(s)
	}
	b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/(1<<20), "MiB")
}
