package main

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/io/journal"
	"drumwright/io/record"
)

// explain holds the trips of a day against its fault.
func (res *daysResult) explain(day int, fault *dayFault, got *rehearsal.Result) {
	if fault == nil {
		for _, t := range got.Trips {
			res.wrong("day %d: tripped without a fault: %s at %.0f s: %s", day+1, t.Cause, t.AtS, t.Text)
		}
		return
	}
	var causes []string
	for _, t := range got.Trips {
		causes = append(causes, t.Cause)
	}
	res.Faults = append(res.Faults, fmt.Sprintf("day %d: %s tripped %s", day+1, fault.name, strings.Join(causes, ", then ")))
	if len(causes) == 0 || !slices.Contains(fault.causes, causes[0]) || got.HeatOn {
		res.wrong("day %d: %s tripped %q, wanted first %q; heat on at the end: %v", day+1, fault.name, causes, fault.causes, got.HeatOn)
	}
}

func (res *daysResult) wrong(format string, a ...any) {
	res.Wrong = append(res.Wrong, fmt.Sprintf(format, a...))
}

// apartS is how far the samples of a batch are apart at most: ten seconds while the
// disk takes nothing, and a scan.
const apartS = 11.0

// closeSamples tells whether a batch has samples from charge to end, never further
// apart than that.
func closeSamples(b record.KeptDetail) bool {
	last, err := time.Parse(time.RFC3339Nano, b.Charged)
	for i := 0; err == nil && i <= len(b.Samples); i++ {
		at := b.Ended
		if i < len(b.Samples) {
			at = b.Samples[i].Time
		}
		var next time.Time
		if next, err = time.Parse(time.RFC3339Nano, at); next.Sub(last).Seconds() > apartS {
			return false
		}
		last = next
	}
	return err == nil
}

// unbrokenTape tells whether no piece is missing.
func unbrokenTape(pieces []record.TapeChunk) bool {
	for i, c := range pieces {
		if c.Seq != i {
			return false
		}
	}
	return len(pieces) > 0
}

// judge holds the journal against what the machine saw.
func (res *daysResult) judge(ctx context.Context, path string) error {
	r, err := journal.OpenReader(path)
	if err != nil {
		return err
	}
	defer r.Close()
	if err := r.Check(ctx); err != nil {
		res.wrong("the journal: %v", err)
	}
	list, err := r.Batches(ctx, record.Search{})
	if err != nil {
		return err
	}
	for _, b := range list {
		whole, err := r.Batch(ctx, b.ID)
		if err != nil {
			return err
		}
		tape, err := r.Tape(ctx, b.ID)
		if err != nil {
			return err
		}
		if b.Result == record.BatchDone && closeSamples(whole) && unbrokenTape(tape) {
			res.Kept++
		}
	}
	trips, err := r.Trips(ctx, math.MaxInt32)
	if err != nil {
		return err
	}
	res.KeptTrips = len(trips)
	if res.Kept != res.Roasted {
		res.wrong("%d batches were roasted, %d are whole in the journal", res.Roasted, res.Kept)
	}
	if res.KeptTrips != res.Trips {
		res.wrong("%d trips, %d in the journal", res.Trips, res.KeptTrips)
	}
	// What the first days fill for good does not count; then nothing may grow.
	if n := len(res.HeapKiB); n >= 4 && res.HeapKiB[n-1] > res.HeapKiB[n/2]+4096 {
		res.wrong("memory has grown from %d to %d KiB", res.HeapKiB[n/2], res.HeapKiB[n-1])
	}
	if n := len(res.Files); n >= 2 && res.Files[n-1] > res.Files[0] {
		res.wrong("files are left open: %d after the first day, %d after the last", res.Files[0], res.Files[n-1])
	}
	if n := len(res.Goroutines); n >= 2 && res.Goroutines[n-1] > res.Goroutines[0]+1 {
		res.wrong("goroutines are left: %d after the first day, %d after the last", res.Goroutines[0], res.Goroutines[n-1])
	}
	return nil
}
