package doctor

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// Space that a journal needs: a batch takes about 0.25 MiB, so a year of forty a
// day about 3.5 GiB. Common practice, no source.
const (
	scarceBytes  = 1 << 30
	tooFewBytes  = 100 << 20
	scarceInodes = 1000
)

// Space looks at the file system that a folder lies on.
func Space(folder string) Finding {
	var s unix.Statfs_t
	if err := unix.Statfs(folder, &s); err != nil {
		return unknown("disk space", "%s: %v", folder, err).but(Fault, "make the folder, or name another under telemetry.journal")
	}
	return judgeSpace(folder, s.Bavail*uint64(s.Bsize), s.Blocks*uint64(s.Bsize), s.Files, s.Ffree, s.Flags&unix.ST_RDONLY != 0)
}

func judgeSpace(folder string, free, all, files, freeFiles uint64, readOnly bool) Finding {
	f := good("disk space", "%s: %.1f of %.1f GiB free", folder, float64(free)/(1<<30), float64(all)/(1<<30))
	switch {
	case readOnly:
		f.Said = folder + " can only be read"
		return f.but(Fault, "nothing is kept. A card at the end of its life turns read-only by itself: make a backup now and replace it")
	case free < tooFewBytes:
		return f.but(Fault, "the journal will soon be full: make room now, or set telemetry.journal_limit")
	case files > 0 && freeFiles < scarceInodes:
		f.Said = fmt.Sprintf("%s: room for %d files only", folder, freeFiles)
		return f.but(Warning, "remove small files that nobody needs")
	case free < scarceBytes:
		return f.but(Warning, "make room, or set telemetry.journal_limit")
	}
	return f
}

// Speed writes and syncs small blocks as the journal does and says how long one
// takes. It leaves nothing behind.
func Speed(folder string) Finding {
	const what, blocks = "disk speed", 25
	f, err := os.CreateTemp(folder, ".doctor-*")
	if err != nil {
		return unknown(what, "nothing can be written: %v", err).but(Fault, "give the folder to the daemon's user: chown drumwright: "+folder)
	}
	defer os.Remove(f.Name())
	defer f.Close()
	block := make([]byte, 4096)
	took := make([]time.Duration, blocks)
	for i := range took {
		begin := time.Now()
		_, err := f.Write(block)
		if err == nil {
			err = f.Sync()
		}
		if err != nil {
			return unknown(what, "writing fails: %v", err).but(Fault, "the disk is full, worn out or can only be read")
		}
		took[i] = time.Since(begin)
	}
	slices.Sort(took)
	return judgeSpeed(took[blocks/2], took[blocks-1])
}

// The journal commits once a second; limits are estimates, no source.
func judgeSpeed(median, longest time.Duration) Finding {
	f := good("disk speed", "a small write is safe after %v, at worst %v", median.Round(10*time.Microsecond), longest.Round(10*time.Microsecond))
	if median > 200*time.Millisecond || longest > 2*time.Second {
		return f.but(Warning, "slow: roasting does not wait for it, but samples may be dropped from the journal; use a better card or a disk")
	}
	return f
}

// Wear looks at what the storage under a folder tells of its age. sys is /sys.
func Wear(folder, sys string) Finding {
	const what = "disk wear"
	var s unix.Stat_t
	if err := unix.Stat(folder, &s); err != nil {
		return unknown(what, "%s: %v", folder, err)
	}
	block := filepath.Join(sys, "dev", "block", fmt.Sprintf("%d:%d", unix.Major(uint64(s.Dev)), unix.Minor(uint64(s.Dev))))
	device, err := filepath.EvalSymlinks(block)
	if err != nil {
		return unknown(what, "%s lies on no device that tells", folder)
	}
	for _, at := range []string{device, filepath.Dir(device)} { // a partition lies in its disk
		if text, err := os.ReadFile(filepath.Join(at, "device", "life_time")); err == nil {
			return judgeWear(filepath.Base(at), string(text))
		}
	}
	return unknown(what, "%s does not tell its age, as most cards and disks", filepath.Base(device))
}

// judgeWear reads the life time estimates of an eMMC: two numbers in steps of 10 %
// of its life, 0x0B = beyond it (JESD84-B51, EXT_CSD 268 and 269; value from
// memory).
func judgeWear(name, lifeTime string) Finding {
	const what = "disk wear"
	worst := uint64(0)
	for _, w := range strings.Fields(lifeTime) {
		n, err := strconv.ParseUint(strings.TrimPrefix(w, "0x"), 16, 8)
		if err != nil {
			return unknown(what, "%s says %q", name, lifeTime)
		}
		worst = max(worst, n)
	}
	switch {
	case worst == 0:
		return unknown(what, "%s does not tell its age", name)
	case worst > 10:
		f := good(what, "%s is beyond its life", name)
		return f.but(Fault, "make a backup now and replace it")
	case worst >= 9:
		f := good(what, "%s has used %d to %d %% of its life", name, 10*(worst-1), 10*worst)
		return f.but(Warning, "make backups and plan its replacement")
	}
	return good(what, "%s has used %d to %d %% of its life", name, 10*(worst-1), 10*worst)
}
