package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/sys/unix"
)

// longestLine bounds a line that is typed.
const longestLine = 1024

// readSecret asks the person at the terminal and does not show what they type.
func readSecret(prompt string) (string, error) { return fromTerminal(prompt, false) }

// fromTerminal asks the person at the terminal of this process, whatever standard
// input is.
func fromTerminal(prompt string, shown bool) (answer string, err error) {
	tty, err := os.OpenFile("/dev/tty", os.O_RDWR, 0)
	if err != nil {
		return "", errors.New("there is no terminal to ask at: give the password by --password-file where the command has it, or use the local socket")
	}
	defer tty.Close()
	fd := int(tty.Fd())
	if !shown {
		before, err := unix.IoctlGetTermios(fd, unix.TCGETS)
		if err != nil {
			return "", err
		}
		quiet := *before
		quiet.Lflag &^= unix.ECHO
		if err := unix.IoctlSetTermios(fd, unix.TCSETS, &quiet); err != nil {
			return "", err
		}
		defer func() {
			err = errors.Join(err, unix.IoctlSetTermios(fd, unix.TCSETS, before))
			fmt.Fprintln(tty)
		}()
	}
	fmt.Fprint(tty, prompt)
	return firstLine(tty)
}

// firstLine reads one line, without its end.
func firstLine(r io.Reader) (string, error) {
	s, err := bufio.NewReader(io.LimitReader(r, longestLine)).ReadString('\n')
	if err != nil && (err != io.EOF || s == "") {
		return "", fmt.Errorf("nothing was given: %w", err)
	}
	return strings.TrimRight(s, "\r\n"), nil
}
