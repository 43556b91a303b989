package main

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"drumwright/io/peertest"
)

// What the terminal shows is the machine's present state in words, and a command
// given there does what it says or tells why not.
func TestWatchAndDo(t *testing.T) {
	s := openShop(t)
	run := func(args ...string) (int, string) {
		code, out, errs := drumwright(t, append(args, "--address", s.address)...)
		return code, out + errs
	}
	if code, text := run("do", "charged"); code != codeFailed || !strings.Contains(text, "The drum is cold. Start warming first.") {
		t.Errorf("%d %s", code, text)
	}
	if code, text := run("do", "load-recipe", "--recipe", "harbour-medium"); code != codeOK {
		t.Fatalf("%d %s", code, text)
	}
	if code, text := run("do", "warm", "--who", "Ada"); code != codeOK {
		t.Fatalf("%d %s", code, text)
	}
	var code int
	var text string
	peertest.Eventually(t, patience, "the scan after the command to be shown", func() bool {
		code, text = run("watch", "--once")
		return code != codeOK || !strings.Contains(text, "State: cold")
	})
	if code != codeOK {
		t.Fatalf("%d %s", code, text)
	}
	for _, want := range []string{"WARMING UP", "No alarms.", "Next for you:", "drumwright do stop", "Inlet air"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	for _, line := range strings.Split(text, "\n") {
		if n := len([]rune(line)); n > 80 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
}

// What is misspelt, or needs more than do can say, is refused before a daemon is
// looked for.
func TestDoRefusesWithoutADaemon(t *testing.T) {
	for name, want := range map[string]string{"dance": "allowed are load-recipe", "turn-drum": "drumwright trial", "experiment": "drumwright tune"} {
		if text := printed(t, codeInput, "do", name, "--address", "127.0.0.1:1"); !strings.Contains(text, want) {
			t.Errorf("do %s: %s", name, text)
		}
	}
	for _, kind := range []string{"experiment", "turn-drum"} {
		if slices.Contains(doKinds(), kind) {
			t.Errorf("do offers %s, which it cannot say whole", kind)
		}
	}
}

func TestJournalNotFoundSaysWhatToDo(t *testing.T) {
	missing := filepath.Join(t.TempDir(), "none.db")
	if text := printed(t, codeFailed, "batches", "--journal", missing); !strings.Contains(text, "name it with --journal, or start the daemon once") {
		t.Error(text)
	}
	printed(t, codeInput, "report", "x", "--journal", missing)
}
