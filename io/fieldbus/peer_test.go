package fieldbus

import (
	"context"
	"io"
	"log"
	"log/slog"
	"math"
	"net"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	vetter "github.com/simonvetter/modbus"

	"drumwright/io/point"
	"drumwright/profiles"
	"drumwright/safety"
)

// peer is an independent Modbus TCP server (simonvetter/modbus) whose registers
// are plain maps. It notes every request.
type peer struct {
	mu       sync.Mutex
	coils    map[uint16]bool
	inputs   map[uint16]bool
	holding  map[uint16]uint16
	register map[uint16]uint16
	refuse   map[uint16]bool // addresses that no request may touch
	log      []string
	address  string
	server   *vetter.ModbusServer
}

func newPeer(t testing.TB) *peer {
	t.Helper()
	p := &peer{coils: map[uint16]bool{}, inputs: map[uint16]bool{}, holding: map[uint16]uint16{}, register: map[uint16]uint16{}, refuse: map[uint16]bool{}}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p.address = l.Addr().String()
	l.Close()
	p.start(t)
	t.Cleanup(func() { p.server.Stop() })
	return p
}

func (p *peer) start(t testing.TB) {
	t.Helper()
	s, err := vetter.NewServer(&vetter.ServerConfiguration{URL: "tcp://" + p.address, Logger: log.New(io.Discard, "", 0)}, p)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	p.server = s
}

func (p *peer) note(kind string, unit uint8, addr, n uint16) error {
	if !benchmarking {
		p.log = append(p.log, kind+" u"+strconv.Itoa(int(unit))+" "+strconv.Itoa(int(addr))+"+"+strconv.Itoa(int(n)))
	}
	for i := range n {
		if p.refuse[addr+i] {
			return vetter.ErrIllegalDataAddress
		}
	}
	return nil
}

var benchmarking bool

func serve[T any](p *peer, m map[uint16]T, kind string, unit uint8, addr, n uint16, write bool, args []T) ([]T, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if write {
		kind = "write " + kind
	}
	if err := p.note(kind, unit, addr, n); err != nil {
		return nil, err
	}
	res := make([]T, n)
	for i := range n {
		if write {
			m[addr+i] = args[i]
		}
		res[i] = m[addr+i]
	}
	return res, nil
}

func (p *peer) HandleCoils(r *vetter.CoilsRequest) ([]bool, error) {
	return serve(p, p.coils, "coil", r.UnitId, r.Addr, r.Quantity, r.IsWrite, r.Args)
}

func (p *peer) HandleDiscreteInputs(r *vetter.DiscreteInputsRequest) ([]bool, error) {
	return serve(p, p.inputs, "input", r.UnitId, r.Addr, r.Quantity, false, nil)
}

func (p *peer) HandleHoldingRegisters(r *vetter.HoldingRegistersRequest) ([]uint16, error) {
	return serve(p, p.holding, "holding", r.UnitId, r.Addr, r.Quantity, r.IsWrite, r.Args)
}

func (p *peer) HandleInputRegisters(r *vetter.InputRegistersRequest) ([]uint16, error) {
	return serve(p, p.register, "register", r.UnitId, r.Addr, r.Quantity, false, nil)
}

// took returns what was asked since the last call.
func (p *peer) took() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	l := p.log
	p.log = nil
	return l
}

func (p *peer) set(f func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	f()
}

// builder makes machines by hand.
type builder struct{ profiles.Machine }

func newMachine() *builder {
	b := &builder{}
	b.Scan.PeriodS = 0.1
	return b
}

func (b *builder) tcp(address string) *builder {
	host, port, _ := net.SplitHostPort(address)
	n, _ := strconv.Atoi(port)
	b.BusList = append(b.BusList, profiles.Bus{Name: "bus" + strconv.Itoa(len(b.BusList)), BusFile: profiles.BusFile{
		TCP: &profiles.TCP{Host: host, Port: n}, TimeoutS: 2, BackoffS: 0.1, HoleWords: 8,
	}})
	return b
}

func number(bus int, table point.Table, address uint16) point.Access {
	return point.Access{Bus: bus, Unit: 1, Table: table, Address: address, Type: point.Int16, Bit: point.NoBit, Mask: 0xFFFF,
		Scale: 0.1, Min: -1000, Max: 5000, EveryScans: 1}
}

// plain is an unscaled register that takes any value.
func plain(bus int, address uint16) point.Access {
	a := number(bus, point.Holding, address)
	a.Type, a.Scale, a.Max = point.Uint16, 1, 65535
	return a
}

func contact(bus int, table point.Table, address uint16) point.Access {
	a := number(bus, table, address)
	a.Type, a.Scale = point.Bool, 1
	return a
}

func (b *builder) input(role point.Input, a point.Access) *builder {
	b.In[role], b.HasIn[role] = a, true
	return b
}

func (b *builder) output(role point.Output, a point.Access) *builder {
	b.Out[role], b.HasOut[role] = a, true
	return b
}

func (b *builder) open(t testing.TB) *Fieldbus {
	t.Helper()
	f, err := New(&b.Machine, slog.New(slog.NewTextHandler(testLog{t}, nil)))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	})
	return f
}

type testLog struct{ t testing.TB }

func (l testLog) Write(p []byte) (int, error) {
	if !benchmarking {
		l.t.Log(strings.TrimSpace(string(p)))
	}
	return len(p), nil
}

func soon() time.Time { return time.Now().Add(3 * time.Second) }

func (b *builder) scan(f *Fieldbus, nowS float64) point.Image {
	var img point.Image
	f.Read(context.Background(), nowS, soon(), &img)
	return img
}

func good(t *testing.T, img *point.Image, role point.Input, want float64) {
	t.Helper()
	if v := img.In[role]; v.Quality != point.Good || math.Abs(v.V-want) > 1e-9 || v.AgeS != 0 {
		t.Errorf("%s = %+v, want %v good", role, v, want)
	}
}

// All eight functions against a server by other hands.
func TestPeerAllFunctions(t *testing.T) {
	p := newPeer(t)
	multiCoil := contact(0, point.Coil, 9)
	multiCoil.Multiple = true
	wide := number(0, point.Holding, 110)
	wide.Type, wide.Scale = point.Float32, 1
	m := newMachine().tcp(p.address).
		input(point.AirProving, contact(0, point.Coil, 3)).
		input(point.CoverClosed, contact(0, point.DiscreteInput, 7)).
		input(point.Bean, number(0, point.Holding, 20)).
		input(point.InletAir, number(0, point.InputRegister, 30)).
		output(point.DrumRun, contact(0, point.Coil, 8)).
		output(point.HeatEnable, multiCoil).
		output(point.DrumSpeed, number(0, point.Holding, 100)).
		output(point.AirHeaterPower, wide)
	p.coils[3], p.inputs[7], p.holding[20], p.register[30] = true, true, 2000, 0xFFFF
	f := m.open(t)
	if err := f.Open(context.Background()); err != nil {
		t.Fatal(err)
	}
	img := m.scan(f, 0)
	good(t, &img, point.AirProving, 1)
	good(t, &img, point.CoverClosed, 1)
	good(t, &img, point.Bean, 200)
	good(t, &img, point.InletAir, -0.1)
	if img.In[point.Exhaust].Quality != point.Absent {
		t.Errorf("a role that the machine has not is %v", img.In[point.Exhaust])
	}
	p.holding[100], p.coils[8], p.coils[9], p.holding[110] = 1, true, true, 0x3F80
	off := safety.HeatOff()
	if err := f.Write(context.Background(), soon(), &off); err != nil {
		t.Fatal(err)
	}
	p.set(func() {
		if p.coils[9] || p.holding[110] != 0 || !p.coils[8] || p.holding[100] != 1 {
			t.Errorf("after HeatOff: coils %v holding %v", p.coils, p.holding)
		}
	})
	if n := f.Transactions(); n != 6 {
		t.Errorf("%d transactions, want 4 reads and 2 writes", n)
	}
}
