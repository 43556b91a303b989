package registers

import (
	"fmt"
	"io"
	"log"
	"net"
	"strconv"
	"sync"
	"time"

	"github.com/simonvetter/modbus"

	"drumwright/control/plant"
	"drumwright/io/point"
	"drumwright/profiles"
)

// Server is a simulated machine on the buses of its machine file.
type Server struct {
	m *profiles.Machine

	mu       sync.Mutex
	machine  *plant.Machine
	banks    map[bankKey]*bank
	buttons  struct{ reset, fire bool }
	touched  touched
	twin     twin
	wiring   Wiring
	silent   map[bankKey]bool // units that do not answer; table is not looked at
	awake    chan struct{}    // closed when a silent unit may answer again
	requests uint64
	ignoring bool    // see write_ignored
	refusing bool    // see write_refused
	foreignS float64 // machine time of the foreign master's next write

	// How serial lines behave; set before Listen.
	Unpaced   bool          // reply at once, not at the speed of the line
	TurnRound time.Duration // what a device needs for its reply

	wires     []wire // of each bus
	servers   []*modbus.ModbusServer
	lines     []*line
	addresses []string
	closed    chan struct{}
	once      sync.Once
}

// defaultTurnRound is the turn-round of a quick device, common practice, no
// source.
const defaultTurnRound = 2 * time.Millisecond

// New makes a server for the machine; nothing is opened yet. The machine
// belongs to the server from then on: touch it in With only.
func New(m *profiles.Machine, machine *plant.Machine) (*Server, error) {
	s := &Server{
		m: m, machine: machine, banks: layOut(m), wires: make([]wire, len(m.BusList)), wiring: NewWiring(m), silent: map[bankKey]bool{}, awake: make(chan struct{}),
		TurnRound: defaultTurnRound, closed: make(chan struct{}),
	}
	return s, s.show()
}

// maxClients is the number of connections one bus takes; a client that gives up
// on a silent unit leaves one behind until the unit answers again.
const maxClients = 512

// Listen opens every bus; after an error none is open. With anyPort each TCP bus
// gets a free loopback port instead of its own address.
//
// A serial line is always a new pseudo-terminal: what the machine file names
// might be a real device, with a real machine behind it, and is never opened.
// Without anyPort a link to the pseudo-terminal is left at the file's path, if
// nothing is there and the folder can be written to; Close takes it away.
//
// The machine's bus list is changed to match what was opened.
func (s *Server) Listen(anyPort bool) error {
	for i := range s.m.BusList {
		b := &s.m.BusList[i]
		open := s.listenTCP
		if b.RTU != nil {
			open = s.listenRTU
		}
		if err := open(i, anyPort); err != nil {
			s.Close()
			return fmt.Errorf("simulated bus %s: %w", b.Name, err)
		}
	}
	return nil
}

func (s *Server) listenTCP(bus int, anyPort bool) error {
	b := &s.m.BusList[bus]
	if anyPort {
		port, err := freePort()
		if err != nil {
			return err
		}
		b.TCP = &profiles.TCP{Host: "127.0.0.1", Port: port}
	}
	address := net.JoinHostPort(b.TCP.Host, strconv.Itoa(b.TCP.Port))
	srv, err := modbus.NewServer(&modbus.ServerConfiguration{
		URL:     "tcp://" + address,
		Timeout: time.Hour, MaxClients: maxClients, Logger: log.New(io.Discard, "", 0),
	}, &handler{s: s, bus: bus})
	if err != nil {
		return err
	}
	if err := srv.Start(); err != nil {
		return fmt.Errorf("at %s: %w", address, err)
	}
	s.servers = append(s.servers, srv)
	s.addresses = append(s.addresses, fmt.Sprintf("bus %s: Modbus TCP on %s", b.Name, address))
	return nil
}

func (s *Server) listenRTU(bus int, anyPort bool) error {
	b := &s.m.BusList[bus]
	p, err := openPTY()
	if err != nil {
		return err
	}
	l := &line{s: s, bus: bus, pty: p, timing: timingOf(b.RTU, s.TurnRound), unpaced: s.Unpaced}
	text := fmt.Sprintf("bus %s: Modbus RTU on %s, %d baud, parity %s", b.Name, p.path, b.RTU.Baud, b.RTU.Parity)
	if !anyPort && link(b.RTU.Device, p.path) {
		l.linked = b.RTU.Device
		text += ", linked from " + l.linked
	}
	rtu := *b.RTU
	rtu.Device = p.path
	b.RTU = &rtu
	s.lines = append(s.lines, l)
	s.addresses = append(s.addresses, text)
	l.wg.Go(l.serve)
	return nil
}

// Addresses tells for each bus, in the order of the machine file, where Listen
// has opened it.
func (s *Server) Addresses() []string { return s.addresses }

func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port, nil
}

// Close ends all connections. A second Close does nothing.
func (s *Server) Close() {
	s.once.Do(func() {
		close(s.closed)
		for _, srv := range s.servers {
			_ = srv.Stop() // it only fails when it does not run
		}
		for _, l := range s.lines {
			l.close()
		}
	})
}

// Advance moves the machine by dtS seconds under the commands that clients have
// written, and shows its new readings.
func (s *Server) Advance(dtS float64) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.machine.SetCommands(s.wiring.Commands(s.order))
	s.machine.Step(dtS)
	return s.show()
}

// With lets f look at or act on the machine between two steps, as a person
// beside it would.
func (s *Server) With(f func(*plant.Machine)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f(s.machine)
}

// PressReset holds or lets go the reset button at the machine.
func (s *Server) PressReset(down bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.buttons.reset = down
}

// PressFire holds or lets go the fire button at the machine.
func (s *Server) PressFire(down bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.buttons.fire = down
}

// Silence stops or restores the answers of the unit that carries an input.
func (s *Server) Silence(i point.Input, silent bool) error {
	if !s.m.HasIn[i] {
		return fmt.Errorf("the machine has no %s", i)
	}
	a := &s.m.In[i]
	s.mu.Lock()
	defer s.mu.Unlock()
	s.silent[bankKey{bus: a.Bus, unit: a.Unit}] = silent
	if !silent {
		close(s.awake)
		s.awake = make(chan struct{})
	}
	return nil
}

// awakening is closed the next time that a silent unit may answer again.
func (s *Server) awakening() <-chan struct{} {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.awake
}

// Requests counts the requests answered.
func (s *Server) Requests() uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.requests
}
