package main

import (
	"bufio"
	"context"
	"io/fs"
	"log/slog"
	"math"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"

	"drumwright/safety"
)

// computerEvery is how often the computer is looked at: heat, memory and disk
// change in minutes.
const computerEvery = 10 * time.Second

// computer reads how the computer that runs the daemon is doing. Any goroutine
// may use it.
type computer struct {
	root fs.FS                                       // the root of the file system: proc and sys
	free func(folder string) (mb float64, err error) // that programs can still write there
	dir  string                                      // where the journal is kept
	log  *slog.Logger
	now  atomic.Pointer[safety.Computer]
}

func newComputer(root fs.FS, dir string, log *slog.Logger) *computer {
	c := &computer{root: root, free: diskFreeMB, dir: dir, log: log}
	c.look()
	return c
}

// Now is how the computer was doing when it was last looked at. It does not block.
func (c *computer) Now() safety.Computer { return *c.now.Load() }

// look reads everything anew. Figures are rounded, so that a tape of a batch does
// not note every breath of the computer. What cannot be read is not known, which
// is no fault: not every computer has a thermometer.
func (c *computer) look() {
	var now safety.Computer
	zones, err := fs.Glob(c.root, "sys/class/thermal/thermal_zone*/temp")
	if err != nil {
		c.log.Debug("no thermal zones", "err", err)
	}
	for _, zone := range zones {
		text, err := fs.ReadFile(c.root, zone)
		if err != nil {
			continue // a zone that is switched off
		}
		if mC, err := strconv.ParseFloat(strings.TrimSpace(string(text)), 64); err == nil {
			now.CPUC = max(now.CPUC, math.Round(mC/1000))
		}
	}
	if pct, ok := c.memoryFreePct(); ok {
		now.MemoryFreePct = max(1, math.Round(pct))
	}
	if mb, err := c.free(c.dir); err != nil {
		c.log.Debug("the disk's free space cannot be read", "folder", c.dir, "err", err)
	} else {
		now.DiskFreeMB = max(1, math.Round(mb/10)*10)
	}
	c.now.Store(&now)
}

// memoryFreePct is the share of the memory that programs can still have, as the
// kernel estimates it.
func (c *computer) memoryFreePct() (float64, bool) {
	f, err := c.root.Open("proc/meminfo")
	if err != nil {
		return 0, false
	}
	defer f.Close()
	var total, available float64
	for s := bufio.NewScanner(f); s.Scan(); {
		name, rest, _ := strings.Cut(s.Text(), ":")
		kB, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(rest, "kB")), 64)
		switch {
		case err != nil:
		case name == "MemTotal":
			total = kB
		case name == "MemAvailable":
			available = kB
		}
	}
	return 100 * available / total, total > 0
}

func diskFreeMB(folder string) (float64, error) {
	var s unix.Statfs_t
	err := unix.Statfs(folder, &s)
	return float64(s.Bavail) * float64(s.Bsize) / 1e6, err
}

// watch keeps looking until ctx ends.
func (c *computer) watch(ctx context.Context) { every(ctx, computerEvery, c.look) }
