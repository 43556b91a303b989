package main

import (
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"

	"drumwright/control"
	"drumwright/io/record"
	"drumwright/profiles"
)

// lateStore is a journal that keeps a batch only from the second asking on.
type lateStore struct {
	mu      sync.Mutex
	asked   int
	entries []string
	latch   string
}

func (s *lateStore) SaveLatch(_, value string) error { s.latch = value; return nil }

func (s *lateStore) SaveEntry(e record.Entry) (record.Entry, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.asked++; s.asked == 1 {
		return e, fmt.Errorf("batch %d: %w", e.Batch, record.ErrNoBatch)
	}
	s.entries = append(s.entries, fmt.Sprintf("%d %s=%s %s", e.Batch, e.Field, e.After, e.Who))
	return e, nil
}

// What is said ahead is entered once into the next batch of the same recipe; the
// mass is of one batch, the lot goes on, also over a restart.
func TestSaidAheadOfBatch(t *testing.T) {
	s := &lateStore{}
	bed := profiles.Bed{MinBatch: 0.4, MaxBatch: 1.2}
	var told []float64
	post := func(c control.Command) bool {
		if c.Kind != record.Weighed || !c.Local {
			t.Errorf("posted: %+v", c)
		}
		told = append(told, c.GreenKg)
		return true
	}
	n := newNextBatches("", 4, bed, post, s, slog.New(slog.DiscardHandler))
	scan := func(id uint64, recipe string, at float64) {
		n.Put(&record.Scan{ScanS: at, Batch: record.Batch{ID: id, Recipe: recipe}})
	}
	if _, err := n.SayNextBatch(record.GreenAhead{Who: "Ada", Lot: "lot 27"}); err == nil || !strings.Contains(err.Error(), "no recipe is loaded") {
		t.Fatalf("said of no recipe: %v", err)
	}
	scan(4, "plain", 1) // a batch of before
	for _, wrong := range []func(*record.GreenAhead){func(*record.GreenAhead) {}, func(b *record.GreenAhead) { b.Who, b.Lot = "", "x" },
		func(b *record.GreenAhead) { b.ChargeG = 3 }, func(b *record.GreenAhead) { b.ChargeG = 1250 }, func(b *record.GreenAhead) { b.MoisturePct = 60 }} {
		bad := nothingSaid()
		bad.Who = "Ada"
		wrong(&bad)
		if _, err := n.SayNextBatch(bad); !errors.Is(err, record.ErrEntry) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
	said := nothingSaid()
	said.Who, said.Lot, said.ChargeG = "Ada", "lot 27", 820
	if _, err := n.SayNextBatch(said); err != nil {
		t.Fatal(err)
	}
	scan(4, "other", 1.2)
	scan(4, "plain", 1.4) // loaded anew: the controller has forgotten
	if !slices.Equal(told, []float64{0.82, 0.82}) {
		t.Errorf("the controller was told %v", told)
	}
	scan(5, "plain", 2)
	scan(5, "plain", 2.1) // not again so soon
	n.enter(charged{5, "plain"})
	n.enter(charged{5, "plain"})
	n.close()
	if got := strings.Join(s.entries, ", "); got != "5 lot=lot 27 Ada, 5 charge_g=820 Ada" {
		t.Fatalf("entered: %s", got)
	}
	again := newNextBatches(s.latch, 5, bed, post, s, slog.New(slog.DiscardHandler))
	defer again.close()
	if got := again.NextBatch(); got.Who != "" {
		t.Errorf("said of a recipe that is not loaded: %+v", got)
	}
	again.Put(&record.Scan{Batch: record.Batch{ID: 5, Recipe: "plain"}})
	if got := again.NextBatch(); got.Lot != "lot 27" || got.ChargeG.Known() {
		t.Errorf("after a restart: %+v", got)
	}
	again.Put(&record.Scan{Batch: record.Batch{ID: 5, Recipe: "other"}})
	again.enter(charged{6, "other"})
	if len(s.entries) != 2 {
		t.Errorf("the coffee of another recipe was entered: %v", s.entries)
	}
}
