package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"drumwright/control"
	"drumwright/control/bean"
	"drumwright/control/learn"
	"drumwright/io/record"
	"drumwright/profiles"
)

// lessonStore keeps what is learned; the journal does.
type lessonStore interface {
	SaveLesson(record.Lesson) (record.Lesson, error)
	Lessons(context.Context) ([]record.Lesson, error)
	LessonHistory(ctx context.Context, scope, name string, limit int) ([]record.Lesson, error)
	Lesson(ctx context.Context, n uint64) (record.Lesson, bool, error)
	SaveWeighing(record.Weighing) error
	SaveSeen(batch uint64, value []byte) error
	Seen(ctx context.Context, batch uint64) ([]byte, error)
	Batch(ctx context.Context, id uint64) (record.KeptDetail, error)
}

// lessonBook follows the batches, keeps what they teach and hands it to the
// controller. Put belongs to the scan and takes no lock, for a preflight runs under
// it; the rest may be called from anywhere.
type lessonBook struct {
	m       *profiles.Machine
	store   lessonStore
	post    func(control.Command) bool // to the controller
	foresee control.Foresees
	now     func() time.Time
	log     *slog.Logger

	watch   learn.Watcher
	courses chan courseEnd // dropped batches
	done    sync.WaitGroup
	with    atomic.Pointer[learn.Lessons] // handed to the controller last

	mu      sync.Mutex
	inForce map[lessonKey]record.Lesson
	recipes map[string]*profiles.Recipe // that were loaded, by name
	loaded  string                      // the last of them
}

type lessonKey struct{ scope, name string }

// courseEnd is a batch that was dropped, and what it was roasted with.
type courseEnd struct {
	course *learn.Course
	with   *learn.Lessons
}

// coursesWait is how many dropped batches may wait for the disk; more than one
// never do.
const coursesWait = 4

func newLessonBook(ctx context.Context, m *profiles.Machine, store lessonStore, post func(control.Command) bool, log *slog.Logger) (*lessonBook, error) {
	b := &lessonBook{m: m, store: store, post: post, foresee: foresees(m, log), now: time.Now, log: log, courses: make(chan courseEnd, coursesWait),
		watch: learn.Watcher{ProbeTauS: float64(m.Bed.ProbeLagS)}, recipes: make(map[string]*profiles.Recipe)}
	var err error
	if b.inForce, err = inForce(ctx, store); err != nil {
		return nil, err
	}
	b.done.Go(func() {
		for e := range b.courses {
			b.taught(e)
		}
	})
	return b, nil
}

// inForce are the lessons that hold now.
func inForce(ctx context.Context, store interface {
	Lessons(context.Context) ([]record.Lesson, error)
}) (map[lessonKey]record.Lesson, error) {
	list, err := store.Lessons(ctx)
	if err != nil {
		return nil, fmt.Errorf("what was learned cannot be read: %w", err)
	}
	hold := make(map[lessonKey]record.Lesson, len(list))
	for _, l := range list {
		hold[lessonKey{l.Scope, l.Name}] = l
	}
	return hold, nil
}

func (b *lessonBook) close() {
	close(b.courses)
	b.done.Wait()
}

// Put follows the batches. It does not wait: learning is done elsewhere.
func (b *lessonBook) Put(s *record.Scan) {
	c := b.watch.Put(s)
	if c == nil {
		return
	}
	select {
	case b.courses <- courseEnd{c, b.handed(c.Recipe)}:
	default:
		b.log.Warn("a batch teaches nothing: the disk is too slow", "batch", c.Batch)
	}
}

// handed are the lessons that the controller has been given for a recipe.
func (b *lessonBook) handed(recipe string) *learn.Lessons {
	if l := b.with.Load(); l != nil && l.Recipe == recipe {
		return l
	}
	return nil
}

func coffeeOf(r *profiles.Recipe) string {
	if r.Coffee != "" {
		return r.Coffee
	}
	return r.Name
}

// For gives the lessons for a recipe that is about to be loaded.
func (b *lessonBook) For(r *profiles.Recipe) *learn.Lessons {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.recipes[r.Name], b.loaded = r, r.Name
	l := b.assemble(r)
	b.with.Store(l)
	return l
}

// of gives the lessons for a recipe that is only looked at.
func (b *lessonBook) of(r *profiles.Recipe) *learn.Lessons {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.assemble(r)
}

func (b *lessonBook) assemble(r *profiles.Recipe) *learn.Lessons {
	l, err := lessonsOf(b.inForce, b.m, r)
	if err != nil {
		b.log.Error("roasting without what was learned", "recipe", r.Name, "err", err)
		return &learn.Lessons{Recipe: r.Name}
	}
	return l
}

// lessonsOf are what the lessons in force say of a recipe on a machine.
func lessonsOf(inForce map[lessonKey]record.Lesson, m *profiles.Machine, r *profiles.Recipe) (*learn.Lessons, error) {
	return learn.Assemble(r.Name, control.CurveMark(r), inForce[lessonKey{record.LessonRecipe, r.Name}].Value,
		inForce[lessonKey{record.LessonCoffee, coffeeOf(r)}].Value, inForce[lessonKey{record.LessonMachine, m.About.Name}].Value)
}

// handOver gives the controller what is learned now of the recipe loaded last, and
// what that makes of its preflight. It refuses what is not of the recipe it has, and
// nothing is lost by that.
func (b *lessonBook) handOver() {
	r := b.recipes[b.loaded]
	if r == nil {
		return
	}
	l := b.assemble(r)
	b.with.Store(l)
	b.post(control.Command{Command: record.Command{Kind: record.Learned, Local: true}, Lessons: l, Forecast: b.foresee(r, l)})
}

// save keeps a further lesson of a scope and name, which comes after the one in
// force. The caller holds the lock.
func (b *lessonBook) save(k lessonKey, l record.Lesson, value any) error {
	if value != nil {
		text, err := json.Marshal(value)
		if err != nil {
			return err
		}
		l.Value = text
	}
	l.Scope, l.Name, l.When = k.scope, k.name, b.now()
	kept, err := b.store.SaveLesson(l)
	if err != nil {
		return err
	}
	b.inForce[k] = kept
	return nil
}

// taught takes in a batch that was dropped.
func (b *lessonBook) taught(e courseEnd) {
	c := e.course
	b.mu.Lock()
	defer b.mu.Unlock()
	r := b.recipes[c.Recipe]
	if r == nil {
		return
	}
	seen, err := json.Marshal(c.Seen(e.with, bean.MoistureDryBasis(float64(r.Charge.Moisture)), r.Charge.MoistureKnown, float64(b.m.Bed.GasShareSd)))
	if err == nil && c.Loss > 0 {
		err = b.store.SaveSeen(c.Batch, seen)
	}
	now := b.assemble(r)
	d := control.Dynamics(b.m)
	for _, x := range []struct {
		key     lessonKey
		teaches bool
		value   any
	}{
		{lessonKey{record.LessonRecipe, r.Name}, c.Disturbed == "" && c.TurnS > 0, now.Path.After(c, d, float64(r.Charge.Skin))},
		{lessonKey{record.LessonMachine, b.m.About.Name}, c.Disturbed == "", now.Machine.After(c)},
		{lessonKey{record.LessonCoffee, coffeeOf(r)}, c.CrackS > 0 && c.CrackBeanC > 0, now.Coffee.Heard(c.CrackBeanC, c.CrackLateS)},
	} {
		if was := b.inForce[x.key]; x.teaches && !was.Frozen {
			err = errors.Join(err, b.save(x.key, record.Lesson{Batch: c.Batch, Why: record.LessonBatch, Before: was.N}, x.value))
		}
	}
	if err != nil {
		b.log.Error("what a batch taught is not kept", "batch", c.Batch, "err", err)
	}
	if c.Disturbed != "" {
		b.log.Info("a batch teaches nothing of the curve", "batch", c.Batch, "why", c.Disturbed)
	}
	b.handOver()
}

// Learning gives what is learned, and the history of one lesson if it is named.
func (b *lessonBook) Learning(ctx context.Context, scope, name string) (record.LessonBook, error) {
	book := record.LessonBook{History: []record.Lesson{}}
	var err error
	if book.Lessons, err = b.store.Lessons(ctx); err != nil || name == "" {
		return book, err
	}
	book.History, err = b.store.LessonHistory(ctx, scope, name, historyShown)
	return book, err
}

const historyShown = 100

// Change resets, takes back, freezes or thaws a lesson.
func (b *lessonBook) Change(ctx context.Context, c record.LessonChange) (record.Lesson, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	k := lessonKey{c.Scope, c.Name}
	was, there := b.inForce[k]
	if !there {
		return record.Lesson{}, fmt.Errorf("%w: nothing is learned of the %s %q; list what is", record.ErrLesson, c.Scope, c.Name)
	}
	next := record.Lesson{Who: c.Who, Why: c.Do, Frozen: was.Frozen, Before: was.N, Value: was.Value}
	switch c.Do {
	case record.LessonReset:
		next.Value = json.RawMessage("{}")
	case record.LessonFreeze, record.LessonThaw:
		next.Frozen, next.Before = c.Do == record.LessonFreeze, was.Before // undo is of what was learned
	case record.LessonUndo:
		if was.Why != record.LessonReset && string(was.Value) == "{}" && was.Before == 0 {
			return record.Lesson{}, fmt.Errorf("%w: there is nothing left to undo of the %s %q", record.ErrLesson, c.Scope, c.Name)
		}
		next.Value, next.Before = json.RawMessage("{}"), 0
		if was.Before > 0 {
			old, ok, err := b.store.Lesson(ctx, was.Before)
			if err != nil || !ok {
				return record.Lesson{}, errors.Join(err, fmt.Errorf("%w: lesson %d, which undo would go back to, is not in the journal", record.ErrLesson, was.Before))
			}
			next.Value, next.Before = old.Value, old.Before
		}
	default:
		return record.Lesson{}, fmt.Errorf("%w: %q is not one of %s, %s, %s, %s", record.ErrLesson, c.Do, record.LessonReset, record.LessonUndo, record.LessonFreeze, record.LessonThaw)
	}
	if err := b.save(k, next, nil); err != nil {
		return record.Lesson{}, err
	}
	b.handOver()
	return b.inForce[k], nil
}

// Weigh takes what a batch weighed after the roast, and before it if that is not
// what its recipe says, and corrects the coffee by it.
func (b *lessonBook) Weigh(ctx context.Context, w record.Weighing) (record.Weighing, error) {
	refuse := func(format string, args ...any) (record.Weighing, error) {
		return record.Weighing{}, fmt.Errorf("%w: "+format, append([]any{record.ErrLesson}, args...)...)
	}
	d, err := b.store.Batch(ctx, w.Batch)
	if err != nil {
		return record.Weighing{}, err
	}
	if !d.DropS.Known() {
		return refuse("batch %d was not dropped", w.Batch)
	}
	if w.GreenKg == 0 {
		w.GreenKg = float64(d.ChargedKg())
	}
	w.Loss, w.Estimated, w.When = 1-w.RoastedKg/w.GreenKg, d.LossAtDrop, b.now().UTC()
	if !(w.Loss >= learn.LeastLoss && w.Loss <= learn.MostLoss) {
		return refuse("%.0f g of %.0f g green is a loss of %.1f %%, allowed is %.0f to %.0f %%: weigh again, all of the batch and without the bowl",
			1000*w.RoastedKg, 1000*w.GreenKg, 100*w.Loss, 100*learn.LeastLoss, 100*learn.MostLoss)
	}
	if err := b.store.SaveWeighing(w); err != nil {
		return record.Weighing{}, err
	}
	w.Taught, err = b.weighed(ctx, &w, &d)
	return w, err
}

// weighed corrects the coffee, and says what became of it.
func (b *lessonBook) weighed(ctx context.Context, w *record.Weighing, d *record.KeptDetail) (string, error) {
	text, err := b.store.Seen(ctx, w.Batch)
	if err != nil {
		return "", err
	}
	var seen learn.Seen
	if text == nil || json.Unmarshal(text, &seen) != nil {
		return "kept; nothing was estimated of this batch, so it corrects nothing", nil
	}
	r, err := profiles.ParseRecipe(d.Recipe, []byte(d.RecipeText))
	if err != nil {
		return "kept; the batch's recipe is not in the journal, so it corrects nothing", nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	k := lessonKey{record.LessonCoffee, coffeeOf(r)}
	was := b.inForce[k]
	base := was
	switch {
	case was.Frozen:
		return fmt.Sprintf("kept; what is learned of %q is frozen", k.name), nil
	case was.Why == record.LessonWeighed && was.Batch == w.Batch: // weighed anew: in the place of the last time
		if base, _, err = b.store.Lesson(ctx, was.Before); err != nil {
			return "", err
		}
	default:
		again, err := b.weighedBefore(ctx, k, w.Batch)
		if err != nil {
			return "", err
		}
		if again {
			return "kept; the batch had been weighed and the coffee has learned more since: undo that first if the first weight was wrong", nil
		}
	}
	var c learn.Coffee
	if len(base.Value) > 0 {
		if err := json.Unmarshal(base.Value, &c); err != nil {
			return "", fmt.Errorf("what is stored as learned of %q cannot be read: %w; reset it", k.name, err)
		}
	}
	c = c.After(w.GreenKg, w.RoastedKg, seen)
	if err := b.save(k, record.Lesson{Batch: w.Batch, Who: w.Who, Why: record.LessonWeighed, Before: base.N}, c); err != nil {
		return "", err
	}
	b.handOver()
	return fmt.Sprintf("%q corrected, %d weighed: dry loss × %.2f, drying × %.2f, green moisture %+.1f points",
		k.name, c.Weighed, c.DryLossBy(), c.DryingBy(), 100*c.MoistureAdd), nil
}

// weighedBefore reports whether a batch has corrected its coffee already.
func (b *lessonBook) weighedBefore(ctx context.Context, k lessonKey, batch uint64) (bool, error) {
	history, err := b.store.LessonHistory(ctx, k.scope, k.name, historyShown)
	for _, l := range history {
		if l.Why == record.LessonWeighed && l.Batch == batch {
			return true, err
		}
	}
	return false, err
}
