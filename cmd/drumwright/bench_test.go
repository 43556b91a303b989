package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"drumwright/control/plant/registers"
	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/profiles"
)

// childEnv makes the test binary the program itself: the processes that are
// killed here are real ones.
const childEnv = "DRUMWRIGHT_CHILD"

// child is one running drumwright.
type child struct {
	cmd  *exec.Cmd
	log  peertest.Buffer
	done chan struct{} // closed when it has ended
}

func start(t *testing.T, stdin io.Reader, stdout io.Writer, env []string, args ...string) *child {
	t.Helper()
	c := &child{cmd: exec.Command(os.Args[0], args...), done: make(chan struct{})}
	c.cmd.Env = append(append(os.Environ(), childEnv+"=1"), env...)
	c.cmd.Stdin, c.cmd.Stdout, c.cmd.Stderr = stdin, stdout, &c.log
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() { _ = c.cmd.Wait(); close(c.done) }()
	t.Cleanup(func() {
		_ = c.cmd.Process.Kill()
		<-c.done
	})
	return c
}

func (c *child) end(t *testing.T, s os.Signal) {
	t.Helper()
	if err := c.cmd.Process.Signal(s); err != nil {
		t.Fatal(err)
	}
	select {
	case <-c.done:
	case <-time.After(patience):
		t.Fatalf("does not end on %v:\n%s", s, c.log.String())
	}
}

func (c *child) ended() bool {
	select {
	case <-c.done:
		return true
	default:
		return false
	}
}

// bench is a simulated machine in a process of its own, and what is needed to
// run controllers against it and to judge them by what is really so.
type bench struct {
	*testing.T
	dir, file  string
	journal    string
	socket     string
	heartbeatS float64
	web        *http.Client

	mu  sync.Mutex
	in  io.Writer
	out *bufio.Reader
}

type truth struct {
	TimeS           float64 `json:"time_s"`
	HeatW           float64 `json:"heat_w"`
	LastHeatS       float64 `json:"last_heat_s"`
	ContactorClosed bool    `json:"contactor_closed"`
	DrumTurning     bool    `json:"drum_turning"`
	DrumRPM         float64 `json:"drum_rpm"`
	AirKgPerS       float64 `json:"air_kg_per_s"`
	BeansKg         float64 `json:"beans_kg"`
}

// emptyBench is a folder with nothing in it, and the names of what will be.
func emptyBench(t *testing.T) *bench {
	t.Helper()
	dir, err := os.MkdirTemp("", "dw") // short: a socket's path has little room
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	b := &bench{T: t, dir: dir, file: filepath.Join(dir, "machine.yaml"), socket: filepath.Join(dir, "api"), journal: filepath.Join(dir, "drumwright.db")}
	b.web = &http.Client{Timeout: 5 * time.Second, Transport: &http.Transport{
		DisableKeepAlives: true, // every answer is of the process that lives now
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return new(net.Dialer).DialContext(ctx, "unix", b.socket)
		}}}
	return b
}

// newBench starts a warm machine that is scale times faster than life. The
// journal is a path, or a name in the folder of the bench.
func newBench(t *testing.T, scale int, journal string) *bench {
	t.Helper()
	b := emptyBench(t)
	b.journal = journal
	if !filepath.IsAbs(journal) {
		b.journal = filepath.Join(b.dir, journal)
	}
	_, port, _ := net.SplitHostPort(peertest.FreeAddress(t))
	_, nobody, _ := net.SplitHostPort(peertest.FreeAddress(t))
	b.copy("machines/heron-1000.yaml", b.file, "port: 15020", "port: "+port, "time_scale: 1 ", fmt.Sprintf("time_scale: %d ", scale), "soak: 60 s", "soak: 5 s",
		"listen: 127.0.0.1:8420", "listen: "+b.socket, "journal: drumwright.db", "journal: "+b.journal,
		"tcp://127.0.0.1:1883", "tcp://127.0.0.1:"+nobody) // the broker is gone all the time
	if err := os.Mkdir(filepath.Join(b.dir, "recipes"), 0o700); err != nil {
		t.Fatal(err)
	}
	b.copy("recipes/harbour-medium.yaml", filepath.Join(b.dir, "recipes", "harbour-medium.yaml"))
	m, err := profiles.LoadMachine(b.file)
	if err != nil {
		t.Fatal(err)
	}
	b.heartbeatS = registers.ParamsFor(m).HeartbeatS
	b.build("--time-scale", fmt.Sprint(scale), "--warm", "185")
	return b
}

// build starts the simulated machine of the file.
func (b *bench) build(args ...string) *child {
	b.Helper()
	in, stdin, err := os.Pipe()
	if err != nil {
		b.Fatal(err)
	}
	stdout, out, err := os.Pipe()
	if err != nil {
		b.Fatal(err)
	}
	c := start(b.T, in, out, nil, append([]string{"plant", b.file}, args...)...)
	in.Close()
	out.Close()
	b.Cleanup(func() { stdin.Close(); stdout.Close() })
	m, err := profiles.LoadMachine(b.file)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		for _, folder := range lockFolders() {
			os.Remove(filepath.Join(folder, lockName(&m.BusList[0].BusFile)))
		}
	})
	b.heartbeatS = registers.ParamsFor(m).HeartbeatS
	b.in, b.out = stdin, bufio.NewReader(stdout)
	if line, err := b.out.ReadString('\n'); err != nil || !strings.HasPrefix(line, "bus gateway:") {
		b.Fatalf("the machine says %q: %v", line, err)
	}
	return c
}

// copy writes a shipped example with some of its words exchanged.
func (b *bench) copy(example, path string, oldnew ...string) {
	b.Helper()
	data, ok := profiles.Example(example)
	if !ok {
		b.Fatalf("no example %s", example)
	}
	if err := os.WriteFile(path, []byte(strings.NewReplacer(oldnew...).Replace(string(data))), 0o600); err != nil {
		b.Fatal(err)
	}
}

// tell gives the machine a line and returns its answer.
func (b *bench) tell(line string) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	if _, err := fmt.Fprintln(b.in, line); err != nil {
		b.Error(err)
		return ""
	}
	answer, err := b.out.ReadString('\n')
	if err != nil {
		b.Error(err)
	}
	return answer
}

func (b *bench) truth() (t truth) {
	if err := json.Unmarshal([]byte(b.tell("truth")), &t); err != nil {
		b.Error(err)
	}
	return t
}

// past waits until the machine's own time is beyond s.
func (b *bench) past(s float64) (t truth) {
	b.Helper()
	if peertest.Within(2*patience, func() bool { t = b.truth(); return t.TimeS > s || b.Failed() }) && t.TimeS > s {
		return t
	}
	b.Errorf("the machine is at %.2f s, not past %.2f s", t.TimeS, s)
	return t
}

func (b *bench) serve(env ...string) *child {
	b.Helper()
	return start(b.T, nil, io.Discard, env, "serve", b.file, "--bench", "Ada: simulated")
}

// do gives a command at the machine. It fails when nobody answers.
func (b *bench) do(c record.Command) (a record.Answer, err error) {
	body, _ := json.Marshal(c)
	res, err := b.web.Post("http://localhost/api/v1/commands", "application/json", bytes.NewReader(body))
	if err != nil {
		return a, err
	}
	defer res.Body.Close()
	return a, json.NewDecoder(res.Body).Decode(&a)
}

// insist gives a command until it is taken: a loaded computer that was held up refuses
// for some scans what it has not read yet.
func (b *bench) insist(k record.Kind) {
	b.Helper()
	peertest.Eventually(b, patience, string(k), func() bool {
		a, err := b.do(record.Command{Kind: k, Who: "Ada"})
		return err == nil && a.Accepted
	})
}

func (b *bench) must(k record.Kind) {
	b.Helper()
	c := record.Command{Kind: k, Who: "Ada"}
	if k == record.LoadRecipe {
		c.Recipe = "harbour-medium"
	}
	if a, err := b.do(c); err != nil || !a.Accepted {
		b.Fatalf("%s: %+v, %v", k, a, err)
	}
}

type seenState struct {
	State  string `json:"state"`
	Next   string `json:"next"`
	Safety struct {
		HeatPermitted bool   `json:"heat_permitted"`
		FirstCause    string `json:"first_cause"`
	} `json:"safety"`
}

func (b *bench) state() (s seenState, err error) {
	res, err := b.web.Get("http://localhost/api/v1/state")
	if err != nil {
		return s, err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return s, fmt.Errorf("%s", res.Status)
	}
	return s, json.NewDecoder(res.Body).Decode(&s)
}

// awaits waits until the controller answers and is as wanted.
func (b *bench) awaits(c *child, what string, ok func(seenState) bool) {
	b.Helper()
	var last seenState
	good := false
	peertest.Within(patience, func() bool {
		if s, err := b.state(); err == nil {
			last, good = s, ok(s)
		}
		return good || c.ended()
	})
	if good {
		return
	}
	b.Fatalf("never %s; last %+v\n%s", what, last, c.log.String())
}
