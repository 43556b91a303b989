package telemetry

import (
	"bufio"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"drumwright/io/peertest"
)

// broker is a real mosquitto with the shipped configuration but for the port.
type broker struct {
	t       *testing.T
	address string
	c       *exec.Cmd
}

func newBroker(t *testing.T) *broker {
	return &broker{t: t, address: peertest.FreeAddress(t)}
}

func (b *broker) start() *broker {
	b.t.Helper()
	_, port, _ := net.SplitHostPort(b.address)
	config := filepath.Join(b.t.TempDir(), "mosquitto.conf")
	shipped, err := os.ReadFile("../../deploy/mosquitto/drumwright.conf")
	if err != nil {
		b.t.Fatal(err)
	}
	const listener = "listener 1883 127.0.0.1\n"
	if strings.Count(string(shipped), listener) != 1 {
		b.t.Fatalf("the shipped configuration has no %q", listener)
	}
	text := strings.Replace(string(shipped), listener, "listener "+port+" 127.0.0.1\n", 1) + "log_dest none\n"
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		b.t.Fatal(err)
	}
	b.c = exec.Command(peertest.Find(b.t, "mosquitto"), "-c", config)
	if err := b.c.Start(); err != nil {
		b.t.Fatal(err)
	}
	c := b.c
	b.t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	peertest.Eventually(b.t, 5*time.Second, "mosquitto listens", func() bool {
		conn, err := net.Dial("tcp", b.address)
		if err == nil {
			conn.Close()
		}
		return err == nil
	})
	return b
}

func (b *broker) signal(s os.Signal) {
	b.t.Helper()
	if err := b.c.Process.Signal(s); err != nil {
		b.t.Fatal(err)
	}
	if s == os.Kill {
		b.c.Wait()
	}
}

// subscriber is a real mosquitto_sub; it remembers all it has seen.
type subscriber struct {
	t    *testing.T
	mu   sync.Mutex
	seen []message
}

type message struct {
	retained bool
	topic    string // below the machine
	payload  string
}

func (b *broker) subscribe() *subscriber {
	b.t.Helper()
	_, port, _ := net.SplitHostPort(b.address)
	c := exec.Command(peertest.Find(b.t, "mosquitto_sub"), "-h", "127.0.0.1", "-p", port, "-q", "1", "-t", "#", "-F", "%r %t %p")
	out, err := c.StdoutPipe()
	if err != nil {
		b.t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	s := &subscriber{t: b.t}
	go func() {
		lines := bufio.NewScanner(out)
		lines.Buffer(nil, 1<<20)
		for lines.Scan() {
			f := strings.SplitN(lines.Text(), " ", 3)
			s.mu.Lock()
			s.seen = append(s.seen, message{f[0] == "1", strings.TrimPrefix(f[1], "drumwright/shop/old-drum/"), f[2]})
			s.mu.Unlock()
		}
	}()
	// It is there once it hears a message that nobody else sends.
	hello := exec.Command(peertest.Find(b.t, "mosquitto_pub"), "-h", "127.0.0.1", "-p", port, "-t", "hello", "-m", "-", "-r")
	if out, err := hello.CombinedOutput(); err != nil {
		b.t.Fatalf("%v: %s", err, out)
	}
	s.wait("hello", func(message) bool { return true })
	return s
}

// wait waits for a message on a topic and returns the first that fits.
func (s *subscriber) wait(topic string, fits func(message) bool) (found message) {
	s.t.Helper()
	peertest.Eventually(s.t, 10*time.Second, "message on "+topic, func() bool {
		for _, m := range s.on(topic) {
			if fits(m) {
				found = m
				return true
			}
		}
		return false
	})
	return found
}

func (s *subscriber) on(topic string) (list []message) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, m := range s.seen {
		if m.topic == topic {
			list = append(list, m)
		}
	}
	return list
}
