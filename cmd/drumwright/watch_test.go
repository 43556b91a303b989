package main

import (
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
	if code, text := run("do", "dance"); code == codeOK || !strings.Contains(text, "dance") {
		t.Errorf("%d %s", code, text)
	}
}
