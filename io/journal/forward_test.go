package journal

import (
	"context"
	"fmt"
	"testing"

	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// Events come back in their order over the runs, from any place on, in pages that
// end in the middle of a scan.
func TestEventsAfter(t *testing.T) {
	path, ctx := file(t), context.Background()
	var all []record.PlacedEvent
	for range 2 {
		s := open(t, path, Config{})
		for n := 1; n <= 20; n++ {
			sc := recordtest.At(n)
			for i := range n % 4 {
				sc.Add(record.Event{Kind: record.Note, Name: "n", Text: fmt.Sprint(n, i), Value: float64(i)})
				all = append(all, record.PlacedEvent{Place: record.Place{Run: s.RunID(), Scan: sc.N, N: i + 1}, Event: record.NewEventView(&sc, i)})
				all[len(all)-1].Event.Quality = "" // that is not kept
			}
			s.Put(&sc)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	r, err := OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for i := -1; i < len(all); i++ {
		after := record.Place{}
		if i >= 0 {
			after = all[i].Place
		}
		var got []record.PlacedEvent
		for at := after; ; {
			list, left, err := r.EventsAfter(ctx, at, 5, 1000)
			if err != nil || left != 0 {
				t.Fatal(left, err)
			}
			if len(list) == 0 {
				break
			}
			got = append(got, list...)
			at = list[len(list)-1].Place
		}
		// As text, in which a number that is not known equals itself.
		if got, want := fmt.Sprintf("%+v", got), fmt.Sprintf("%+v", all[i+1:]); got != want {
			t.Fatalf("after %v:\n%s\nwant\n%s", after, got, want)
		}
	}
	list, left, err := r.EventsAfter(ctx, record.Place{}, 100, 7)
	if err != nil || len(list) != 7 || left != uint64(len(all)-7) || list[6].Place != all[len(all)-1].Place {
		t.Errorf("%d of the last 7, %d left out of %d: %v", len(list), left, len(all), err)
	}
}
