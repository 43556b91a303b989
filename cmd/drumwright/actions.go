package main

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/point"
)

// readActions plays the operator at a simulated machine by lines of text.
func readActions(in io.Reader, out io.Writer, s *registers.Server) {
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		words := strings.Fields(lines.Text())
		if len(words) == 0 {
			continue
		}
		if err := actOn(s, out, words); err != nil {
			fmt.Fprintf(out, "%s: %v\n", words[0], err)
			continue
		}
		fmt.Fprintf(out, "%s: done\n", words[0])
	}
}

func actOn(s *registers.Server, out io.Writer, words []string) (err error) {
	with := func(f func(*plant.Machine) error) error {
		s.With(func(m *plant.Machine) { err = f(m) })
		return err
	}
	switch verb, args := words[0], words[1:]; {
	case verb == "charge" && len(args) == 2:
		grams, err1 := strconv.ParseFloat(args[0], 64)
		moisture, err2 := strconv.ParseFloat(args[1], 64)
		if err1 != nil || err2 != nil {
			return fmt.Errorf("give grams and moisture in per cent, such as: charge 1000 11")
		}
		return with(func(m *plant.Machine) error { return m.Charge(grams/1000, moisture/100) })
	case verb == "drop" && len(args) == 0:
		return with(func(m *plant.Machine) error { m.Drop(); return nil })
	case verb == "empty" && len(args) == 0:
		return with(func(m *plant.Machine) error {
			fmt.Fprintf(out, "%.0f g\n", 1000*m.EmptyTray())
			return nil
		})
	case verb == "reset" && len(args) == 0:
		s.PressReset(true)
		time.AfterFunc(time.Second, func() { s.PressReset(false) })
		return nil
	case verb == "fault" && len(args) == 1:
		if args[0] == "unit_silent" {
			if err := s.Silence(point.Bean, true); err != nil {
				return err
			}
		}
		return with(func(m *plant.Machine) error { return m.Inject(args[0]) })
	case verb == "clear" && len(args) == 1:
		if args[0] == "unit_silent" {
			if err := s.Silence(point.Bean, false); err != nil {
				return err
			}
		}
		return with(func(m *plant.Machine) error { return m.Clear(args[0]) })
	case verb == "faults" && len(args) == 0:
		for _, f := range plant.Faults() {
			fmt.Fprintf(out, "%-22s %s\n", f.Name, f.What)
		}
		return nil
	}
	return fmt.Errorf("not understood: charge GRAMS MOISTURE, drop, empty, reset, fault NAME, clear NAME, faults")
}
