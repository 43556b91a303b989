package fieldbus

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/goburrow/modbus"
	"golang.org/x/sys/unix"

	"drumwright/io/point"
	"drumwright/profiles"
)

// turnround is what the device of the benchmarks needs between the end of a
// request and its reply.
const turnround = 2 * time.Millisecond

// timedDevice answers reads over a pseudo-terminal in the times of a serial line,
// which a pseudo-terminal does not keep: a request takes its characters, its end
// is known after the silence of Modbus over serial line V1.02, section 2.5.1.1,
// and every byte of the reply comes when its character is over. It lives on a
// thread of its own, outside the runtime's poller, whose delays would be laid to
// the master.
func timedDevice(b *testing.B, character, pause time.Duration) (path string) {
	d := newLine(b)
	fd := int(d.master.Fd())
	if err := unix.SetNonblock(fd, false); err != nil {
		b.Fatal(err)
	}
	d.wg.Go(func() {
		runtime.LockOSThread() // and never unlock: the thread ends with its timer slack
		_ = unix.Prctl(unix.PR_SET_TIMERSLACK, 1, 0, 0, 0)
		request, n := make([]byte, readRequestBytes), 0
		for {
			k, err := unix.Read(fd, request[n:])
			if err == unix.EINTR {
				continue
			}
			if err != nil || k <= 0 {
				return
			}
			if n += k; n < len(request) {
				continue
			}
			n = 0
			end := time.Now().Add(readRequestBytes*character + pause + turnround)
			reply := sealed(request[0], answer(request[1:], 0))
			for sent := 0; sent < len(reply); {
				rest(time.Until(end.Add(time.Duration(sent+1) * character)))
				over := min(int(time.Since(end)/character), len(reply))
				if _, err := unix.Write(fd, reply[sent:over]); err != nil {
					return
				}
				sent = over
			}
		}
	})
	b.Cleanup(func() { // once no slave is open the read ends
		d.slave.Close()
		d.wg.Wait()
		d.master.Close()
	})
	return d.path
}

// BenchmarkRTU is reads one after another over a line that is timed byte by byte,
// by this package and by the transport of the library whose frames it uses, as
// share of what the serial line specification and the device's own delay allow.
func BenchmarkRTU(b *testing.B) {
	benchmarking = true
	for _, baud := range []int{9600, 19200, 115200} {
		for _, registers := range []int{1, 16, 125} {
			line := profiles.RTU{Baud: baud, Parity: "even", Stop: 1}
			character := characterTime(modeOf(&line))
			pause := framePause(character)
			shortest := time.Duration(readRequestBytes+replyBytes(point.Holding, registers))*character + 2*pause + turnround
			// The median says what line and master do; the mean, what was left of
			// it beside whatever else this computer did.
			measure := func(b *testing.B, read func()) {
				read()
				var took []time.Duration
				for b.Loop() {
					begin := time.Now()
					read()
					took = append(took, time.Since(begin))
				}
				slices.Sort(took)
				median, mean := took[len(took)/2], b.Elapsed()/time.Duration(b.N)
				b.ReportMetric(0, "ns/op")
				b.ReportMetric(1/median.Seconds(), "transactions/s")
				b.ReportMetric(100*shortest.Seconds()/median.Seconds(), "%-of-limit")
				b.ReportMetric(100*shortest.Seconds()/mean.Seconds(), "%-mean")
			}
			name := fmt.Sprintf("%d/%d", baud, registers)
			b.Run(name+"/own", func(b *testing.B) {
				path := timedDevice(b, character, pause)
				a := plain(0, 0)
				a.SpanWords = registers
				m := newMachine().rtu(path).input(point.Bean, a)
				m.BusList[0].RTU.Baud = baud
				m.BusList[0].TimeoutS = 2
				f := m.open(b)
				var img point.Image
				measure(b, func() {
					f.Read(context.Background(), 0, time.Now().Add(2*time.Second), &img)
					if img.In[point.Bean].Quality != point.Good {
						b.Fatalf("%+v", img.In[point.Bean])
					}
				})
			})
			b.Run(name+"/library", func(b *testing.B) {
				path := timedDevice(b, character, pause)
				h := modbus.NewRTUClientHandler(path)
				h.BaudRate, h.DataBits, h.Parity, h.StopBits, h.SlaveId, h.Timeout = baud, 8, "E", 1, 1, 2*time.Second
				if err := h.Connect(); err != nil {
					b.Fatal(err)
				}
				defer h.Close()
				c := modbus.NewClient(h)
				measure(b, func() {
					if _, err := c.ReadHoldingRegisters(0, uint16(registers)); err != nil {
						b.Fatal(err)
					}
				})
			})
		}
	}
}
