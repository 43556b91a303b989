package profiles

import (
	"fmt"
	"net"
	"strconv"
	"strings"
)

// BusFile is one Modbus line or connection as written: exactly one of tcp, rtu.
type BusFile struct {
	TCP       *TCP    `yaml:"tcp" doc:"a Modbus TCP connection"`
	RTU       *RTU    `yaml:"rtu" doc:"a Modbus RTU serial line"`
	TimeoutS  Seconds `yaml:"timeout" range:"0.005..5" doc:"longest wait for one reply; default 50 ms for tcp, 200 ms for rtu"`
	Retries   int     `yaml:"retries" range:"0..3" default:"1" doc:"further tries of a failed read within the scan"`
	QuietS    Seconds `yaml:"quiet" range:"0..2" default:"250 ms" doc:"rtu: silence after any error, the longest turn-round of a device on the line"`
	HoleWords int     `yaml:"hole" range:"0..64" default:"8" doc:"registers that nobody asked for which may be read to join two groups"`
	BackoffS  Seconds `yaml:"backoff" range:"0.1..60" default:"5 s" doc:"longest pause before a dead unit or connection is tried again"`

	InFlight int `yaml:"in_flight" range:"1..16" default:"1" doc:"tcp: reads sent without waiting for the reply to the one before; only where the manual of every device or gateway on the connection allows it"`
}

// TCP is a Modbus TCP address.
type TCP struct {
	Host string `yaml:"host" need:"yes" doc:"name or address"`
	Port int    `yaml:"port" range:"1..65535" default:"502" doc:"port"`
}

// RTU is a serial line.
type RTU struct {
	Device string  `yaml:"device" need:"yes" doc:"path, best one under /dev/serial/by-id"`
	Baud   int     `yaml:"baud" need:"yes" range:"1200..921600" doc:"bits per second"`
	Parity string  `yaml:"parity" enum:"even,odd,none" default:"even" doc:"parity bit"`
	Stop   int     `yaml:"stop_bits" range:"1..2" doc:"default 1 with parity, 2 without"`
	PauseS Seconds `yaml:"pause" range:"0..0.1" doc:"silence between frames; default 3.5 characters, 1.75 ms above 19,200 baud"`

	Direction string `yaml:"direction" enum:"adapter,kernel" default:"adapter" doc:"who switches an RS-485 transceiver to sending: the adapter by itself, or the kernel's driver by RTS"`
}

// Bus is a bus with its defaults filled in.
type Bus struct {
	Name string
	BusFile
}

// compileBuses makes BusList in the order of the file.
func (s *source) compileBuses(m *Machine) {
	const most = 16
	if s.has("buses") && s.sound("buses") && len(m.Buses) == 0 {
		s.fault("buses", "no bus", "at least one", "describe the line or connection to the machine")
	}
	if len(m.Buses) > most {
		s.fault("buses", fmt.Sprintf("%d buses", len(m.Buses)), fmt.Sprintf("up to %d", most), "put units that share a line under one bus")
	}
	taken := map[string]string{}
	for _, name := range s.order["buses"] {
		key := join("buses", shown(name))
		b := Bus{Name: name, BusFile: m.Buses[name]}
		if !plainName(name) {
			s.fault(key, "the name "+shown(name), "a-z, 0-9, - and _, up to 40 characters", "rename the bus")
		}
		switch {
		case b.TCP != nil && b.RTU != nil:
			s.fault(key, "both tcp and rtu", "one of them", "make two buses of it")
		case b.TCP == nil && b.RTU == nil && s.clean(key):
			s.fault(key, "neither tcp nor rtu", "one of them", "say how the bus is reached")
		}
		if b.TCP != nil && s.has(join(key, "quiet")) {
			s.fault(join(key, "quiet"), "quiet on a TCP connection", "rtu lines only", "take it out")
		}
		if b.RTU != nil && s.has(join(key, "in_flight")) {
			s.fault(join(key, "in_flight"), "in_flight on a serial line", "tcp connections only", "take it out: replies on a serial line carry no number")
		}
		if b.TCP != nil {
			s.unique(taken, net.JoinHostPort(strings.ToLower(b.TCP.Host), strconv.Itoa(b.TCP.Port)), key)
			fill(s, join(key, "timeout"), &b.TimeoutS, 0.05)
		}
		if r := b.RTU; r != nil {
			line := *r
			b.RTU = &line
			s.unique(taken, line.Device, key)
			fill(s, join(key, "timeout"), &b.TimeoutS, 0.2)
			parityBits := 1
			if line.Parity == "none" {
				parityBits = 0
			}
			fill(s, join(key, "rtu.stop_bits"), &line.Stop, 2-parityBits)
			fill(s, join(key, "rtu.pause"), &line.PauseS, framePause(line.Baud, parityBits, line.Stop))
		}
		m.BusList = append(m.BusList, b)
	}
}

// framePause is the silence that ends an RTU frame: 3.5 characters of start
// bit, eight data bits, parity and stop bits, but a fixed 1.75 ms above 19,200
// baud (Modbus over serial line V1.02, section 2.5.1.1).
func framePause(baud, parityBits, stopBits int) Seconds {
	if baud <= 0 {
		return 0
	}
	if baud > 19200 {
		return 0.00175
	}
	return Seconds(3.5 * float64(9+parityBits+stopBits) / float64(baud))
}

func (s *source) unique(taken map[string]string, where, key string) {
	if first, ok := taken[where]; ok {
		s.fault(key, shown(where)+" a second time", "one bus for each line or connection", "use "+first+" for these points")
		return
	}
	taken[where] = key
}

// busIndex finds a bus by name, -1 if there is none.
func (m *Machine) busIndex(name string) int {
	for i := range m.BusList {
		if m.BusList[i].Name == name {
			return i
		}
	}
	return -1
}

func plainName(name string) bool {
	if name == "" || len(name) > 40 {
		return false
	}
	for _, c := range name {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' && c != '_' {
			return false
		}
	}
	return true
}

// simulated reports whether a bus cannot reach a real machine: a loopback
// address or a pseudo-terminal.
func (b *Bus) simulated(resolve resolver) bool {
	switch {
	case b.TCP != nil:
		if b.TCP.Host == "localhost" {
			return true
		}
		ip := net.ParseIP(b.TCP.Host)
		return ip != nil && ip.IsLoopback()
	case b.RTU != nil:
		path, err := resolve(b.RTU.Device)
		if err != nil {
			return false
		}
		n, ok := strings.CutPrefix(path, "/dev/pts/")
		_, err = strconv.ParseUint(n, 10, 16)
		return ok && err == nil
	}
	return false
}
