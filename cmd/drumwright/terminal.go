package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"golang.org/x/sys/unix"
)

// isTerminal tells whether what is written is seen by a person as it comes, not kept
// in a file or read by a program.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	_, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	return err == nil
}

// terminal is a person who reads and answers line by line.
type terminal struct {
	lines chan string
	out   io.Writer
}

func newTerminal(in io.Reader, out io.Writer) terminal {
	p := terminal{lines: make(chan string), out: out}
	go func() { // ends with the input, or with the process
		defer close(p.lines)
		s := bufio.NewScanner(in)
		for s.Scan() {
			p.lines <- strings.TrimSpace(s.Text())
		}
	}()
	return p
}

var (
	errSkipped = errors.New("skipped")
	errEnough  = errors.New("ended by the person")
	errNoInput = errors.New("the input has ended in the middle: nothing more is kept")
)

func (p *terminal) say(format string, args ...any) { fmt.Fprintf(p.out, format+"\n", args...) }

// ask prompts and waits for one of the answers; with none given any line will
// do. q always ends the run.
func (p *terminal) ask(ctx context.Context, prompt string, answers ...string) (string, error) {
	for {
		fmt.Fprintf(p.out, "%s ", prompt)
		select {
		case <-ctx.Done():
			return "", ctx.Err()
		case a, ok := <-p.lines:
			switch {
			case !ok:
				return "", errNoInput
			case a == "q":
				return "", errEnough
			case len(answers) == 0 || slices.Contains(answers, a):
				return a, nil
			}
			p.say("Please answer with one of: %s, or q to end.", strings.Join(answers, ", "))
		}
	}
}
