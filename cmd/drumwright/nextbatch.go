package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"drumwright/control"
	"drumwright/io/record"
	"drumwright/profiles"
)

// nextBatchLatch is the name under which it is kept.
const nextBatchLatch = "next batch"

type nextBatchStore interface {
	SaveLatch(name, value string) error
	SaveEntry(e record.Entry) (record.Entry, error)
}

// nextBatches keeps what was said of the green coffee, and enters it into the
// batch when its beans are in. Put belongs to the scan; the rest may be called
// from anywhere.
type nextBatches struct {
	store nextBatchStore
	post  func(control.Command) bool // to the controller
	bed   profiles.Bed
	log   *slog.Logger
	now   func() time.Time

	charged chan charged
	done    sync.WaitGroup
	entered atomic.Uint64          // last batch that is seen to
	recipe  atomic.Pointer[string] // that is loaded
	weighed atomic.Pointer[weighed]

	// Of Put.
	againS float64 // scan time from which it is tried again
	last   string  // recipe

	mu   sync.Mutex // held while the disk is waited for: never by Put
	said record.GreenAhead
}

// weighed is what the next batch of a recipe weighs.
type weighed struct {
	recipe string
	kg     float64 // 0 = as the recipe says
}

type charged struct {
	batch  uint64
	recipe string
}

func newNextBatches(kept string, last uint64, bed profiles.Bed, post func(control.Command) bool, store nextBatchStore, log *slog.Logger) *nextBatches {
	n := &nextBatches{store: store, bed: bed, post: post, log: log, now: time.Now, charged: make(chan charged, 1), said: nothingSaid()}
	n.entered.Store(last)
	n.recipe.Store(new(string))
	if kept != "" {
		said := nothingSaid()
		if err := json.Unmarshal([]byte(kept), &said); err != nil {
			log.Error("what was said of the next batch cannot be read", "err", err)
		} else {
			n.said = said
		}
	}
	n.weighs()
	n.done.Go(func() {
		for c := range n.charged {
			n.enter(c)
		}
	})
	return n
}

// weighs makes known to Put what the next batch weighs.
func (n *nextBatches) weighs() weighed {
	w := weighed{recipe: n.said.Recipe}
	if n.said.ChargeG.Known() {
		w.kg = float64(n.said.ChargeG) / 1000
	}
	n.weighed.Store(&w)
	return w
}

// tell tells the controller, which reckons with it.
func (n *nextBatches) tell(w weighed) {
	if !n.post(control.Command{Command: record.Command{Kind: record.Weighed, Local: true}, GreenKg: w.kg}) {
		n.log.Warn("what the next batch weighs is not reckoned with: too many commands wait", "recipe", w.recipe)
	}
}

func nothingSaid() record.GreenAhead {
	return record.GreenAhead{MoisturePct: record.Unknown, DensityGPerL: record.Unknown, ChargeG: record.Unknown}
}

func (n *nextBatches) close() {
	close(n.charged)
	n.done.Wait()
}

// tryAgainS is how long the journal is given to keep a batch before an entry
// into it is tried again, s of scan time.
const tryAgainS = 2

// Put sees a batch begin. It does not wait: the disk is waited for elsewhere.
func (n *nextBatches) Put(s *record.Scan) {
	if s.Batch.Recipe != n.last {
		loaded := s.Batch.Recipe
		n.last = loaded
		n.recipe.Store(&loaded)
		if w := n.weighed.Load(); w.kg > 0 && w.recipe == loaded {
			n.tell(*w)
		}
	}
	if id := s.Batch.ID; id > n.entered.Load() && s.ScanS >= n.againS {
		n.againS = s.ScanS + tryAgainS
		select {
		case n.charged <- charged{id, s.Batch.Recipe}:
		default:
		}
	}
}

// enter writes what was said into a batch, once the journal has it.
func (n *nextBatches) enter(c charged) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if c.batch <= n.entered.Load() {
		return
	}
	if n.said.Who == "" || n.said.Recipe != c.recipe {
		n.entered.Store(c.batch)
		return
	}
	for _, e := range n.said.Entries(c.batch, n.now()) {
		_, err := n.store.SaveEntry(e)
		if errors.Is(err, record.ErrNoBatch) {
			return // not written yet: Put comes again
		}
		if err != nil && !errors.Is(err, record.ErrEntry) { // what is entered already is no fault
			n.log.Error("what was said of the green coffee is not in the batch", "batch", c.batch, "field", e.Field, "err", err)
		}
	}
	n.entered.Store(c.batch)
	n.said.ChargeG = record.Unknown // the next is weighed anew; the lot goes on
	n.weighs()
	if err := n.keep(); err != nil {
		n.log.Error("what was said of the green coffee is not kept", "err", err)
	}
}

func (n *nextBatches) keep() error {
	text, err := json.Marshal(n.said)
	if err != nil {
		return err
	}
	return n.store.SaveLatch(nextBatchLatch, string(text))
}

// NextBatch is what was said, for the recipe that is loaded.
func (n *nextBatches) NextBatch() record.GreenAhead {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.said.Who == "" || n.said.Recipe != *n.recipe.Load() {
		return nothingSaid()
	}
	return n.said
}

// SayNextBatch replaces what was said.
func (n *nextBatches) SayNextBatch(b record.GreenAhead) (record.GreenAhead, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	recipe := *n.recipe.Load()
	if recipe == "" {
		return b, fmt.Errorf("%w: no recipe is loaded: load one, then say what coffee it is", record.ErrEntry)
	}
	if err := b.Check(); err != nil {
		return b, err
	}
	if kg := float64(b.ChargeG) / 1000; b.ChargeG.Known() && !(kg >= float64(n.bed.MinBatch) && kg <= float64(n.bed.MaxBatch)) {
		return b, fmt.Errorf("%w: charge_g %g: allowed is %v to %v on this machine; weigh again", record.ErrEntry, float64(b.ChargeG), n.bed.MinBatch, n.bed.MaxBatch)
	}
	b.Recipe = recipe
	n.said = b
	n.tell(n.weighs())
	return b, n.keep()
}
