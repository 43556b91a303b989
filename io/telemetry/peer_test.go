package telemetry

import (
	"context"
	"net"
	"os"
	"os/exec"
	"testing"
	"time"
)

// peer finds a program of another maker that a test talks to. Without it the
// test is skipped, or fails if DRUMWRIGHT_PEERS=required.
func peer(t *testing.T, name string) string {
	t.Helper()
	for _, p := range []string{name, "/usr/sbin/" + name} {
		if path, err := exec.LookPath(p); err == nil {
			return path
		}
	}
	if os.Getenv("DRUMWRIGHT_PEERS") == "required" {
		t.Fatalf("%s is not installed and DRUMWRIGHT_PEERS=required", name)
	}
	t.Skipf("%s is not installed", name)
	return ""
}

// freeAddress is a loopback address that nobody listened on a moment ago.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// eventually asks every few milliseconds until ok, at most so long.
func eventually(t *testing.T, atMost time.Duration, what string, ok func() bool) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), atMost)
	defer cancel()
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for !ok() {
		select {
		case <-tick.C:
		case <-ctx.Done():
			t.Fatalf("not within %v: %s", atMost, what)
		}
	}
}
