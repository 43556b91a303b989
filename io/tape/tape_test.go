package tape

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"sync"
	"testing"

	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// shelf keeps what a Writer gives.
type shelf struct {
	mu  sync.Mutex
	all map[uint64][]record.TapeChunk
}

func (s *shelf) keep(id uint64, c record.TapeChunk) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.all == nil {
		s.all = map[uint64][]record.TapeChunk{}
	}
	s.all[id] = append(s.all[id], c)
}

// day makes n scans in which anything may change to anything, with a batch from
// scan from to scan to.
func day(seed uint64, n, from, to int) []record.Scan {
	r := rand.New(rand.NewPCG(seed, 1))
	s := recordtest.Roasting()
	s.Batch.ID = 0
	var all []record.Scan
	for i := range n {
		for range r.IntN(40) {
			l := &leaves[r.IntN(len(leaves))]
			switch l.kind {
			case reflect.String:
				*l.text(&s) = fmt.Sprintf("text %d", r.IntN(50))
			case reflect.Bool:
				l.setWord(&s, uint64(r.IntN(2)))
			default:
				l.setWord(&s, r.Uint64()>>r.IntN(64)<<r.IntN(64))
			}
		}
		s.N, s.ScanS, s.NumEvents = uint64(i+1), float64(i+1)/10, r.IntN(3)
		s.Bean.Loss = math.Float64frombits(r.Uint64())
		s.Image.In[0].V = math.NaN()
		if s.Batch.ID = 0; i >= from && i < to {
			s.Batch.ID = 7
		}
		all = append(all, s)
	}
	return all
}

func heardIn(n uint64) []byte {
	if n%37 != 0 {
		return nil
	}
	return fmt.Appendf(nil, "command %d", n)
}

// write puts scans; what the controller remembers is the number of the scan.
func write(scans []record.Scan, keep func(uint64, record.TapeChunk), patient bool) *Writer {
	var now uint64
	w := NewWriter(Config{Keep: keep, Shape: 5, Version: "v1", Patient: patient,
		Freeze: func(dst []byte) ([]byte, error) { return fmt.Appendf(dst, "after %d", now), nil }})
	for i := range scans {
		now = scans[i].N
		w.Put(&scans[i], heardIn(now), false)
	}
	return w
}

// read reads segments and compares each scan with what was put.
func read(t *testing.T, chunks []record.TapeChunk, scans []record.Scan) (segments []*Segment, numbers []uint64) {
	t.Helper()
	segments, err := Segments(chunks)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range segments {
		if want := fmt.Sprintf("after %d", s.Before.N); string(s.State) != want || s.Shape != 5 || s.Version != "v1" {
			t.Fatalf("segment with state %q, shape %d, version %q; want %q", s.State, s.Shape, s.Version, want)
		}
		for {
			var got record.Scan
			heard, ok, err := s.Next(&got)
			if err != nil {
				t.Fatal(err)
			}
			if !ok {
				break
			}
			want := scans[got.N-1]
			clear(want.Events[want.NumEvents:])
			if d, _, differs := Compare(&want, &got, 0); differs || !bytes.Equal(heard, heardIn(got.N)) {
				t.Fatalf("scan %d: %+v, heard %q", got.N, d, heard)
			}
			numbers = append(numbers, got.N)
		}
	}
	return segments, numbers
}

// Whatever a record holds comes back to the bit, from a minute or more before the
// batch to its end; a tape whose end is missing is good up to there, and one with
// a hole says so.
func TestRoundTrip(t *testing.T) {
	scans := day(1, 3000, 2000, 2600)
	var s shelf
	write(scans, s.keep, true).Close()
	chunks := s.all[7]
	segments, numbers := read(t, chunks, scans)
	if len(s.all) != 1 || len(numbers) == 0 || numbers[0] > 2000-600 || numbers[len(numbers)-1] < 2600 {
		t.Fatalf("%d tapes, scans %d to %d", len(s.all), numbers[0], numbers[len(numbers)-1])
	}
	for i := 1; i < len(numbers); i++ {
		if numbers[i] != numbers[i-1]+1 {
			t.Fatalf("scan %d follows scan %d", numbers[i], numbers[i-1])
		}
	}
	for _, g := range segments {
		if g.Cut {
			t.Error("a whole tape is called cut")
		}
	}
	if _, short := read(t, chunks[:len(chunks)-40], scans); len(short) < len(numbers)-250 || len(short) >= len(numbers) {
		t.Errorf("%d of %d scans without the last 40 pieces", len(short), len(numbers))
	}
	half := bytes.Clone(chunks[len(chunks)-1].Data)[:3] // as after a kill
	torn := append(chunks[:len(chunks)-1:len(chunks)-1], record.TapeChunk{Seq: len(chunks) - 1, Data: half})
	if _, n := read(t, torn, scans); len(n) < len(numbers)-10 {
		t.Errorf("%d of %d scans with a torn end", len(n), len(numbers))
	}
	holed := append(append([]record.TapeChunk{}, chunks[:60]...), chunks[61:]...)
	segments, fewer := read(t, holed, scans)
	if cut := segments[0].Cut || segments[len(segments)-1].Cut; !cut || len(fewer) >= len(numbers) {
		t.Errorf("a hole: cut %v, %d of %d scans", cut, len(fewer), len(numbers))
	}
}

// When the encoder cannot follow, scans are lost and counted, Put does not wait,
// and what is kept begins with the memory that belongs to it.
func TestSlowEncoder(t *testing.T) {
	scans := day(2, 1500, 700, 1400)
	var s shelf
	hold := make(chan struct{})
	w := write(scans[:690], func(id uint64, c record.TapeChunk) { <-hold; s.keep(id, c) }, true)
	put := func(some []record.Scan, patient bool) {
		w.cfg.Patient = patient
		for i := range some {
			sc := &some[i]
			w.cfg.Freeze = func(dst []byte) ([]byte, error) { return fmt.Appendf(dst, "after %d", sc.N), nil }
			w.Put(sc, heardIn(sc.N), false)
		}
	}
	put(scans[690:1000], false) // returns though nothing is taken from the 701st on
	close(hold)
	put(scans[1000:], true)
	w.Close()
	segments, numbers := read(t, s.all[7], scans)
	if w.Lost() == 0 || len(segments) < 2 || numbers[len(numbers)-1] < 1400 {
		t.Errorf("%d lost, %d segments, %d scans", w.Lost(), len(segments), len(numbers))
	}
}

func TestColdIsNotKept(t *testing.T) {
	w := NewWriter(Config{Keep: func(uint64, record.TapeChunk) { t.Error("kept") }, Freeze: func([]byte) ([]byte, error) { t.Error("frozen"); return nil, nil }})
	for _, s := range day(3, 100, 200, 200) {
		w.Put(&s, nil, true)
	}
	w.Close()
}

func TestCompareNamesTheField(t *testing.T) {
	a := recordtest.Roasting()
	for _, c := range []struct {
		edit func(*record.Scan)
		want string
	}{
		{func(s *record.Scan) { s.Permit[4] = math.Nextafter(s.Permit[4], 2) }, "Permit[air_heater_power]"},
		{func(s *record.Scan) { s.Next += "!" }, "Next"},
		{func(s *record.Scan) { s.Bean.Active = !s.Bean.Active }, "Bean.Active"},
		{func(s *record.Scan) { s.Bean.TrueC = math.Copysign(0, -1) * 0 }, "Bean.TrueC"},
		{func(s *record.Scan) { s.Timing.ReadS++ }, ""},
	} {
		b := a
		c.edit(&b)
		d, _, differs := Compare(&a, &b, 0)
		if differs != (c.want != "") || d.Field != c.want || differs && d.Recorded == d.Replayed {
			t.Errorf("%+v, %v; want %q", d, differs, c.want)
		}
	}
}

// Whatever bytes a journal holds, reading them ends in scans or an error.
func FuzzSegments(f *testing.F) {
	scans := day(4, 900, 700, 800)
	var s shelf
	write(scans, s.keep, true).Close()
	var all []byte
	for _, c := range s.all[7][:12] {
		all = append(all, c.Data...)
	}
	f.Add(all)
	f.Add(all[:len(all)/2])
	f.Fuzz(func(_ *testing.T, data []byte) {
		segments, err := Segments([]record.TapeChunk{{Start: true, Data: data}})
		if err != nil {
			return
		}
		var rec record.Scan
		for range 10000 {
			if _, ok, _ := segments[0].Next(&rec); !ok {
				return
			}
		}
	})
}

func BenchmarkPut(b *testing.B) {
	s := recordtest.Roasting()
	w := NewWriter(Config{Keep: func(uint64, record.TapeChunk) {}, Patient: true, Freeze: func(dst []byte) ([]byte, error) { return dst, nil }})
	defer w.Close()
	b.ReportAllocs()
	for b.Loop() {
		s.N++
		s.ScanS += 0.1
		s.Bean.TrueC += 0.01
		w.Put(&s, nil, false)
	}
}
