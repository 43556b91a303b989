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
	lastBeat bool
	beats    uint16
	silent   map[bankKey]bool // units that do not answer; table is not looked at
	awake    chan struct{}    // closed when a silent unit may answer again
	requests uint64

	servers []*modbus.ModbusServer
	closed  chan struct{}
}

// New makes a server for the machine; nothing is opened yet. The machine
// belongs to the server from then on: touch it in With only.
func New(m *profiles.Machine, machine *plant.Machine) (*Server, error) {
	s := &Server{m: m, machine: machine, banks: layOut(m), silent: map[bankKey]bool{}, awake: make(chan struct{}), closed: make(chan struct{})}
	r := machine.Readings()
	return s, s.readings(&r)
}

// maxClients is the number of connections one bus takes; a client that gives up
// on a silent unit leaves one behind until the unit answers again.
const maxClients = 512

// Listen opens every bus on its own address. With anyPort each bus gets a free
// loopback port instead, and the machine's bus list is changed to match.
func (s *Server) Listen(anyPort bool) error {
	for i := range s.m.BusList {
		b := &s.m.BusList[i]
		if anyPort {
			port, err := freePort()
			if err != nil {
				return fmt.Errorf("simulated bus %s: %w", b.Name, err)
			}
			b.RTU, b.TCP = nil, &profiles.TCP{Host: "127.0.0.1", Port: port}
		}
		if b.TCP == nil {
			return fmt.Errorf("simulated bus %s: a serial line is simulated on a TCP port: give it one", b.Name)
		}
		srv, err := modbus.NewServer(&modbus.ServerConfiguration{
			URL:     "tcp://" + net.JoinHostPort(b.TCP.Host, strconv.Itoa(b.TCP.Port)),
			Timeout: time.Hour, MaxClients: maxClients, Logger: log.New(io.Discard, "", 0),
		}, &handler{s: s, bus: i})
		if err != nil {
			return fmt.Errorf("simulated bus %s: %w", b.Name, err)
		}
		if err := srv.Start(); err != nil {
			return fmt.Errorf("simulated bus %s at %s:%d: %w", b.Name, b.TCP.Host, b.TCP.Port, err)
		}
		s.servers = append(s.servers, srv)
	}
	return nil
}

func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port, nil
}

// Close ends all connections.
func (s *Server) Close() {
	close(s.closed)
	for _, srv := range s.servers {
		_ = srv.Stop() // it only fails when it does not run
	}
}

// Advance moves the machine by dtS seconds under the commands that clients have
// written, and shows its new readings.
func (s *Server) Advance(dtS float64) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.machine.SetCommands(s.commands())
	s.machine.Step(dtS)
	r := s.machine.Readings()
	return s.readings(&r)
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

// Requests counts the requests answered.
func (s *Server) Requests() uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.requests
}
