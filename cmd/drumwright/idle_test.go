package main

import (
	"bytes"
	"context"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drumwright/profiles"
)

// Only a cold machine, or one that no daemon runs, may lose its daemon.
func TestIdle(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	text, _ := profiles.Example("machines/heron-1000.yaml")
	file := filepath.Join(t.TempDir(), "machine.yaml")
	if err := os.WriteFile(file, bytes.ReplaceAll(text, []byte("listen: 127.0.0.1:8420"), []byte("listen: "+l.Addr().String())), 0o600); err != nil {
		t.Fatal(err)
	}
	answer := make(chan string, 1)
	srv := &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.Write([]byte(<-answer)) })}
	go srv.Serve(l)
	idle := func() (int, string) {
		var out bytes.Buffer
		return run(context.Background(), []string{"idle", file}, nil, &out, &out), out.String()
	}
	for said, want := range map[string]int{`{"state":"cold"}`: codeOK, `{"state":"roasting"}`: codeFailed, `{"state":"run-down"}`: codeFailed,
		`{"state":"tripped"}`: codeFailed, `{}`: codeFailed, `not JSON`: codeFailed} {
		answer <- said
		if code, text := idle(); code != want {
			t.Errorf("%s: exit %d, want %d: %s", said, code, want, text)
		}
	}
	srv.Close()
	if code, text := idle(); code != codeOK || !strings.Contains(text, "no daemon runs") {
		t.Errorf("without a daemon: exit %d: %s", code, text)
	}
}
