package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"drumwright/profiles"
)

// busLocks keep a second controller off the buses of a machine: two masters
// would undo each other's heat off. They go with the process, however that ends.
type busLocks []*os.File

// lockFolders are where locks may lie, best first; the second is for users who
// may not write to the first. Both are gone after a start of the computer.
func lockFolders() []string {
	return []string{"/run/lock/drumwright", filepath.Join(os.TempDir(), "drumwright-locks")}
}

// lockBuses locks every bus of the machine, or none and says who has it.
func lockBuses(m *profiles.Machine, folders []string) (_ busLocks, err error) {
	var locks busLocks
	defer func() {
		if err != nil {
			locks.release()
		}
	}()
	for i := range m.BusList {
		b := &m.BusList[i]
		f, err := lockBus(folders, lockName(&b.BusFile))
		if err != nil {
			return nil, fmt.Errorf("bus %s: %w", b.Name, err)
		}
		locks = append(locks, f)
	}
	return locks, nil
}

func (l busLocks) release() {
	for _, f := range l {
		f.Close()
	}
}

// lockName is the same for every way to write the same line.
func lockName(b *profiles.BusFile) string {
	var name string
	if b.TCP != nil {
		host := strings.ToLower(b.TCP.Host)
		if host == "localhost" {
			host = "127.0.0.1"
		}
		name = "tcp-" + net.JoinHostPort(host, strconv.Itoa(b.TCP.Port))
	} else {
		device := b.RTU.Device
		if real, err := filepath.EvalSymlinks(device); err == nil {
			device = real
		}
		name = "serial" + device
	}
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune("/:[]%", r) {
			return '-'
		}
		return r
	}, name) + ".lock"
}

func lockBus(folders []string, name string) (*os.File, error) {
	var refused error
	for _, folder := range folders {
		// Others may lock too; the sticky bit keeps them from removing what is not theirs.
		if err := os.MkdirAll(folder, 0o777|os.ModeSticky); err != nil {
			refused = errors.Join(refused, err)
			continue
		}
		_ = os.Chmod(folder, 0o777|os.ModeSticky) // past the umask; fails where another user made it
		path := filepath.Join(folder, name)
		f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR|syscall.O_NOFOLLOW|syscall.O_CLOEXEC, 0o666)
		if errors.Is(err, fs.ErrPermission) { // it is another user's; to lock it, reading is enough
			f, err = os.OpenFile(path, os.O_RDONLY|syscall.O_NOFOLLOW|syscall.O_CLOEXEC, 0)
		}
		if err != nil {
			refused = errors.Join(refused, err)
			continue
		}
		if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
			who, _ := io.ReadAll(io.LimitReader(f, 64))
			f.Close()
			return nil, fmt.Errorf("%s is locked (%w): another drumwright, process %s, drives this bus; nothing was written; stop it first", path, err, strings.TrimSpace(string(who)))
		}
		_ = f.Truncate(0) // the number is for people; the lock does not need it
		_, _ = f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
		return f, nil
	}
	return nil, fmt.Errorf("no folder for its lock can be written: %w", refused)
}
