package fieldbus

import (
	"encoding/binary"
	"os"
	"strconv"
	"sync"
	"testing"

	"golang.org/x/sys/unix"

	"drumwright/profiles"
)

// device is a Modbus RTU device on the master side of a pseudo-terminal. Like
// script, register a holds a + 1000·n at the n-th request.
type device struct {
	t      testing.TB
	master *os.File
	slave  *os.File // kept open, so that the line survives a close by the other side
	path   string

	mu   sync.Mutex
	act  func(*frame)
	n    int
	last map[byte]int // number of the last request to each unit
	wg   sync.WaitGroup
}

// frame is one request on the serial line with the reply of a sound device.
type frame struct {
	d       *device
	request []byte
	reply   []byte
}

func (x *frame) send(b ...byte) { x.d.master.Write(b) }

func newDevice(t testing.TB) *device {
	t.Helper()
	d := newLine(t)
	d.wg.Go(d.serve)
	t.Cleanup(d.hangUp)
	return d
}

// newLine is the pseudo-terminal of a device that nobody serves yet.
func newLine(t testing.TB) *device {
	t.Helper()
	fd, err := unix.Open("/dev/ptmx", unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	d := &device{t: t, path: "/dev/pts/" + strconv.Itoa(n), master: os.NewFile(uintptr(fd), "ptmx"), last: map[byte]int{}}
	d.act = func(x *frame) { x.send(x.reply...) }
	if d.slave, err = os.OpenFile(d.path, os.O_RDWR|unix.O_NOCTTY, 0); err != nil {
		t.Fatal(err)
	}
	raw, err := unix.IoctlGetTermios(int(d.slave.Fd()), unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	raw.Lflag &^= unix.ECHO | unix.ICANON | unix.ISIG
	raw.Iflag &^= unix.ICRNL | unix.IXON
	raw.Oflag &^= unix.OPOST
	if err := unix.IoctlSetTermios(int(d.slave.Fd()), unix.TCSETS, raw); err != nil {
		t.Fatal(err)
	}
	return d
}

// hangUp is the adapter being pulled out.
func (d *device) hangUp() {
	d.master.Close()
	d.slave.Close()
	d.wg.Wait()
}

func (d *device) behave(act func(*frame)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.act = act
}

func (d *device) serve() {
	var got []byte
	buf := make([]byte, 256)
	for {
		n, err := d.master.Read(buf)
		if err != nil {
			return
		}
		got = append(got, buf[:n]...)
		for len(got) >= 8 {
			want := 8
			if got[1] == 15 || got[1] == 16 {
				want = 9 + int(got[6])
			}
			if len(got) < want {
				break
			}
			if crc(got[:want]) != 0 {
				d.t.Errorf("request % x has a wrong checksum", got[:want])
			}
			d.answer(append([]byte{}, got[:want]...))
			got = got[want:]
		}
	}
}

func (d *device) answer(request []byte) {
	d.mu.Lock()
	d.n++
	d.last[request[0]] = d.n
	x := &frame{d: d, request: request, reply: sealed(request[0], answer(request[1:], d.n))}
	act := d.act
	d.mu.Unlock()
	act(x)
}

func (d *device) lastOf(unit byte) int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.last[unit]
}

// sealed puts address and checksum around a PDU.
func sealed(unit byte, pdu []byte) []byte {
	f := append([]byte{unit}, pdu...)
	return binary.LittleEndian.AppendUint16(f, crc(f))
}

func (b *builder) rtu(path string) *builder {
	b.BusList = append(b.BusList, profiles.Bus{Name: "line", BusFile: profiles.BusFile{
		RTU:      &profiles.RTU{Device: path, Baud: 115200, Parity: "even", Stop: 1},
		TimeoutS: 0.08, QuietS: 0.06, BackoffS: 0.1, HoleWords: 8, Retries: 1,
	}})
	return b
}
