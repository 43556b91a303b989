package fieldbus

import (
	"context"
	"testing"
	"time"

	"drumwright/io/point"
)

// BenchmarkScan is a scan like that of a small machine, four read groups and
// four changed outputs, over loopback TCP against a server in this process.
// Pin it to one core (taskset -c 0) to compare runs.
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
