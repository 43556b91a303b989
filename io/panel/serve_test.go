package panel

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// serve runs a panel on a loopback port and a socket until the test ends or end
// is called.
func serve(t *testing.T) (s *Server, o *operator, address, socket string, end func()) {
	t.Helper()
	s, o = fresh()
	tcp, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	socket = filepath.Join(t.TempDir(), "panel.sock")
	unix, err := Listen("unix:" + socket)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, tcp, unix) }()
	ended := false
	end = func() {
		if ended {
			return
		}
		ended = true
		cancel()
		if err := <-done; err != nil {
			t.Errorf("Serve: %v", err)
		}
	}
	t.Cleanup(end)
	address = tcp.Addr().String()
	eventually(t, "the panel is open", func() bool { s.stream.mu.Lock(); defer s.stream.mu.Unlock(); return s.stream.open })
	return s, o, address, socket, end
}

func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	tick, over := time.NewTicker(5*time.Millisecond), time.After(10*time.Second)
	defer tick.Stop()
	for !ok() {
		select {
		case <-tick.C:
		case <-over:
			t.Fatalf("not within 10 s: %s", what)
		}
	}
}

func TestLocal(t *testing.T) {
	_, o, address, socket, end := serve(t)
	unixClient := &http.Client{Transport: &http.Transport{DisableKeepAlives: true, DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "unix", socket)
	}}}
	tcpClient := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	for _, c := range []struct {
		name, url, header string
		client            *http.Client
		want              bool
	}{
		{"socket", "http://localhost", "", unixClient, true},
		{"loopback", "http://" + address, "", tcpClient, true},
		{"relayed to the socket", "http://localhost", "X-Forwarded-For", unixClient, false},
		{"relayed to loopback", "http://" + address, "Forwarded", tcpClient, false},
		{"by a proxy", "http://" + address, "Via", tcpClient, false},
	} {
		r, _ := http.NewRequest("POST", c.url+"/api/v1/commands", strings.NewReader(`{"kind":"reset","who":"`+c.name+`"}`))
		r.Header.Set("Content-Type", "application/json")
		if c.header != "" {
			r.Header.Set(c.header, "for=192.0.2.1")
		}
		resp, err := c.client.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		got := o.got[len(o.got)-1]
		if reached := got.Who == c.name; reached != c.want || (resp.StatusCode == 200) != c.want || !got.Local {
			t.Errorf("%s: %d, %+v; want local %v", c.name, resp.StatusCode, got, c.want)
		}
	}
	end()
	if _, err := os.Stat(socket); err == nil {
		t.Error("the socket was left behind")
	}
}

// A connection whose ends are not known to be on this computer is not local.
func TestLocalNeedsBothEnds(t *testing.T) {
	for _, c := range []struct {
		local, remote net.Addr
		want          bool
	}{
		{&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1)}, &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1)}, true},
		{&net.TCPAddr{IP: net.IPv6loopback}, &net.TCPAddr{IP: net.IPv6loopback}, true},
		{&net.UnixAddr{Name: "x"}, &net.UnixAddr{}, true},
		{&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1)}, &net.TCPAddr{IP: net.IPv4(192, 0, 2, 1)}, false},
		{&net.TCPAddr{IP: net.IPv4(192, 0, 2, 1)}, &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1)}, false},
	} {
		r := request("POST", "/", "")
		r = r.WithContext(markPeer(context.Background(), conn{c.local, c.remote}))
		if got := New(Config{}).visit(r).local; got != c.want {
			t.Errorf("%v to %v: local %v", c.remote, c.local, got)
		}
	}
	if New(Config{}).visit(httptest.NewRequest("POST", "/", nil)).local {
		t.Error("a request of which nothing is known is local")
	}
}

type conn struct{ local, remote net.Addr }

func (c conn) LocalAddr() net.Addr              { return c.local }
func (c conn) RemoteAddr() net.Addr             { return c.remote }
func (conn) Read([]byte) (int, error)           { return 0, io.EOF }
func (conn) Write(b []byte) (int, error)        { return len(b), nil }
func (conn) Close() error                       { return nil }
func (conn) SetDeadline(time.Time) error        { return nil }
func (conn) SetReadDeadline(time.Time) error    { return nil }
func (conn) SetWriteDeadline(t time.Time) error { return nil }

func TestListenRefuses(t *testing.T) {
	dir := t.TempDir()
	plain := filepath.Join(dir, "file")
	if err := os.WriteFile(plain, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	taken := filepath.Join(dir, "taken")
	l, err := Listen("unix:" + taken)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	for address, want := range map[string]string{
		":8420": "not a loopback", "0.0.0.0:0": "not a loopback", "[::]:0": "not a loopback", "192.0.2.1:0": "not a loopback",
		"example.org:80": "not a loopback", "8420": "write 127.0.0.1", "unix:" + plain: "something else", "unix:" + taken: "another process",
		"unix:" + filepath.Join(dir, "none", "s"): "no such file",
	} {
		l, err := Listen(address)
		if err == nil {
			l.Close()
		}
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", address, err, want)
		}
	}
	if fi, err := os.Stat(taken); err != nil || fi.Mode().Perm() != 0o660 {
		t.Errorf("socket %v, %v", fi, err)
	}
	// What a killed process leaves behind is in nobody's way.
	left, err := net.ListenUnix("unix", &net.UnixAddr{Name: filepath.Join(dir, "left")})
	if err != nil {
		t.Fatal(err)
	}
	left.SetUnlinkOnClose(false)
	left.Close()
	l2, err := Listen("unix:" + filepath.Join(dir, "left"))
	if err != nil {
		t.Fatal(err)
	}
	l2.Close()
}

// events opens a stream and gives each frame's name and data.
func events(t *testing.T, address string) (next func() (name, data string), closeIt func()) {
	t.Helper()
	resp, err := (&http.Client{Transport: &http.Transport{}}).Get("http://" + address + "/api/v1/events")
	if err != nil {
		t.Fatal(err)
	}
	if resp.StatusCode != 200 || resp.Header.Get("Content-Type") != "text/event-stream" {
		t.Fatalf("%s, %s", resp.Status, resp.Header.Get("Content-Type"))
	}
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, 1<<20)
	next = func() (name, data string) {
		for lines.Scan() {
			switch l := lines.Text(); {
			case strings.HasPrefix(l, "event: "):
				name = l[7:]
			case strings.HasPrefix(l, "data: "):
				data = l[6:]
			case l == "" && name != "":
				return name, data
			}
		}
		return "", ""
	}
	return next, func() { resp.Body.Close() }
}

func TestStream(t *testing.T) {
	s, _, address, _, end := serve(t)
	next, closeIt := events(t, address)
	defer closeIt()
	expect := func(name, part string) {
		t.Helper()
		for {
			n, d := next()
			if n == "" {
				t.Fatalf("the stream ended before %s with %q", name, part)
			}
			if !json.Valid([]byte(d)) {
				t.Fatalf("%s has the data %s", n, d)
			}
			if n == name && strings.Contains(d, part) {
				return
			}
		}
	}
	expect("state", `"state":"roasting"`)
	expect("measurement", `"bean":{"value":171.4`)
	sc := recordtest.At(1)
	sc.State = "discharging"
	sc.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneDrop})
	s.Put(&sc)
	expect("state", `"state":"discharging"`)
	expect("event", `"kind":"milestone","name":"drop"`)
	expect("measurement", `"scan":12041,`)
	expect("now", `"scan":12041,`)
	end()
	if n, _ := next(); n != "" {
		t.Errorf("%s after the end", n)
	}
}

// A client that reads nothing is let go while the others go on, and Put never
// notices.
func TestSlowClientIsLetGo(t *testing.T) {
	s, _, address, _, _ := serve(t)
	_, closeSlow := events(t, address) // never reads on
	defer closeSlow()
	next, closeIt := events(t, address)
	defer closeIt()
	quick := make(chan int)
	go func() {
		n := 0
		for {
			name, _ := next()
			if name == "" {
				quick <- n
				return
			}
			n++
		}
	}()
	clients := func() (n int, slow uint64) {
		s.stream.mu.Lock()
		defer s.stream.mu.Unlock()
		return len(s.stream.clients), s.stream.slow
	}
	text := strings.Repeat("long ", 4000) // to fill the socket's buffers soon
	n := 0
	eventually(t, "the slow client is let go", func() bool {
		n++
		sc := recordtest.At(n)
		sc.Add(record.Event{Kind: record.Note, Text: text})
		s.Put(&sc)
		_, slow := clients()
		return slow > 0
	})
	if left, slow := clients(); left != 1 || slow != 1 {
		t.Errorf("%d clients left, %d let go; want 1 and 1", left, slow)
	}
	closeIt()
	if got := <-quick; got == 0 {
		t.Error("the quick client got nothing")
	}
}

// Screens elsewhere cannot take the places of those at the machine, nor these
// everything there is.
func TestTooManyStreams(t *testing.T) {
	view, err := ListenView("127.0.0.1:0", "", "")
	if err != nil {
		t.Fatal(err)
	}
	tcp, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s, _ := fresh()
	serveOn(t, s, view, tcp)
	eventually(t, "the panel is open", func() bool { s.stream.mu.Lock(); defer s.stream.mu.Unlock(); return s.stream.open })
	for _, address := range []string{view.Addr().String(), tcp.Addr().String()} {
		for range mostClients {
			_, closeIt := events(t, address)
			defer closeIt()
		}
		resp, err := http.Get("http://" + address + "/api/v1/events")
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != 503 || resp.Header.Get("Retry-After") == "" {
			t.Errorf("stream %d: %s", mostClients+1, resp.Status)
		}
	}
}

func TestServeLeavesNoGoroutine(t *testing.T) {
	http.DefaultTransport.(*http.Transport).CloseIdleConnections()
	before := runtime.NumGoroutine()
	_, _, address, _, end := serve(t)
	var closers []func()
	for range 3 {
		_, closeIt := events(t, address)
		closers = append(closers, closeIt)
	}
	resp, err := (&http.Client{Transport: &http.Transport{DisableKeepAlives: true}}).Get("http://" + address + "/api/v1/state")
	if err != nil {
		t.Fatal(err)
	}
	io.Copy(io.Discard, resp.Body)
	resp.Body.Close()
	end()
	for _, c := range closers {
		c()
	}
	eventually(t, "as many goroutines as before", func() bool { return runtime.NumGoroutine() <= before })
}

func BenchmarkPut(b *testing.B) {
	s := New(Config{})
	sc := recordtest.At(0)
	b.ReportAllocs()
	for b.Loop() {
		sc.N++
		s.Put(&sc)
	}
}

// What a second costs with 50 watchers: one picture, two frames, handed to all.
func BenchmarkFiftyWatchers(b *testing.B) {
	s := New(Config{})
	sc := recordtest.At(0)
	s.Put(&sc)
	s.stream.open = true
	for range mostClients {
		go func(c chan []byte) {
			for range c {
			}
		}(s.stream.join(true))
	}
	b.ReportAllocs()
	for b.Loop() {
		s.stream.mu.Lock()
		p := pictureOf(&sc)
		s.stream.sendFrame(p.measurement())
		s.stream.sendFrame(p.now())
		s.stream.mu.Unlock()
	}
	s.stream.mu.Lock()
	defer s.stream.mu.Unlock()
	for c := range s.stream.clients {
		s.stream.drop(c)
	}
}
