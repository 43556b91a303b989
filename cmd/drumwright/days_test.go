package main

import (
	"context"
	"path/filepath"
	"testing"

	"drumwright/io/peertest"
)

// The fifteenth day of a shop: the drum stalls in the first batch, and from
// ten minutes after the start the disk takes nothing.
func TestDayWithAStallAndAStuckDisk(t *testing.T) {
	peertest.OnceIsEnough(t)
	bench, err := benchFor("heron-1000", "", 1)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "drumwright.db")
	res, err := playDays(context.Background(), daysOptions{first: 14, days: 1, batches: 1}, 1, bench.Machine, bench.Recipe, path)
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Wrong) > 0 || res.Trips == 0 || res.KeptTrips != res.Trips || res.Roasted != 0 || res.Scans == 0 {
		t.Errorf("%+v", res)
	}
	// What the machine saw and the journal does not have is found.
	res.Trips++
	res.Roasted++
	if err := res.judge(context.Background(), path); err != nil || len(res.Wrong) != 2 {
		t.Errorf("%v: %q", err, res.Wrong)
	}
}
