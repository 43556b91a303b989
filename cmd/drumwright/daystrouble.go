package main

import (
	"errors"
	"fmt"
	"net"
	"os"
	"os/signal"
	"sync"
	"syscall"

	"github.com/ncruces/go-sqlite3"
	"golang.org/x/sys/unix"
)

// What a disk can do for a while.
const (
	diskStuck    = "stuck"     // another program holds the lock of the database
	diskFull     = "full"      // no byte more can be written
	diskReadOnly = "read-only" // no file may be changed any more
)

var diskTroubles = []string{diskStuck, diskFull, diskReadOnly}

// troubledDisk makes trouble for the writer of a database.
type troubledDisk struct {
	path string
	was  string // the trouble that there was; where the system forbids one, what was made instead
	undo func() error
}

// trouble begins, if it has not.
func (d *troubledDisk) trouble(kind string) (err error) {
	if d.undo != nil {
		return nil
	}
	d.was = kind
	switch kind {
	case diskStuck:
		d.undo, err = lockDatabase(d.path)
	case diskFull:
		d.undo, err = allowNoWriting()
	case diskReadOnly:
		if d.undo, err = freezeFiles(d.path, d.path+"-wal"); err != nil { // not everybody may, and not every file system can
			d.was = diskFull + " (read-only is not possible here: " + err.Error() + ")"
			d.undo, err = allowNoWriting()
		}
	}
	return err
}

// mend ends it.
func (d *troubledDisk) mend() error {
	if d.undo == nil {
		return nil
	}
	undo := d.undo
	d.undo = nil
	return undo()
}

func lockDatabase(path string) (undo func() error, err error) {
	c, err := sqlite3.Open(path)
	if err != nil {
		return nil, err
	}
	if err := c.Exec(`PRAGMA busy_timeout = 10000; BEGIN IMMEDIATE`); err != nil {
		return nil, errors.Join(err, c.Close())
	}
	return c.Close, nil // ends its transaction
}

// allowNoWriting lets the kernel refuse every write of this program to a file, as it
// does on a full disk but with another error number.
func allowNoWriting() (undo func() error, err error) {
	signal.Ignore(syscall.SIGXFSZ)
	var was unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_FSIZE, &was); err != nil {
		return nil, err
	}
	if err := unix.Setrlimit(unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: 0, Max: was.Max}); err != nil {
		return nil, fmt.Errorf("limit of file sizes: %w", err)
	}
	return func() error { return unix.Setrlimit(unix.RLIMIT_FSIZE, &was) }, nil
}

// freezeFiles makes files that are open for writing unchangeable, as a file system
// does that has gone read-only after an error.
func freezeFiles(paths ...string) (undo func() error, err error) {
	const immutable = 0x10 // FS_IMMUTABLE_FL of linux/fs.h
	set := func(path string, frozen bool) error {
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		flags, err := unix.IoctlGetInt(int(f.Fd()), unix.FS_IOC_GETFLAGS)
		if err != nil {
			return err
		}
		if flags &^= immutable; frozen {
			flags |= immutable
		}
		return unix.IoctlSetPointerInt(int(f.Fd()), unix.FS_IOC_SETFLAGS, flags)
	}
	undo = func() (err error) {
		for _, p := range paths {
			err = errors.Join(err, set(p, false))
		}
		return err
	}
	for _, p := range paths {
		if err := set(p, true); err != nil {
			_ = undo() // those that could not be frozen are not
			return nil, err
		}
	}
	return undo, nil
}

// What a broker can do all day.
const (
	brokerAway   = "away"   // nobody listens
	brokerMute   = "mute"   // it takes the connection and never says a word
	brokerHangUp = "hangup" // it takes the connection and ends it
)

var brokerMoods = []string{brokerAway, brokerMute, brokerHangUp}

// moodyBroker is a broker that is of no use.
type moodyBroker struct {
	address string
	listen  net.Listener
	mu      sync.Mutex
	open    []net.Conn
	done    sync.WaitGroup
}

func newMoodyBroker(mood string) (*moodyBroker, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	b := &moodyBroker{address: l.Addr().String(), listen: l}
	if mood == brokerAway {
		return b, l.Close()
	}
	b.done.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return // it was closed
			}
			if mood == brokerHangUp {
				c.Close()
				continue
			}
			b.mu.Lock()
			b.open = append(b.open, c)
			b.mu.Unlock()
		}
	})
	return b, nil
}

func (b *moodyBroker) close() {
	b.listen.Close()
	b.done.Wait()
	for _, c := range b.open {
		c.Close()
	}
}
