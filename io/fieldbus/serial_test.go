package fieldbus

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"drumwright/io/point"
	"drumwright/profiles"
)

func rtuAt(path string) *profiles.RTU {
	return &profiles.RTU{Device: path, Baud: 19200, Parity: "even", Stop: 1}
}

// The kernel itself is asked, who holds the port for one process (TIOCGEXCL).
func TestPortIsTakenForOneProcess(t *testing.T) {
	d := newDevice(t)
	exclusive := func() int {
		n, err := unix.IoctlGetInt(int(d.slave.Fd()), unix.TIOCGEXCL)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	before := exclusive()
	p, err := openSerial(rtuAt(d.path))
	if err != nil {
		t.Fatal(err)
	}
	during := exclusive()
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	if after := exclusive(); before != 0 || during != 1 || after != 0 {
		t.Errorf("exclusive before, while and after it is open: %d, %d, %d; want 0, 1, 0", before, during, after)
	}
}

// asNobody does something with the rights of a user who has none, on a thread
// that ends with it.
func asNobody(t *testing.T, do func()) {
	t.Helper()
	var wg sync.WaitGroup
	wg.Go(func() {
		runtime.LockOSThread()
		if os.Geteuid() == 0 {
			_ = unix.Setfsgid(65534)
			_ = unix.Setfsuid(65534)
		}
		do()
	})
	wg.Wait()
}

func TestForbiddenPortNamesTheGroup(t *testing.T) {
	d := newDevice(t)
	if err := os.Chmod(d.path, 0o000); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("stat", "-c", "%G", d.path).Output()
	if err != nil {
		t.Skipf("stat: %v", err)
	}
	group := strings.TrimSpace(string(out))
	for _, direction := range []string{"adapter", "kernel"} {
		asNobody(t, func() {
			r := rtuAt(d.path)
			r.Direction = direction
			p, err := openSerial(r)
			if err == nil {
				p.Close()
				t.Error("opened")
			} else if text := err.Error(); !strings.Contains(text, d.path) || !strings.Contains(text, "usermod -aG "+group+" ") {
				t.Errorf("says %q; want the path and how to join the group %s", text, group)
			}
		})
	}
}

func TestPortThatIsNotThereNamesWhatIs(t *testing.T) {
	folder := t.TempDir()
	name := filepath.Join(folder, "usb-adapter-port0")
	if err := os.WriteFile(name, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if got := adapters(folder); !strings.Contains(got, name) {
		t.Errorf("adapters: %q", got)
	}
	if got := adapters(t.TempDir()); !strings.Contains(got, "no serial adapter") {
		t.Errorf("adapters: %q", got)
	}
	if _, err := openSerial(rtuAt(folder + "/gone")); err == nil || !strings.Contains(err.Error(), "gone is not there") {
		t.Errorf("%v", err)
	}
}

// A pseudo-terminal has no transceiver, so its driver refuses to switch one.
func TestDirectionThatTheDriverDoesNotSwitch(t *testing.T) {
	r := rtuAt(newDevice(t).path)
	r.Direction = "kernel"
	if _, err := openSerial(r); !errors.Is(err, unix.ENOTTY) || !strings.Contains(err.Error(), "direction: kernel") {
		t.Errorf("%v", err)
	}
}

// An adapter that comes back has another number; only its name by identity, a
// link that the system makes, is the same.
func TestAdapterPluggedInAgainUnderAnotherNumber(t *testing.T) {
	link := filepath.Join(t.TempDir(), "usb-adapter-port0")
	plug := func() *device {
		d := newDevice(t)
		if err := os.Symlink(d.path, link); err != nil {
			t.Fatal(err)
		}
		return d
	}
	d := plug()
	m := newMachine().rtu(link).input(point.Bean, number(0, point.Holding, 10))
	f := m.open(t)
	img := m.scan(f, 0)
	good(t, &img, point.Bean, 101)

	other := newDevice(t) // takes a number, so that the adapter cannot have its own again
	d.hangUp()
	if err := os.Remove(link); err != nil {
		t.Fatal(err)
	}
	now := 0.1
	eventually(t, "word of what is missing", func() bool {
		img = m.scan(f, now)
		now += 0.1
		return strings.Contains(f.Stats().Buses[0].Problem, link+" is not there")
	})
	if v := img.In[point.Bean]; v.Quality == point.Good {
		t.Errorf("%+v without an adapter", v)
	}
	again := plug()
	eventually(t, "value after plugging in", func() bool {
		img = m.scan(f, now)
		now += 0.1
		return img.In[point.Bean].Quality == point.Good
	})
	if again.lastOf(1) == 0 || other.lastOf(1) != 0 {
		t.Errorf("asked the adapter %d times and another one %d times", again.lastOf(1), other.lastOf(1))
	}
	if s := f.Stats().Buses[0]; !s.Connected || s.Problem != "" || s.Connections != 2 {
		t.Errorf("stats %+v", s)
	}
}

// Each line's device answers only once the other line's has been asked too.
func TestTwoLinesAreAskedAtOnce(t *testing.T) {
	a, b := newDevice(t), newDevice(t)
	m := newMachine().rtu(a.path).rtu(b.path)
	for i := range m.BusList {
		m.BusList[i].TimeoutS = 2
	}
	m.input(point.Bean, plain(0, 10)).input(point.Exhaust, plain(1, 20))
	f := m.open(t)
	if err := f.Open(context.Background()); err != nil {
		t.Fatal(err)
	}
	asked := map[*device]chan struct{}{a: make(chan struct{}, 1), b: make(chan struct{}, 1)}
	meet := func(mine, theirs *device) {
		mine.behave(func(x *frame) {
			asked[mine] <- struct{}{}
			<-asked[theirs]
			x.send(x.reply...)
		})
	}
	meet(a, b)
	meet(b, a)
	img := m.scan(f, 0)
	good(t, &img, point.Bean, 1010)
	good(t, &img, point.Exhaust, 1020)
	asked[a] <- struct{}{} // lets a device go that still waits after a failure
	asked[b] <- struct{}{}
}

// A slow device delays a scan but spoils nothing: the reply that comes is its own.
func TestSlowDeviceBetweenFastOnes(t *testing.T) {
	d := newDevice(t)
	m := newMachine().rtu(d.path)
	m.BusList[0].TimeoutS = 2
	m.input(point.Bean, onUnit(1, plain(0, 10))).input(point.Exhaust, onUnit(2, plain(0, 20))).input(point.InletAir, onUnit(3, plain(0, 30)))
	f := m.open(t)
	d.behave(func(x *frame) {
		if x.request[0] == 2 {
			after(30*time.Millisecond, x, x.reply)
		} else {
			x.send(x.reply...)
		}
	})
	for n := range 3 {
		img := m.scan(f, 0.1*float64(n))
		good(t, &img, point.Bean, valueOf(10, d.lastOf(1)))
		good(t, &img, point.Exhaust, valueOf(20, d.lastOf(2)))
		good(t, &img, point.InletAir, valueOf(30, d.lastOf(3)))
	}
}
