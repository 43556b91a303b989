package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/point"
)

// witness remembers of a simulated machine what a look now and then would miss.
type witness struct{ heatS atomic.Uint64 }

// look is called after every step.
func (w *witness) look(s *registers.Server) {
	s.With(func(m *plant.Machine) {
		if t := m.Truth(); t.AirHeaterW+t.RadiantW > 0 {
			w.heatS.Store(math.Float64bits(t.TimeS))
		}
	})
}

// truth is what is really so in the machine, as one line of JSON. Times are
// simulated seconds since it was started.
func (w *witness) truth(s *registers.Server) []byte {
	var t plant.Truth
	s.With(func(m *plant.Machine) { t = m.Truth() })
	line, err := json.Marshal(struct {
		TimeS           float64 `json:"time_s"`
		HeatW           float64 `json:"heat_w"`
		LastHeatS       float64 `json:"last_heat_s"` // 0 = never
		ContactorClosed bool    `json:"contactor_closed"`
		DrumTurning     bool    `json:"drum_turning"`
		DrumRPM         float64 `json:"drum_rpm"`
		AirKgPerS       float64 `json:"air_kg_per_s"`
		BeansKg         float64 `json:"beans_kg"` // in the drum
		BeanC           float64 `json:"bean_c"`   // of the beans; means nothing without
		SkinC           float64 `json:"skin_c"`
	}{t.TimeS, t.AirHeaterW + t.RadiantW, math.Float64frombits(w.heatS.Load()), t.ContactorClosed, t.DrumTurning, t.DrumRPM, t.AirKgPerS, t.BeansKg, t.BeanC, t.SkinC})
	if err != nil {
		return []byte(err.Error())
	}
	return line
}

// readActions plays the operator at a simulated machine by lines of text.
func readActions(in io.Reader, out io.Writer, s *registers.Server, w *witness) {
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		words := strings.Fields(lines.Text())
		if len(words) == 0 {
			continue
		}
		if words[0] == "truth" && len(words) == 1 {
			fmt.Fprintf(out, "%s\n", w.truth(s))
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
	case verb == "touch" && len(args) == 2:
		return touch(s, args[0], args[1], false)
	case verb == "touch" && len(args) == 3 && args[1] == "by":
		return touch(s, args[0], args[2], true)
	case verb == "release" && len(args) == 1:
		i, err := inputOf(args[0])
		if err == nil {
			s.Release(i)
		}
		return err
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
	return fmt.Errorf("not understood: charge GRAMS MOISTURE, drop, empty, reset, touch POINT VALUE, touch POINT by CHANGE, release POINT, fault NAME, clear NAME, faults, truth")
}

// touch makes an input show a value in the unit of its role, or so much more than now.
func touch(s *registers.Server, name, text string, more bool) error {
	i, err := inputOf(name)
	if err != nil {
		return err
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return fmt.Errorf("%q is no number; write touch bean 0, or touch bean by 9 for 9 K more than now", text)
	}
	if more {
		var r plant.Readings
		s.With(func(m *plant.Machine) { r = m.Readings() })
		now, _ := registers.Shown(i, &r)
		v += now
	}
	s.Touch(i, v)
	return nil
}

func inputOf(name string) (point.Input, error) {
	i, ok := point.InputNamed(name)
	if !ok {
		return 0, fmt.Errorf("no input is called %q; drumwright check lists those of the machine", name)
	}
	return i, nil
}
