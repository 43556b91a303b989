package main

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"drumwright/control"
	"drumwright/control/learn"
	"drumwright/control/observe"
	"drumwright/io/record"
	"drumwright/profiles"
)

// memoryStore keeps lessons as the journal does, in memory.
type memoryStore struct {
	lessons []record.Lesson
	seen    map[uint64][]byte
	weighed []record.Weighing
	batch   record.KeptDetail
}

func (m *memoryStore) SaveLesson(l record.Lesson) (record.Lesson, error) {
	l.N = uint64(len(m.lessons) + 1)
	m.lessons = append(m.lessons, l)
	return l, nil
}

func (m *memoryStore) Lessons(context.Context) ([]record.Lesson, error) {
	var out []record.Lesson
	for _, l := range m.lessons {
		out = slices.DeleteFunc(out, func(x record.Lesson) bool { return x.Scope == l.Scope && x.Name == l.Name })
		out = append(out, l)
	}
	return out, nil
}

func (m *memoryStore) LessonHistory(_ context.Context, scope, name string, _ int) ([]record.Lesson, error) {
	var out []record.Lesson
	for _, l := range slices.Backward(m.lessons) {
		if l.Scope == scope && l.Name == name {
			out = append(out, l)
		}
	}
	return out, nil
}

func (m *memoryStore) Lesson(_ context.Context, n uint64) (record.Lesson, bool, error) {
	if n == 0 || n > uint64(len(m.lessons)) {
		return record.Lesson{}, false, nil
	}
	return m.lessons[n-1], true, nil
}

func (m *memoryStore) SaveWeighing(w record.Weighing) error {
	m.weighed = append(m.weighed, w)
	return nil
}

func (m *memoryStore) SaveSeen(batch uint64, value []byte) error {
	m.seen[batch] = value
	return nil
}

func (m *memoryStore) Seen(_ context.Context, batch uint64) ([]byte, error) {
	return m.seen[batch], nil
}

func (m *memoryStore) Batch(_ context.Context, id uint64) (record.KeptDetail, error) {
	if id != m.batch.ID {
		return record.KeptDetail{}, record.ErrNoBatch
	}
	return m.batch, nil
}

func testBook(t *testing.T) (*lessonBook, *memoryStore, *profiles.Recipe, *[]control.Command) {
	t.Helper()
	m, err := machineFrom("heron-1000")
	if err != nil {
		t.Fatal(err)
	}
	r, err := recipeFrom("harbour-medium")
	if err != nil {
		t.Fatal(err)
	}
	text, _ := profiles.Example("recipes/harbour-medium.yaml")
	store := &memoryStore{seen: make(map[uint64][]byte), batch: record.KeptDetail{
		KeptBatch: record.KeptBatch{ID: 1, Recipe: r.Name, GreenKg: 1, WeighedGreenKg: record.Unknown, DropS: 600, LossAtDrop: 0.14}, RecipeText: string(text)}}
	posted := &[]control.Command{}
	b, err := newLessonBook(context.Background(), m, store, func(c control.Command) bool { *posted = append(*posted, c); return true }, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	b.now = func() time.Time { return time.Date(2031, 3, 14, 9, 0, 0, 0, time.UTC) }
	t.Cleanup(b.close)
	return b, store, r, posted
}

func cracked(batch uint64, beanC float64) courseEnd {
	return courseEnd{course: &learn.Course{Batch: batch, Recipe: "harbour-medium", GreenKg: 1, RoomC: 25, SkinAtC: 184, TurnS: 70, DropS: 600, CrackS: 500,
		CrackBeanC: beanC, CrackLateS: math.NaN(), LnTau: 0.1, LnHeat: -0.05, Loss: 0.14, GreenDB: 11.0 / 89,
		Weighing: observe.Weighing{LossBy: [observe.NLasting]float64{0.039, 0.008, 0.45}, Rest: [3]float64{1e-6, 0, 1e-6}}}}
}

// A batch teaches recipe, machine and coffee, and the controller is handed it;
// what is frozen stays as it is; undo goes back step by step, a reset can be
// undone, and nothing is deleted.
func TestLessonBook(t *testing.T) {
	b, store, r, posted := testBook(t)
	ctx := context.Background()
	if l := b.For(r); l == nil || l.Recipe != r.Name || l.Machine.Batches != 0 {
		t.Fatalf("at first: %+v", l)
	}
	b.taught(cracked(1, 197))
	b.taught(cracked(2, 198))
	last := func() *learn.Lessons { return (*posted)[len(*posted)-1].Lessons }
	if l := last(); l.Machine.Batches != 2 || math.Abs(l.Machine.LnTau-0.1) > 1e-9 || !slices.Equal(l.Coffee.CrackC, []float64{197, 198}) || l.Path.Batches != 2 {
		t.Fatalf("after two batches: %+v", l)
	}
	// What was heard twice is foreseen more surely than what was heard once.
	once, twice := (*posted)[len(*posted)-2].Forecast, (*posted)[len(*posted)-1].Forecast
	if !twice.Made || !(twice.FirstCrackS > once.FirstCrackS) || !(twice.FirstCrackSdS < once.FirstCrackSdS) || !(once.FirstCrackSdS > 0) {
		t.Errorf("foreseen once heard %+v, twice %+v", once, twice)
	}
	change := func(do string) record.Lesson {
		t.Helper()
		l, err := b.Change(ctx, record.LessonChange{Scope: record.LessonCoffee, Name: r.Coffee, Do: do, Who: "Ada"})
		if err != nil {
			t.Fatalf("%s: %v", do, err)
		}
		return l
	}
	change(record.LessonFreeze)
	b.taught(cracked(3, 201))
	if l := last(); len(l.Coffee.CrackC) != 2 || l.Machine.Batches != 3 {
		t.Errorf("frozen, and yet: %+v", l.Coffee)
	}
	change(record.LessonThaw)
	change(record.LessonReset)
	if l := last(); len(l.Coffee.CrackC) != 0 {
		t.Errorf("reset, and yet: %+v", l.Coffee)
	}
	change(record.LessonUndo)
	if l := last(); !slices.Equal(l.Coffee.CrackC, []float64{197, 198}) {
		t.Errorf("the reset undone: %+v", l.Coffee)
	}
	change(record.LessonUndo)
	if l := last(); !slices.Equal(l.Coffee.CrackC, []float64{197}) {
		t.Errorf("undone once more: %+v", l.Coffee)
	}
	change(record.LessonUndo)
	if _, err := b.Change(ctx, record.LessonChange{Scope: record.LessonCoffee, Name: r.Coffee, Do: record.LessonUndo, Who: "Ada"}); !errors.Is(err, record.ErrLesson) {
		t.Errorf("undone beyond the beginning: %v", err)
	}
	if _, err := b.Change(ctx, record.LessonChange{Scope: record.LessonCoffee, Name: "tea", Do: record.LessonReset, Who: "Ada"}); !errors.Is(err, record.ErrLesson) {
		t.Errorf("a coffee that nobody roasted was reset: %v", err)
	}
	// A new daemon goes on where the last one stopped.
	again, err := newLessonBook(ctx, b.m, store, func(control.Command) bool { return true }, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	defer again.close()
	if l := again.For(r); l.Machine.Batches != 3 || l.Path.Batches != 3 {
		t.Errorf("after a restart: %+v", l)
	}
}

func TestWeigh(t *testing.T) {
	b, store, r, posted := testBook(t)
	ctx := context.Background()
	b.For(r)
	b.taught(cracked(1, 197))
	for _, c := range []struct {
		w    record.Weighing
		want string
	}{
		{record.Weighing{Batch: 1, RoastedKg: 0.5}, "allowed is 5 to 30 %"},
		{record.Weighing{Batch: 9, RoastedKg: 0.85}, "no such batch"},
	} {
		if _, err := b.Weigh(ctx, c.w); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.w, err, c.want)
		}
	}
	first, err := b.Weigh(ctx, record.Weighing{Batch: 1, RoastedKg: 0.85, Who: "Ada"})
	if err != nil || math.Abs(first.Loss-0.15) > 1e-9 || first.Estimated != 0.14 {
		t.Fatalf("%+v, %v", first, err)
	}
	c := (*posted)[len(*posted)-1].Lessons.Coffee
	if c.Weighed != 1 || !(c.LnDryLoss > 0) || len(c.CrackC) != 1 {
		t.Errorf("a batch that lost more than estimated taught %+v", c)
	}
	// Weighed anew: as if the first weight had never been said.
	if _, err := b.Weigh(ctx, record.Weighing{Batch: 1, RoastedKg: 0.86, Who: "Ada"}); err != nil {
		t.Fatal(err)
	}
	if c := (*posted)[len(*posted)-1].Lessons.Coffee; c.Weighed != 1 || math.Abs(c.LnDryLoss) > 1e-9 {
		t.Errorf("the estimate weighed true taught %+v", c)
	}
	if len(store.weighed) != 2 {
		t.Errorf("%d weights kept", len(store.weighed))
	}
	// Once the coffee has learned more, a weight said anew is kept but corrects nothing.
	b.taught(cracked(2, 198))
	w, err := b.Weigh(ctx, record.Weighing{Batch: 1, RoastedKg: 0.84, Who: "Ada"})
	if err != nil || !strings.Contains(w.Taught, "undo") {
		t.Errorf("%+v, %v", w, err)
	}
}

func TestLessonText(t *testing.T) {
	value := func(v any) json.RawMessage { b, _ := json.Marshal(v); return b }
	for _, c := range []struct {
		l    record.Lesson
		want string
	}{
		{record.Lesson{Scope: record.LessonMachine, Value: value(learn.Machine{Batches: 3, LnTau: math.Log(1.1)})}, "3 batches; the bean probe lags +10 % from the machine file"},
		{record.Lesson{Scope: record.LessonCoffee, Frozen: true, Value: value(learn.Coffee{Weighed: 1, CrackC: []float64{197}})},
			"1 weighed: dry loss × 1.00, drying × 1.00, green moisture +0.0 points; first crack heard 1 times, last at 197.0 °C (frozen)"},
		{record.Lesson{Scope: record.LessonRecipe, Value: json.RawMessage("{}")}, "nothing"},
	} {
		if got := lessonText(&c.l); got != c.want {
			t.Errorf("%s, want %s", got, c.want)
		}
	}
}
