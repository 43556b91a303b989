package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/goburrow/modbus"

	"drumwright/control/calibrate"
	"drumwright/control/plant/registers"
	"drumwright/io/journal"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
)

// A machine is commissioned by the commands that a shop uses, from an empty folder to
// the first roast that is permitted: each probe of it reads wrong, so does the file's
// figure for drum and air. The person measures with ice, boiling water, a reference
// thermometer, tachometer and anemometer, all of which are exact here.
func TestCommissioningFromAnEmptyFolder(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	begun := time.Now()
	b := emptyBench(t)
	say := func(what string) { t.Logf("%5.1f s  %s", time.Since(begun).Seconds(), what) }
	command := func(stdin string, args ...string) string {
		t.Helper()
		var out bytes.Buffer
		if code := run(context.Background(), args, strings.NewReader(stdin), &out, &out); code != codeOK {
			t.Fatalf("%v: exit %d: %s", args, code, &out)
		}
		return out.String()
	}

	// The machine file, from a few answers; the folder of the shop.
	host, port, _ := net.SplitHostPort(peertest.FreeAddress(t))
	command("network\nmill-lane\nkestrel\n"+host+":"+port+"\n", "setup", "--out", b.file, "--journal", b.journal)
	b.change("listen: 127.0.0.1:8420", "listen: "+b.socket, "time_scale: 1 ", "time_scale: 10 ")
	if err := os.Mkdir(filepath.Join(b.dir, "recipes"), 0o700); err != nil {
		t.Fatal(err)
	}
	b.copy("recipes/harbour-medium.yaml", filepath.Join(b.dir, "recipes", "harbour-medium.yaml"))
	machine := b.build("--time-scale", "10")
	m := mustMachine(t, b.file) // as the machine is built
	// What the builder has taken from plates and catalogues, wrong.
	b.change("skin_speed_per_hz: 6.5876 ", "skin_speed_per_hz: 6.4 ", "blower: 60 Hz, flow: 48.8 kg/h", "blower: 60 Hz, flow: 55 kg/h")
	say("machine file written")

	// Nothing is known yet: beans are kept out.
	serve := b.serveStrictly()
	if bar := b.barred(); !strings.Contains(bar, "wiring (guessed), bean (guessed)") {
		t.Errorf("a machine that nobody has commissioned: %q", bar)
	}
	serve.end(t, os.Interrupt)

	if out := command("", "find", b.file); strings.Count(out, "answers;") != 4 {
		t.Errorf("four units are there: %s", out)
	}
	say("searched the bus")
	// A computer that others keep busy can spoil a walk: she puts right what is named,
	// here nothing, and walks again.
	for walks := 1; ; walks++ {
		code, text := b.walk(m.Drum.PulsesPerRev, registers.ParamsFor(m).AmbientC)
		if code == codeOK {
			break
		}
		if t.Logf("walk %d: exit %d: %s", walks, code, text); walks == 3 {
			t.Fatal("three walks in vain")
		}
	}
	say("walked the wiring")

	// Probes in ice, in boiling water, beside a reference: 1 % and some K off.
	const altitudeM = 250.0
	hPa, err := calibrate.PressureHPa(altitudeM)
	if err != nil {
		t.Fatal(err)
	}
	boils, err := calibrate.BoilingC(hPa)
	if err != nil {
		t.Fatal(err)
	}
	probes := []string{"bean", "inlet_air", "drum_skin", "exhaust"}
	wrong := func(k int, trueC float64) float64 { return 1.01*trueC + float64(k) - 1.5 }
	for k, item := range probes {
		b.bathe(item, func(trueC float64) float64 { return wrong(k, trueC) }, boils, altitudeM)
	}
	say("calibrated the probes")

	// Drum and blower, turned from the drives' own panels.
	drum, flow := []string{"calibrate", b.file, "drum", "--who", "Ada", "--accept"}, []string{"calibrate", b.file, "flow", "--who", "Ada", "--accept"}
	for _, hz := range [...]float64{30, 60} {
		v := b.steady(m.Out[point.DrumRun], m.Out[point.DrumSpeed], hz, func(t truth) float64 { return t.DrumRPM / 60 * 2 * math.Pi * 1000 * float64(m.Drum.RadiusM) })
		drum = append(drum, "--at", fmt.Sprintf("%g=%.2f±%.2f", hz, v, 0.003*v))
	}
	for _, hz := range [...]float64{15, 35, 60} {
		v := b.steady(m.Out[point.BlowerRun], m.Out[point.BlowerSpeed], hz, func(t truth) float64 { return 3600 * t.AirKgPerS })
		flow = append(flow, "--at", fmt.Sprintf("%g=%.2f±%.2f", hz, v, 0.02*v))
	}
	b.write(m.Out[point.DrumRun], 0)
	b.write(m.Out[point.BlowerRun], 0)
	command("", drum...)
	command("", flow...)
	command("", "calibrate", b.file, "air_heater", "--who", "Ada", "--volts", "230±1", "--amps", fmt.Sprintf("%.2f±0.1", float64(m.Heaters.Air.PowerW)/230), "--accept")
	command("", "calibrate", b.file, "radiant", "--who", "Ada", "--volts", "230±1", "--amps", fmt.Sprintf("%.2f±0.05", float64(m.Heaters.Radiant.PowerW)/230), "--accept")
	say("measured drum, air and heaters")

	now := mustMachine(t, b.file)
	if got, want := now.SkinMMPerSPerHz(), m.SkinMMPerSPerHz(); math.Abs(got/want-1) > 0.003 {
		t.Errorf("the file has %.4f mm/s/Hz, the drum makes %.4f", got, want)
	}
	if text := command("", "check", b.file); strings.Contains(text, "no beans are heated") || !strings.Contains(text, "measured: wiring") {
		t.Errorf("after it all: %s", text[strings.Index(text, "Commissioning"):])
	}

	// Later the machine is warm: its warming is no part of this. Beans may go in, and the file as it is now puts the probe right.
	machine.end(t, os.Kill)
	b.change("time_scale: 10 ", "time_scale: 4 ") // a busy computer trips the faster one
	b.build("--time-scale", "4", "--warm", "185")
	serve = b.serveStrictly()
	if bar := b.barred(); bar != "" {
		t.Errorf("commissioned, yet: %s", bar)
	}
	if l := lineOf(now, point.Bean); math.Abs(l.Scale*(wrong(0, boils)-lineOf(m, point.Bean).OffsetC)/lineOf(m, point.Bean).Scale+l.OffsetC-boils) > 0.3 {
		t.Errorf("in boiling water, %.2f °C, the bean probe would read by %+v", boils, l)
	}
	b.awaits(serve, "seen to be hot", func(s seenState) bool { return s.Safety.FirstCause == "restart_hot" })
	b.must(record.ResetTrip) // the daemon has not seen it become hot
	b.must(record.LoadRecipe)
	b.must(record.StartWarming)
	say("warming")
	b.awaits(serve, "ready", func(s seenState) bool { return s.State == "ready" })
	say("ready")
	b.tell("charge 1000 11")
	b.awaits(serve, "roasting", func(s seenState) bool { return s.State == "roasting" })
	say("first roast")
	b.records(append(probes, itemDrum, itemFlow, itemAir, itemRadiant))
}

// change exchanges words in the machine file, each of which must stand there.
func (b *bench) change(oldnew ...string) {
	b.Helper()
	text, err := os.ReadFile(b.file)
	if err != nil {
		b.Fatal(err)
	}
	for i := 0; i < len(oldnew); i += 2 {
		if !strings.Contains(string(text), oldnew[i]) {
			b.Fatalf("the machine file has no %q", oldnew[i])
		}
	}
	if err := os.WriteFile(b.file, []byte(strings.NewReplacer(oldnew...).Replace(string(text))), 0o600); err != nil {
		b.Fatal(err)
	}
}

// serveStrictly is the daemon as in a shop, which lets no beans in before
// commissioning.
func (b *bench) serveStrictly() *child {
	b.Helper()
	c := start(b.T, nil, io.Discard, nil, "serve", b.file)
	b.awaits(c, "serving", func(s seenState) bool { return s.State != "" })
	return c
}

// barred is why no beans may go in, "" if they may.
func (b *bench) barred() string {
	b.Helper()
	s, err := b.state()
	if err != nil {
		b.Fatal(err)
	}
	_, why, _ := strings.Cut(s.Next, "Do not charge: ")
	return why
}

// bathe has a person put a probe into ice, boiling water and beside a reference of
// 180 °C, in which it shows what shown says, and calibrates it.
func (b *bench) bathe(item string, shown func(trueC float64) float64, boilsC, altitudeM float64) {
	b.Helper()
	code, text := b.converse(func(asked string) string {
		for words, c := range map[string]float64{"melting ice": 0, "boiling water": boilsC, "180±0.5": 180} {
			if strings.Contains(asked, "Put the "+item+" probe") && strings.Contains(asked, words) {
				b.tell(fmt.Sprintf("touch %s %g", item, shown(c)))
				return ""
			}
		}
		b.Errorf("the person does not understand: %s", asked)
		return ""
	}, "calibrate", b.file, item, "--who", "Ada", "--read", "ice", "--read", "boil", "--altitude", figure6(altitudeM), "--read", "180±0.5", "--accept")
	if code != codeOK {
		b.Fatalf("%s: exit %d:\n%s", item, code, text)
	}
	b.tell("release " + item)
}

// write puts a value into an output's registers, as from the panel of a drive.
func (b *bench) write(a point.Access, v float64) {
	b.Helper()
	m := mustMachine(b.T, b.file)
	h := modbus.NewTCPClientHandler(fmt.Sprintf("%s:%d", m.BusList[a.Bus].TCP.Host, m.BusList[a.Bus].TCP.Port))
	h.SlaveId = a.Unit
	defer h.Close()
	var words [2]uint16
	n, err := a.Encode(v, &words)
	if err != nil {
		b.Fatal(err)
	}
	c := modbus.NewClient(h)
	if a.Table == point.Coil {
		_, err = c.WriteSingleCoil(a.Address, 0xFF00*words[0])
	} else {
		var bytes []byte
		for _, w := range words[:n] {
			bytes = binary.BigEndian.AppendUint16(bytes, w)
		}
		_, err = c.WriteMultipleRegisters(a.Address, uint16(n), bytes)
	}
	if err != nil {
		b.Fatal(err)
	}
}

// steady runs a drive at a frequency and returns what is measured once it stands
// still.
func (b *bench) steady(run, speed point.Access, hz float64, see func(truth) float64) float64 {
	b.Helper()
	b.write(run, 1)
	b.write(speed, hz)
	last := see(b.truth())
	from := b.truth().TimeS
	peertest.Eventually(b.T, patience, fmt.Sprintf("%g Hz stand still", hz), func() bool {
		t := b.truth()
		if v := see(t); math.Abs(v-last) > 1e-3*math.Abs(v) || v == 0 {
			last, from = v, t.TimeS
		}
		return t.TimeS > from+5
	})
	return last
}

var (
	warmThis = regexp.MustCompile(`Warm the (\w+) probe`)
	pressed  = map[string]string{
		"Open the cover or guard.": "cover_closed 0", "Press the emergency stop.": "emergency_stop_healthy 0", "until it trips.": "high_limit_healthy 0", "Open the charge gate.": "charge_gate_open 1",
		"Open the discharge door.": "discharge_door_open 1", "hold the reset button.": "reset_button 1", "hold the fire button.": "fire_button 1", "test button of the room's alarm.": "carbon_monoxide_alarm 1",
	}
)

// walk has a person walk along the wires who does at the machine what she reads.
func (b *bench) walk(pulses int, roomC float64) (code int, text string) {
	b.Helper()
	touched := ""
	touch := func(point, value string) string {
		touched = point
		b.tell("touch " + point + " " + value)
		return ""
	}
	code, text = b.converse(func(asked string) string {
		if touched == "drum_pulses" { // the counter goes on with the shaft
			b.tell("release drum_pulses")
		}
		switch hit := warmThis.FindStringSubmatch(asked); {
		case strings.HasSuffix(asked, "y or n:"):
			return "y"
		case strings.Contains(asked, "Room temperature in °C"):
			return figure6(roomC)
		case strings.Contains(asked, "Put it back.") || strings.Contains(asked, "Let it cool again."):
			b.tell("release " + touched)
			return ""
		case hit != nil:
			return touch(hit[1], "by 9")
		case strings.Contains(asked, "exactly once round"):
			return touch("drum_pulses", fmt.Sprintf("by %d", max(1, pulses)))
		}
		for words, what := range pressed {
			if strings.Contains(asked, words) {
				point, value, _ := strings.Cut(what, " ")
				return touch(point, value)
			}
		}
		b.Errorf("the person does not understand: %s", asked)
		return "q"
	}, "wiring", b.file, "--who", "Ada")
	return code, text
}

// converse runs a command with a person who reads what it asks and answers.
func (b *bench) converse(answer func(asked string) string, args ...string) (code int, said string) {
	b.Helper()
	in, answers := io.Pipe()
	text, out := io.Pipe()
	done := make(chan int)
	go func() {
		code := run(context.Background(), args, in, out, out)
		out.Close()
		done <- code
	}()
	var all, now strings.Builder
	for c := make([]byte, 1); ; {
		if _, err := text.Read(c); err != nil {
			break
		}
		all.Write(c)
		now.Write(c)
		asked := strings.Join(strings.Fields(now.String()), " ")
		if !strings.HasSuffix(now.String(), ": ") || !prompt.MatchString(asked) {
			continue
		}
		now.Reset()
		if _, err := fmt.Fprintln(answers, answer(asked)); err != nil {
			break
		}
	}
	return <-done, all.String()
}

// prompt is how a question ends.
var prompt = regexp.MustCompile(`(y or n|s to leave it out|no probe of the machine|when it is there):$`)

// records looks at what commissioning has left in the journal: one passed finding of
// each item, by name, with method, uncertainty and the day until which it counts.
func (b *bench) records(calibrated []string) {
	b.Helper()
	kept, _ := fromJournal(mustMachine(b.T, b.file), (*journal.Reader).Commissioned)
	found := map[string]int{}
	for _, c := range kept {
		found[c.Kind+" "+c.Item]++
		passed := c.Result == record.ProofPass || c.Kind == record.KindWiring // a walk may have been spoilt
		if c.Who != "Ada" || c.Method == "" || !passed || !c.Simulated || !json.Valid([]byte(c.Body)) {
			b.Errorf("%+v", c)
		}
		if _, ends := c.Until(); c.Kind == record.KindCalibration && (!ends || !(c.Uncertainty > 0)) {
			b.Errorf("%s: %+v", c.Item, c)
		}
	}
	for _, item := range append(calibrated, "") {
		kind := record.KindCalibration
		if item == "" {
			kind = record.KindWiring
		}
		if n := found[kind+" "+item]; n != 1 && (n == 0 || item != "") {
			b.Errorf("%d records of %s %s", found[kind+" "+item], kind, item)
		}
	}
}
