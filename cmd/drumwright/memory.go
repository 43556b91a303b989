package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/control"
	"drumwright/io/journal"
	"drumwright/io/record"
)

// Names under which the journal keeps what must outlive a restart.
const (
	latchName = "latched causes"
	beansName = "beans in the drum" // also the mark of a batch that is under way
	lostName  = "latches lost"
)

// openJournal opens the journal and what survived in it. A damaged file is kept
// aside under another name, and a new one begun. One that is there but cannot be
// used, for a full or failing disk, is left alone, and a makeshift begun in the
// folder for temporary files: a hot machine is not left without its controller.
// In these cases, when a journal that was there is gone, and when it did not take
// what was last to be kept, what was latched is lost.
func openJournal(ctx context.Context, path string, cfg journal.Config) (*journal.Sink, control.Restored, error) {
	behind := isBehind(path)
	lost := gone(path) || behind
	keep, r, err := openWhole(ctx, path, cfg)
	if damaged(err) {
		aside, moved := setAside(path)
		if moved != nil {
			return nil, r, errors.Join(err, moved)
		}
		cfg.Log.Error("the journal is damaged: it is kept aside and a new one begun; what was latched is lost", "err", err, "kept", aside)
		lost = true
		keep, r, err = openWhole(ctx, path, cfg)
	}
	if unusable(path, err) {
		folder, made := os.MkdirTemp("", "drumwright-journal-")
		if made != nil {
			return nil, r, errors.Join(err, made)
		}
		makeshift := filepath.Join(folder, filepath.Base(path))
		cfg.Log.Error("the journal cannot be used: keeping a makeshift until the next start; what was latched is lost", "err", err, "makeshift", makeshift)
		setBehind(path) // what trips from now on is kept in the makeshift only
		lost, behind = true, false
		keep, r, err = openWhole(ctx, makeshift, cfg)
	}
	if err != nil {
		return nil, r, err
	}
	if behind && keep.SaveLatch(lostName, "yes") == nil {
		clearBehind(path)
	}
	r.Lost = r.Lost || lost
	return keep, r, nil
}

// openWhole opens a journal whose latches can be read.
func openWhole(ctx context.Context, path string, cfg journal.Config) (*journal.Sink, control.Restored, error) {
	keep, err := journal.Open(path, cfg)
	if err != nil {
		return nil, control.Restored{}, err
	}
	kept, err := keep.Latches(ctx)
	if err != nil {
		return nil, control.Restored{}, errors.Join(err, keep.Close())
	}
	return keep, control.Restored{Latched: strings.Fields(kept[latchName]), LastBatch: keep.LastBatchID(),
		OpenBatch: kept[beansName] != "", Lost: kept[lostName] != ""}, nil
}

// damaged reports whether a file was opened that is no whole journal.
func damaged(err error) bool {
	return errors.Is(err, sqlite3.CORRUPT) || errors.Is(err, sqlite3.NOTADB)
}

// unusable reports whether a journal is there and sound for all that is known,
// but the disk does not take it.
func unusable(path string, err error) bool {
	if _, there := os.Stat(path); there != nil {
		return false // a wrong path is for a person to put right
	}
	for _, why := range []error{sqlite3.READONLY, sqlite3.FULL, sqlite3.IOERR, sqlite3.CANTOPEN, fs.ErrPermission, syscall.EROFS, syscall.ENOSPC} {
		if errors.Is(err, why) {
			return true
		}
	}
	return false
}

// gone reports whether there was a journal that is not there, or empty: its lock
// has stayed behind.
func gone(path string) bool {
	if _, err := os.Stat(path + ".lock"); err != nil {
		return false
	}
	fi, err := os.Stat(path)
	return errors.Is(err, fs.ErrNotExist) || err == nil && fi.Size() == 0
}

// A journal that did not take what was to be kept is behind: an empty file beside it
// says so to the next start. A full disk mostly has room for that yet; one that can
// only be read has not.
func behindName(path string) string { return path + ".behind" }

func isBehind(path string) bool {
	_, err := os.Stat(behindName(path))
	return err == nil
}

// setBehind reports whether it was this call that has set the mark.
func setBehind(path string) bool {
	f, err := os.OpenFile(behindName(path), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	return err == nil && f.Close() == nil
}

func clearBehind(path string) { _ = os.Remove(behindName(path)) } // a mark that stays asks once more

// setAside renames a journal and what belongs to it, to a name that is free.
func setAside(path string) (string, error) {
	base := path + ".damaged-" + time.Now().UTC().Format("20060102T150405Z")
	aside := base
	for n := 2; ; n++ {
		if _, err := os.Lstat(aside); errors.Is(err, fs.ErrNotExist) {
			break
		}
		aside = fmt.Sprintf("%s-%d", base, n)
	}
	for _, end := range []string{"", "-wal", "-shm"} {
		if err := os.Rename(path+end, aside+end); err != nil && (end == "" || !errors.Is(err, fs.ErrNotExist)) {
			return aside, fmt.Errorf("keep the damaged journal aside: %w", err)
		}
	}
	return aside, nil
}

// memory is what must outlive a restart.
type memory struct {
	latched     string
	beans, lost bool
}

// memoryKeeper stores the memory from a goroutine of its own: storing waits for
// the disk, and the scan does not. Only the newest matters. What could not be
// stored is tried again.
type memoryKeeper struct {
	core   *control.Controller
	now    memory // of the scan
	newest chan memory
	done   sync.WaitGroup
}

// storeAgain is the pause before another try to store (common practice, no source).
const storeAgain = 2 * time.Second

// newMemoryKeeper begins with what is stored already.
func newMemoryKeeper(keep *journal.Sink, path string, core *control.Controller, r control.Restored, log *slog.Logger) *memoryKeeper {
	stored := memory{latched: strings.Join(r.Latched, " "), beans: r.OpenBatch}
	k := &memoryKeeper{core: core, now: stored, newest: make(chan memory, 1)}
	k.done.Go(func() { k.store(keep, path, stored, log) })
	k.now.lost = r.Lost // in a new journal that is not stored yet
	k.put(core.Latched())
	return k
}

func (k *memoryKeeper) store(keep *journal.Sink, path string, stored memory, log *slog.Logger) {
	want, failing, marked := stored, false, false
	again := time.NewTimer(storeAgain)
	again.Stop()
	for {
		select {
		case m, open := <-k.newest:
			if !open {
				return
			}
			want = m
		case <-again.C:
		}
		err := stored.become(want, keep)
		if err != nil {
			again.Reset(storeAgain)
			if !failing {
				marked = setBehind(path)
				log.Error("latches not stored: a restart may forget a trip", "err", err, "next_start_is_told", isBehind(path))
			}
		} else if failing {
			if marked {
				clearBehind(path)
			}
			log.Info("latches stored again")
		}
		failing = err != nil
	}
}

// become stores what has changed.
func (m *memory) become(want memory, keep *journal.Sink) error {
	if want.latched != m.latched {
		if err := keep.SaveLatch(latchName, want.latched); err != nil {
			return err
		}
		m.latched = want.latched
	}
	for _, mark := range []struct {
		name string
		have *bool
		want bool
	}{{beansName, &m.beans, want.beans}, {lostName, &m.lost, want.lost}} {
		if *mark.have == mark.want {
			continue
		}
		value := ""
		if mark.want {
			value = "yes"
		}
		if err := keep.SaveLatch(mark.name, value); err != nil {
			return err
		}
		*mark.have = mark.want
	}
	return nil
}

// put takes the latched causes; it and Put are called from the scan only.
func (k *memoryKeeper) put(ids []string) {
	k.now.latched = strings.Join(ids, " ")
	k.give()
}

// Put takes a finished scan.
func (k *memoryKeeper) Put(*record.Scan) {
	if beans, lost := k.core.Unsettled(); beans != k.now.beans || lost != k.now.lost {
		k.now.beans, k.now.lost = beans, lost
		k.give()
	}
}

func (k *memoryKeeper) give() {
	select {
	case <-k.newest:
	default:
	}
	k.newest <- k.now // there is room: only the scan gives
}

func (k *memoryKeeper) close() {
	close(k.newest)
	k.done.Wait()
}
