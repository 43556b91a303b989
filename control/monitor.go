package control

import (
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"
)

// Emergency is a Field that can turn heat off past a scan that is stuck.
// HeatOff may be called from any goroutine and returns soon after ctx ends.
type Emergency interface {
	HeatOff(ctx context.Context) error
}

// Monitor turns heat off when the scan writes no permit for too long: it hangs,
// or the computer does not give it time. It needs nothing of the scan but an
// atomic number. Against a process that is stopped or dead as a whole it cannot
// help; the heartbeat's hardware does.
type Monitor struct {
	Field Emergency
	Limit time.Duration // longest time without a permit
	Log   *slog.Logger

	begun  time.Time
	wrote  atomic.Int64 // when the last permit was written, ns since begun
	cuts   atomic.Uint64
	failed atomic.Uint64
}

// leastPeriods is the least number of scan periods that a Monitor waits: one
// late scan is no reason to act.
const leastPeriods = 3

// NewMonitor makes a monitor for a scan of that period, both in real time.
func NewMonitor(field Emergency, limit, period time.Duration, log *slog.Logger) *Monitor {
	return &Monitor{Field: field, Limit: max(limit, leastPeriods*period), Log: log}
}

// Cuts counts the gaps in which heat was turned off, and the attempts that were
// not acknowledged.
func (m *Monitor) Cuts() (cuts, failed uint64) { return m.cuts.Load(), m.failed.Load() }

// start begins to watch; end stops that and waits for an attempt under way.
func (m *Monitor) start() (end func()) {
	m.begun = time.Now()
	m.wrote.Store(0)
	ctx, cancel := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() { m.watch(ctx) })
	return func() { cancel(); wg.Wait() }
}

// permitted is told by the scan that a permit has been written.
func (m *Monitor) permitted() { m.wrote.Store(int64(time.Since(m.begun))) }

// silence is how long no permit has been written.
func (m *Monitor) silence() time.Duration { return time.Since(m.begun) - time.Duration(m.wrote.Load()) }

// watch acts in every gap: again and again until that is acknowledged, and from
// then on every limit for as long as the gap lasts, because a device may start
// anew.
func (m *Monitor) watch(ctx context.Context) {
	timer := time.NewTimer(m.Limit)
	defer timer.Stop()
	gap := int64(-1) // the last write before the gap at hand
	var known, failing bool
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
		}
		last := m.wrote.Load()
		if left := m.Limit - m.silence(); left > 0 {
			timer.Reset(left)
			continue
		}
		if gap != last {
			gap, known, failing = last, false, false
			m.cuts.Add(1)
			m.Log.Error("no permit was written for too long: turning heat off apart from the scan", "silent", m.silence(), "limit", m.Limit)
		}
		err := m.cut(ctx)
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			m.failed.Add(1)
			if !failing {
				m.Log.Error("heat is not known to be off", "err", err)
			}
			known, failing = false, true
			timer.Reset(retryCut)
		default:
			if !known {
				m.Log.Warn("heat is off; the scan writes nothing yet")
			}
			known, failing = true, false
			timer.Reset(m.Limit)
		}
	}
}

// Pauses and limits of attempts (common practice, no source).
const (
	retryCut = 100 * time.Millisecond
	cutLimit = time.Second
)

func (m *Monitor) cut(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, cutLimit)
	defer cancel()
	return m.Field.HeatOff(ctx)
}
