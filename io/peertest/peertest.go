// Package peertest finds and starts the programs of other makers that tests
// talk to: brokers, Prometheus, other Modbus masters. Only tests import it.
package peertest

import (
	"bytes"
	"context"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"
)

// Find is the path of a program. Without it the test skips and says so, or
// fails where DRUMWRIGHT_PEERS=required.
func Find(t testing.TB, name string) string {
	t.Helper()
	for _, p := range []string{name, "/usr/sbin/" + name} { // Debian keeps daemons where users' paths do not look
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

// FreeAddress is a loopback address that nobody listened on a moment ago.
func FreeAddress(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// Eventually asks every few milliseconds until ok, at most so long. It is for
// what another process brings about.
func Eventually(t testing.TB, atMost time.Duration, what string, ok func() bool) {
	t.Helper()
	if !Within(atMost, ok) {
		t.Fatalf("not within %v: %s", atMost, what)
	}
}

// Within asks every few milliseconds until ok, at most so long, and reports
// whether it came to be.
func Within(atMost time.Duration, ok func() bool) bool {
	ctx, cancel := context.WithTimeout(context.Background(), atMost)
	defer cancel()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for !ok() {
		select {
		case <-tick.C:
		case <-ctx.Done():
			return false
		}
	}
	return true
}

// Start runs a program until the test ends; what it says goes to out.
func Start(t testing.TB, out *Buffer, name string, args ...string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it may have ended by itself
		_ = cmd.Wait()
	})
	return cmd
}

// Buffer collects what a program says while the test looks.
type Buffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

// Write appends.
func (l *Buffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

// String is all that was written so far.
func (l *Buffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// Compiled is a C program made from a file with a library. Without compiler or
// library the test skips and says so, or fails where DRUMWRIGHT_PEERS=required.
func Compiled(t testing.TB, source, library string) string {
	t.Helper()
	program := filepath.Join(t.TempDir(), "program")
	if out, err := exec.Command("cc", "-O2", "-o", program, source, "-l"+library).CombinedOutput(); err != nil {
		if os.Getenv("DRUMWRIGHT_PEERS") == "required" {
			t.Fatalf("DRUMWRIGHT_PEERS=required: %v\n%s", err, out)
		}
		t.Skipf("%s cannot be compiled (cc, %s): %v", source, library, err)
	}
	return program
}
