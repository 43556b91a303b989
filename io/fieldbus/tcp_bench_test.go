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

	"drumwright/io/peertest"
	"drumwright/io/point"
)

// responder starts a process that answers reads with as little work as can be:
// the same bytes, and the same change from process to process, for each contestant.
func responder(b testing.TB) (address string) {
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

// TestRespond is the other side, in a process of its own.
func TestRespond(t *testing.T) {
	if os.Getenv("DRUMWRIGHT_RESPOND") == "" {
		t.Skip("responder starts this")
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

// contestant does so many scans and returns what each took.
type contestant struct {
	name string
	run  func(scans int) []time.Duration
}

func timed(name string, scan func()) contestant {
	return contestant{name, func(scans int) []time.Duration {
		took := make([]time.Duration, scans)
		for i := range took {
			begin := time.Now()
			scan()
			took[i] = time.Since(begin)
		}
		return took
	}}
}

// raw is a round trip of the same bytes on a socket, without Modbus.
func raw(b *testing.B, address string, registers, reads int) contestant {
	c, err := net.Dial("tcp", address)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { c.Close() })
	out := []byte{0, 0, 0, 0, 0, 6, 1, 3, 0, 0, 0, byte(registers)}
	in := make([]byte, 9+2*registers)
	return timed("raw", func() {
		for range reads {
			if _, err := c.Write(out); err != nil {
				b.Fatal(err)
			}
			if _, err := io.ReadFull(c, in); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// own is a scan of so many read groups by this package, up to the image.
func own(b *testing.B, name, address string, registers, reads, inFlight int) contestant {
	m := newMachine().tcp(address)
	m.BusList[0].InFlight = inFlight
	for k := range reads {
		a := plain(0, uint16(200*k))
		a.SpanWords = registers
		m.input(point.Input(k), a)
	}
	f := m.open(b)
	var img point.Image
	return timed(name, func() {
		f.Read(context.Background(), 0, time.Now().Add(time.Second), &img)
		if v := img.In[reads-1]; v.Quality != point.Good {
			b.Fatalf("%+v", v)
		}
	})
}

// library is the library's own transport.
func library(b *testing.B, address string, registers int) contestant {
	h := modbus.NewTCPClientHandler(address)
	h.SlaveId = 1
	b.Cleanup(func() { h.Close() })
	c := modbus.NewClient(h)
	return timed("library", func() {
		if _, err := c.ReadHoldingRegisters(0, uint16(registers)); err != nil {
			b.Fatal(err)
		}
	})
}

// libmodbus is the client in testdata.
func libmodbus(b *testing.B, address string, registers, reads int) contestant {
	_, port, _ := net.SplitHostPort(address)
	client := exec.Command(peertest.Compiled(b, "testdata/reads.c", "modbus"), port, strconv.Itoa(registers), strconv.Itoa(reads))
	in, err := client.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	out, err := client.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := client.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		in.Close() // ends it
		if err := client.Wait(); err != nil {
			b.Errorf("libmodbus client: %v", err)
		}
	})
	lines := bufio.NewReader(out)
	return contestant{"libmodbus", func(scans int) []time.Duration {
		fmt.Fprintln(in, scans)
		line, err := lines.ReadString('\n')
		fields := strings.Fields(line)
		if err != nil || len(fields) != scans {
			b.Fatalf("libmodbus client: %d figures for %d scans: %v", len(fields), scans, err)
		}
		took := make([]time.Duration, scans)
		for i, w := range fields {
			ns, err := strconv.ParseInt(w, 10, 64)
			if err != nil {
				b.Fatal(err)
			}
			took[i] = time.Duration(ns)
		}
		return took
	}}
}

// together lets the contestants run in turn, a few milliseconds each and round
// after round, so that whatever else the computer does meets them all alike. It
// logs what each took over all rounds, and reports how fast each was beside the
// first: the middle of the ratios of the rounds.
func together(b *testing.B, transactions int, all ...contestant) {
	b.Helper()
	const blockTransactions = 400
	scans := blockTransactions / transactions
	took := make([][]time.Duration, len(all))
	ratios := make([][]float64, len(all))
	for _, c := range all {
		c.run(scans) // opens, and warms caches
	}
	middle := make([]time.Duration, len(all))
	for round := 0; b.Loop(); round++ {
		for k := range all {
			k = (k + round) % len(all)
			block := all[k].run(scans)
			took[k] = append(took[k], block...)
			slices.Sort(block)
			middle[k] = block[scans/2]
		}
		for k := range all {
			ratios[k] = append(ratios[k], float64(middle[0])/float64(middle[k]))
		}
	}
	b.ReportMetric(0, "ns/op")
	for k, c := range all {
		slices.Sort(took[k])
		at := func(share float64) time.Duration { return took[k][int(share*float64(len(took[k])-1))] }
		b.Logf("%-15s %7.0f transactions/s, p50 %v, p99 %v, max %v of %d", c.name, float64(transactions)/at(0.5).Seconds(), at(0.5), at(0.99), at(1), len(took[k]))
		if k > 0 {
			slices.Sort(ratios[k])
			b.ReportMetric(ratios[k][len(ratios[k])/2], c.name+"/"+all[0].name)
		}
	}
}

// BenchmarkTCP is single reads, one in flight. Pin it.
func BenchmarkTCP(b *testing.B) {
	benchmarking = true
	for _, registers := range []int{1, 16, 125} {
		b.Run(strconv.Itoa(registers), func(b *testing.B) {
			address := responder(b)
			together(b, 1, raw(b, address, registers, 1), own(b, "own", address, registers, 1, 1),
				library(b, address, registers), libmodbus(b, address, registers, 1))
		})
	}
}

// BenchmarkEightGroups is a scan of eight read groups. Pin it.
func BenchmarkEightGroups(b *testing.B) {
	benchmarking = true
	address := responder(b)
	all := []contestant{libmodbus(b, address, 16, 8), raw(b, address, 16, 8)}
	for _, n := range []int{1, 2, 4, 8} {
		all = append(all, own(b, fmt.Sprintf("own-%d-in-flight", n), address, 16, 8, n))
	}
	together(b, 8, all...)
}
