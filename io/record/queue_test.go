package record_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"drumwright/io/record"
)

// A model that is obviously right, against the rings.
func TestQueueAgainstModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		type item struct {
			n     int
			event bool
		}
		capacity := rapid.IntRange(1, 9).Draw(t, "capacity")
		q := record.NewQueue[item](capacity)
		var model []item
		var samples, events uint64
		for i := range rapid.IntRange(0, 60).Draw(t, "steps") {
			switch rapid.IntRange(0, 2).Draw(t, "step") {
			case 0, 1:
				it := item{i, rapid.Bool().Draw(t, "event")}
				if len(model) == capacity {
					at := slices.IndexFunc(model, func(m item) bool { return !m.event })
					if at >= 0 {
						samples++
					} else {
						at = 0
						events++
					}
					model = slices.Delete(model, at, at+1)
				}
				model = append(model, it)
				if it.event {
					q.PutEvent(it)
				} else {
					q.PutSample(it)
				}
				select {
				case <-q.Wake():
				default:
					t.Fatal("not woken by a put")
				}
			case 2:
				limit := rapid.IntRange(0, 4).Draw(t, "limit")
				got := q.Take(nil, limit)
				n := min(limit, len(model))
				if !slices.Equal(got, model[:n]) {
					t.Fatalf("took %v, want %v", got, model[:n])
				}
				model = model[n:]
			}
			if q.Len() != len(model) {
				t.Fatalf("length %d, want %d", q.Len(), len(model))
			}
		}
		if s, e := q.Dropped(); s != samples || e != events {
			t.Fatalf("dropped %d samples and %d events, want %d and %d", s, e, samples, events)
		}
	})
}

func BenchmarkQueuePut(b *testing.B) {
	q := record.NewQueue[[64]float64](256)
	b.ReportAllocs()
	for b.Loop() {
		q.PutSample([64]float64{})
	}
}
