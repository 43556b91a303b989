package journal

import (
	"context"
	"reflect"
	"testing"
	"time"

	"drumwright/io/record"
)

// What is learned comes back as it was: the last of each scope and name, and
// every step of its history, newest first.
func TestLessonsAreKept(t *testing.T) {
	s := open(t, file(t), Config{})
	ctx := context.Background()
	when := time.Date(2031, 3, 14, 9, 26, 53, 125e6, time.UTC)
	var kept []record.Lesson
	for _, l := range []record.Lesson{
		{Scope: record.LessonCoffee, Name: "lot 12", When: when, Batch: 3, Why: record.LessonBatch, Value: []byte(`{"weighed":0}`)},
		{Scope: record.LessonRecipe, Name: "lot 12", When: when, Batch: 3, Why: record.LessonBatch, Value: []byte(`{}`)},
		{Scope: record.LessonCoffee, Name: "lot 12", When: when.Add(-time.Hour), Who: "Ada", Why: record.LessonFreeze, Frozen: true, Before: 1, Value: []byte(`{"weighed":0}`)},
	} {
		k, err := s.SaveLesson(l)
		if err != nil {
			t.Fatal(err)
		}
		l.N = uint64(len(kept) + 1)
		if !reflect.DeepEqual(k, l) {
			t.Errorf("kept %+v, want %+v", k, l)
		}
		kept = append(kept, k)
	}
	now, err := s.Lessons(ctx)
	if want := []record.Lesson{kept[1], kept[2]}; err != nil || !reflect.DeepEqual(now, want) {
		t.Errorf("in force %+v, %v; want %+v", now, err, want)
	}
	history, err := s.LessonHistory(ctx, record.LessonCoffee, "lot 12", 10)
	if want := []record.Lesson{kept[2], kept[0]}; err != nil || !reflect.DeepEqual(history, want) {
		t.Errorf("history %+v, %v; want %+v", history, err, want)
	}
	if one, ok, err := s.Lesson(ctx, 1); err != nil || !ok || !reflect.DeepEqual(one, kept[0]) {
		t.Errorf("lesson 1: %+v, %v, %v", one, ok, err)
	}
	if _, ok, err := s.Lesson(ctx, 99); ok || err != nil {
		t.Errorf("lesson 99: %v, %v", ok, err)
	}
	if _, err := s.SaveLesson(record.Lesson{Scope: "weather", Name: "x", When: when, Why: "batch", Value: []byte(`{}`)}); err == nil {
		t.Error("a scope that there is not was kept")
	}
}

// The last weight of a batch counts, and shows in the batch.
func TestWeighings(t *testing.T) {
	s := open(t, file(t), Config{})
	ctx := context.Background()
	roastOne(t, s)
	for _, kg := range []float64{0.9, 0.85} {
		if err := s.SaveWeighing(record.Weighing{Batch: 1, GreenKg: 1, RoastedKg: kg, When: time.Unix(1, 0)}); err != nil {
			t.Fatal(err)
		}
	}
	d, err := s.Batch(ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	if d.WeighedKg != 0.85 || d.WeighedGreenKg != 1 || d.WeighedLoss < 0.1499 || d.WeighedLoss > 0.1501 {
		t.Errorf("batch shows %v of %v kg, loss %v", d.WeighedKg, d.WeighedGreenKg, d.WeighedLoss)
	}
	// 120 s of 600 s: a fifth (development ratio as the trade has it: time from first
	// crack to drop over the whole roast; common practice, no source).
	if d.DevelopmentS != 120 || d.DevelopmentRatio != 0.2 {
		t.Errorf("development %v s, ratio %v", d.DevelopmentS, d.DevelopmentRatio)
	}
	if b, err := s.Seen(ctx, 1); b != nil || err != nil {
		t.Errorf("seen before it was kept: %s, %v", b, err)
	}
	if err := s.SaveSeen(1, []byte(`{"loss":0.1}`)); err != nil {
		t.Fatal(err)
	}
	if b, err := s.Seen(ctx, 1); string(b) != `{"loss":0.1}` || err != nil {
		t.Errorf("seen %s, %v", b, err)
	}
}

// roastOne puts batch 1, cracked at 480 s and dropped at 600 s, and waits until
// it is there.
func roastOne(t *testing.T, s *Sink) {
	t.Helper()
	sc := record.Scan{N: 1, ScanS: 1, UnixNano: 1, State: "roasting", Batch: record.Batch{ID: 1, SinceS: 1, GreenKg: 1}, Timing: record.Timing{PeriodS: 0.1}}
	sc.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneCharge})
	s.Put(&sc)
	sc.N, sc.ScanS, sc.State, sc.NumEvents = 2, 601, "cooling", 0
	sc.Batch.SinceS, sc.Batch.FirstCrackS, sc.Batch.DropS, sc.Batch.LossAtDrop = 601, 480, 600, 0.14
	sc.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneCooled})
	s.Put(&sc)
	deadline := time.Now().Add(20 * time.Second)
	for {
		if d, err := s.Batch(context.Background(), 1); err == nil && d.Result == record.BatchDone {
			return
		}
		if time.Now().After(deadline) {
			t.Fatal("batch 1 did not reach the journal")
		}
		time.Sleep(10 * time.Millisecond) // polls; nothing is timed by it
	}
}
