package fieldbus

import (
	"context"
	"io"
	"net"
	"testing"
	"time"

	"drumwright/io/point"
)

// BenchmarkScan is a scan like that of a small machine, four read groups and
// four changed outputs, over loopback TCP against a server in this process.
// Pin it to one core (taskset -c 0) to compare runs; compare with BenchmarkEcho
// of the same run.
func BenchmarkScan(b *testing.B) {
	benchmarking = true
	p := newPeer(b)
	m := newMachine().tcp(p.address).
		input(point.AirProving, contact(0, point.DiscreteInput, 7)).
		input(point.Bean, number(0, point.InputRegister, 20)).
		input(point.InletAir, number(0, point.InputRegister, 21)).
		input(point.DrumSkin, number(0, point.InputRegister, 24)).
		input(point.DrumHz, number(0, point.Holding, 30)).
		input(point.Ambient, number(0, point.Holding, 300)).
		output(point.AirHeaterPower, number(0, point.Holding, 100)).
		output(point.RadiantPower, number(0, point.Holding, 110)).
		output(point.DrumSpeed, number(0, point.Holding, 120)).
		output(point.BlowerSpeed, number(0, point.Holding, 130))
	f := m.open(b)
	o := everything()
	var img point.Image
	b.ReportAllocs()
	n := 0.0
	for b.Loop() {
		n++
		deadline := time.Now().Add(time.Second)
		f.Read(context.Background(), 0.1*n, deadline, &img)
		for _, role := range []point.Output{point.AirHeaterPower, point.RadiantPower, point.DrumSpeed, point.BlowerSpeed} {
			o.value[role] = float64(int(n) % 50)
		}
		if err := f.order(context.Background(), deadline, o); err != nil {
			b.Fatal(err)
		}
	}
	if img.In[point.Bean].Quality != point.Good {
		b.Fatalf("%+v", img.In[point.Bean])
	}
	b.ReportMetric(float64(f.Transactions())/b.Elapsed().Seconds(), "transactions/s")
}

// BenchmarkEcho sends as many bytes there and back as a read of 16 registers,
// without Modbus: the measure of what the machine can do.
func BenchmarkEcho(b *testing.B) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	defer l.Close()
	go func() {
		c, err := l.Accept()
		if err != nil {
			return
		}
		in, out := make([]byte, 12), make([]byte, 41)
		for {
			if _, err := io.ReadFull(c, in); err != nil {
				return
			}
			c.Write(out)
		}
	}()
	c, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		b.Fatal(err)
	}
	defer c.Close()
	out, in := make([]byte, 12), make([]byte, 41)
	for b.Loop() {
		c.Write(out)
		if _, err := io.ReadFull(c, in); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "transactions/s")
}

// BenchmarkRead is one transaction, to be set against the echo.
func BenchmarkRead(b *testing.B) {
	benchmarking = true
	p := newPeer(b)
	a := number(0, point.Holding, 0)
	a.SpanWords = 16
	m := newMachine().tcp(p.address).input(point.Bean, a)
	f := m.open(b)
	var img point.Image
	b.ReportAllocs()
	for b.Loop() {
		f.Read(context.Background(), 0, time.Now().Add(time.Second), &img)
	}
	b.ReportMetric(float64(f.Transactions())/b.Elapsed().Seconds(), "transactions/s")
}
