package fieldbus

import (
	"bufio"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/goburrow/modbus"

	"drumwright/io/point"
)

// responder starts a process that answers reads with as little work as can be:
// the same bytes, and the same change from process to process, for the raw socket,
// for this package, for the library's transport and for libmodbus.
func responder(b *testing.B) (address string) {
	cmd := exec.Command(os.Args[0], "-test.run=^TestRespond$")
	cmd.Env = append(os.Environ(), "DRUMWRIGHT_RESPOND=1")
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		_ = cmd.Process.Kill() // it never ends by itself
		_ = cmd.Wait()
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		b.Fatal(err)
	}
	return strings.TrimSpace(line)
}

// TestRespond is the other side of the benchmarks, in a process of its own.
func TestRespond(t *testing.T) {
	if os.Getenv("DRUMWRIGHT_RESPOND") == "" {
		t.Skip("only the benchmarks start this")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println(l.Addr())
	for {
		c, err := l.Accept()
		if err != nil {
			t.Fatal(err)
		}
		go respond(c)
	}
}

func respond(c net.Conn) {
	defer c.Close()
	in, out, have := make([]byte, 4096), make([]byte, 0, 4096), 0
	for {
		n, err := c.Read(in[have:])
		if err != nil {
			return
		}
		have += n
		out = out[:0]
		k := 0
		for ; have-k >= 12; k += 12 {
			request := in[k : k+12]
			bytes := 2 * int(binary.BigEndian.Uint16(request[10:]))
			out = append(out, request[0], request[1], 0, 0, byte((bytes+3)>>8), byte(bytes+3), request[6], request[7], byte(bytes))
			out = append(out, blank[:bytes]...)
		}
		have = copy(in, in[k:have])
		if _, err := c.Write(out); err != nil {
			return
		}
	}
}

var blank [2 * maxRegisters]byte

// report gives median, 99 of 100 and longest of what was measured, and the
// transactions a second of the median.
func report(b *testing.B, took []time.Duration, transactions int) {
	slices.Sort(took)
	at := func(share float64) time.Duration { return took[int(share*float64(len(took)-1))] }
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(float64(transactions)/at(0.5).Seconds(), "transactions/s")
	b.ReportMetric(float64(at(0.5).Nanoseconds())/1e3, "p50-µs")
	b.ReportMetric(float64(at(0.99).Nanoseconds())/1e3, "p99-µs")
	b.ReportMetric(float64(at(1).Nanoseconds())/1e3, "max-µs")
}

func timesOf(b *testing.B, do func()) []time.Duration {
	took := make([]time.Duration, 0, 1<<16)
	do()
	for b.Loop() {
		begin := time.Now()
		do()
		took = append(took, time.Since(begin))
	}
	return took
}

// raw is a round trip of the same bytes on a socket, without Modbus.
func raw(b *testing.B, address string, registers, reads int) func() {
	c, err := net.Dial("tcp", address)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { c.Close() })
	out := []byte{0, 0, 0, 0, 0, 6, 1, 3, 0, 0, 0, byte(registers)}
	in := make([]byte, 9+2*registers)
	return func() {
		for range reads {
			if _, err := c.Write(out); err != nil {
				b.Fatal(err)
			}
			if _, err := io.ReadFull(c, in); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// own is a scan of so many read groups by this package.
func own(b *testing.B, address string, registers, reads, inFlight int) func() {
	m := newMachine().tcp(address)
	m.BusList[0].InFlight = inFlight
	for k := range reads {
		a := plain(0, uint16(200*k))
		a.SpanWords = registers
		m.input(point.Input(k), a)
	}
	f := m.open(b)
	var img point.Image
	return func() {
		f.Read(context.Background(), 0, time.Now().Add(time.Second), &img)
		if v := img.In[reads-1]; v.Quality != point.Good {
			b.Fatalf("%+v", v)
		}
	}
}

// libmodbus runs the client in testdata.
func libmodbus(b *testing.B, address string, registers, reads int) {
	program := compiled(b, "reads.c")
	_, port, _ := net.SplitHostPort(address)
	for b.Loop() { // one run is one measurement, however often
		out, err := exec.Command(program, port, strconv.Itoa(registers), strconv.Itoa(reads), "20000").Output()
		if err != nil {
			b.Fatalf("libmodbus client: %v", err)
		}
		var took [3]float64
		for i, w := range strings.Fields(string(out)) {
			took[i], _ = strconv.ParseFloat(w, 64)
		}
		b.ReportMetric(0, "ns/op")
		b.ReportMetric(1e9*float64(reads)/took[0], "transactions/s")
		b.ReportMetric(took[0]/1e3, "p50-µs")
		b.ReportMetric(took[1]/1e3, "p99-µs")
		b.ReportMetric(took[2]/1e3, "max-µs")
	}
}

// BenchmarkTCP is single reads, one in flight. Pin it to one core.
func BenchmarkTCP(b *testing.B) {
	benchmarking = true
	for _, registers := range []int{1, 16, 125} {
		name := fmt.Sprint(registers)
		b.Run(name+"/raw", func(b *testing.B) { report(b, timesOf(b, raw(b, responder(b), registers, 1)), 1) })
		b.Run(name+"/own", func(b *testing.B) { report(b, timesOf(b, own(b, responder(b), registers, 1, 1)), 1) })
		b.Run(name+"/library", func(b *testing.B) {
			h := modbus.NewTCPClientHandler(responder(b))
			h.SlaveId = 1
			defer h.Close()
			c := modbus.NewClient(h)
			report(b, timesOf(b, func() {
				if _, err := c.ReadHoldingRegisters(0, uint16(registers)); err != nil {
					b.Fatal(err)
				}
			}), 1)
		})
		b.Run(name+"/libmodbus", func(b *testing.B) { libmodbus(b, responder(b), registers, 1) })
	}
}

// BenchmarkEightGroups is a scan of eight read groups. Pin it to one core.
func BenchmarkEightGroups(b *testing.B) {
	benchmarking = true
	b.Run("raw", func(b *testing.B) { report(b, timesOf(b, raw(b, responder(b), 16, 8)), 8) })
	for _, n := range []int{1, 2, 4, 8} {
		b.Run(fmt.Sprintf("own-%d-in-flight", n), func(b *testing.B) { report(b, timesOf(b, own(b, responder(b), 16, 8, n)), 8) })
	}
	b.Run("libmodbus", func(b *testing.B) { libmodbus(b, responder(b), 16, 8) })
}
