package journal

import (
	"fmt"
	"path/filepath"
	"testing"
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
