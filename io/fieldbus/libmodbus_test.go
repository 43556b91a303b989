package fieldbus

import (
	"bufio"
	"io"
	"os/exec"
	"testing"

	"drumwright/io/peertest"
	"drumwright/io/point"
)

// A device by other hands on the far end of the line: both ends are serial ports
// with a mode of their own, joined by what carries the bytes over.
func TestLibmodbusDeviceOverRTU(t *testing.T) {
	program := peertest.Compiled(t, "testdata/slave.c", "modbus")
	near, far := newLine(t), newLine(t)
	near.wg.Go(func() { io.Copy(far.master, near.master) })
	far.wg.Go(func() { io.Copy(near.master, far.master) })
	t.Cleanup(func() {
		near.hangUp()
		far.hangUp()
	})
	device := exec.Command(program, far.path, "19200", "7")
	said, err := device.StdoutPipe()
	if err == nil {
		err = device.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = device.Process.Kill() // it never ends by itself
		_ = device.Wait()
	})
	if _, err := bufio.NewReader(said).ReadString('\n'); err != nil {
		t.Fatal(err)
	}

	whole := onUnit(7, plain(0, 3))
	whole.SpanWords = 125
	input := plain(0, 42)
	input.Table = point.InputRegister
	m := newMachine().rtu(near.path).
		input(point.Bean, whole).input(point.Exhaust, onUnit(7, input)).
		input(point.AirProving, onUnit(7, contact(0, point.DiscreteInput, 5))).
		input(point.CoverClosed, onUnit(7, contact(0, point.Coil, 6))).
		input(point.Ambient, onUnit(7, plain(0, 200))).
		output(point.DrumSpeed, onUnit(7, plain(0, 200))).
		output(point.HeatEnable, onUnit(7, contact(0, point.Coil, 6)))
	bus := &m.BusList[0].BusFile
	bus.RTU.Baud, bus.TimeoutS, bus.HoleWords = 19200, 2, 0
	f := m.open(t)
	img := m.scan(f, 0)
	good(t, &img, point.Bean, 1003)
	good(t, &img, point.Exhaust, 1042)
	good(t, &img, point.AirProving, 1)
	good(t, &img, point.CoverClosed, 0)
	good(t, &img, point.Ambient, 1200)
	o := everything()
	o.value[point.DrumSpeed], o.value[point.HeatEnable] = 47, 1
	write(t, f, o)
	img = m.scan(f, 0.1)
	good(t, &img, point.Ambient, 47)
	good(t, &img, point.CoverClosed, 1)
	u := f.Stats().Buses[0].Units[0]
	if u.Unit != 7 || u.Errors != [NumReasons]uint64{} {
		t.Errorf("stats %+v", u)
	}
}
