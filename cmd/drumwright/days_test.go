package main

import (
	"context"
	"path/filepath"
	"testing"

	"drumwright/io/peertest"
)

// Three days of a shop on which something breaks in the first batch and, from ten
// minutes after the start, the disk is full, read-only or stuck.
func TestDaysWithAFaultAndATroubledDisk(t *testing.T) {
	peertest.OnceIsEnough(t)
	for day, disk := range map[int]string{2: diskFull, 8: diskReadOnly, 14: diskStuck} {
		if x := troubleOf(day); x.fault == nil || x.disk != disk {
			t.Fatalf("day %d: %+v", day, x)
		}
		bench, err := benchFor("heron-1000", "", 1)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "drumwright.db")
		res, err := playDays(context.Background(), daysOptions{first: day, days: 1, batches: 1}, 1, bench.Machine, bench.Recipe, path)
		if err != nil {
			t.Fatal(err)
		}
		if len(res.Wrong) > 0 || res.Trips == 0 || res.KeptTrips != res.Trips || res.Roasted != 0 || res.Scans == 0 || len(res.Outages) != 1 {
			t.Errorf("%+v", res)
		}
		if disk != diskStuck && res.Failures == 0 {
			t.Errorf("the disk was %s and took everything: %+v", disk, res)
		}
		// What the machine saw and the journal does not have is found.
		res.Trips++
		res.Roasted++
		if err := res.judge(context.Background(), path); err != nil || len(res.Wrong) != 2 {
			t.Errorf("%v: %q", err, res.Wrong)
		}
	}
}
