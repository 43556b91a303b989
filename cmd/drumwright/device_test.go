package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/peertest"
	"drumwright/profiles"
)

// withDevices is the file of a simulated machine with devices, each a line of the
// section, on its bus at a port.
func withDevices(t *testing.T, port int, devices ...string) string {
	t.Helper()
	text, _ := profiles.Example("machines/heron-1000.yaml")
	text = bytes.Replace(text, []byte("port: 15020"), []byte("port: "+strconv.Itoa(port)), 1)
	text = append(text, []byte("\ndevices:\n  "+strings.Join(devices, "\n  ")+"\n")...)
	file := filepath.Join(t.TempDir(), "machine.yaml")
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func checkDevices(t *testing.T, args ...string) (code int, said string) {
	t.Helper()
	var out bytes.Buffer
	code = run(context.Background(), append([]string{"check-device"}, args...), nil, &out, &out)
	return code, out.String()
}

// The simulated machine's measuring module has eight temperatures from register 0,
// as the map says; its drives and contacts have not.
func TestCheckDeviceAgainstTheSimulatedMachine(t *testing.T) {
	text, _ := profiles.Example("machines/heron-1000.yaml")
	m, err := profiles.ParseMachine("heron.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	machine, err := plant.New(registers.ParamsFor(m), 1)
	if err != nil {
		t.Fatal(err)
	}
	s, err := registers.New(m, machine)
	if err == nil {
		err = s.Listen(true)
	}
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	file := withDevices(t, m.BusList[0].TCP.Port, "probes: {map: thermocouple-8, bus: gateway, unit: 1}", "away: {map: thermocouple-8, bus: gateway, unit: 1, with: {base: 500}}",
		"drive: {map: drive-cia402, bus: gateway, unit: 2, with: {control: 8, status: 0, target: 9}}", "nobody: {map: thermocouple-8, bus: gateway, unit: 77}")
	for _, c := range []struct {
		device string
		code   int
		says   string
	}{
		{"probes", codeOK, "All 8 points fit."},
		{"away", codeFailed, "NOT   channel_1, input_register 500: refused"},
		{"drive", codeFailed, "NOT   status, holding 0: 0: none of fault, running, stopped"},
		{"nobody", codeFailed, "channel_1"},
		{"nowhere", codeInput, "it has away, drive, nobody, probes"},
	} {
		if code, out := checkDevices(t, file, c.device); code != c.code || !strings.Contains(out, c.says) {
			t.Errorf("%v ends with %d, want %d and %q:\n%s", c.device, code, c.code, c.says, out)
		}
	}
	if code, out := checkDevices(t, "heron-1000"); code != codeInput || !strings.Contains(out, "has no devices") {
		t.Errorf("a machine without devices: %d, %s", code, out)
	}
}

// What another maker's slave shows is compared as the maps say: values by hand from
// the registers of testdata/slave.c.
func TestCheckDeviceAgainstAnotherMakersSlave(t *testing.T) {
	var log peertest.Buffer
	peertest.Start(t, &log, peertest.Compiled(t, "testdata/slave.c", "modbus"))
	peertest.Eventually(t, patience, "the slave's port", func() bool { return strings.HasSuffix(log.String(), "\n") })
	port, err := strconv.Atoi(strings.TrimSpace(log.String()))
	if err != nil {
		t.Fatal(err)
	}
	file := withDevices(t, port, "probes: {map: thermocouple-8, bus: gateway, unit: 3}", "drive: {map: drive-cia402, bus: gateway, unit: 4, with: {control: 5, status: 3, target: 6}}",
		"ill: {map: drive-cia402, bus: gateway, unit: 4, with: {control: 5, status: 4, target: 6}}", "meter: {map: meter.yaml, bus: gateway, unit: 5}", "other: {map: meter.yaml, bus: gateway, unit: 6, with: {type: 4712}}")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	text = bytes.Replace(text, []byte("  ambient:        {bus: gateway, unit: 1, table: input_register, address: 6, scale: 0.1, open_codes: [-32768], max: 60}"), []byte("  ambient: {device: probes, point: channel_7, max: 60}"), 1)
	meter := "what: Meter\nlayout: as in this test\ntried: libmodbus\nparameters:\n  type: {what: type number, default: 4711}\ninputs:\n  warmth: {table: holding, address: 8, type: float32, order: DCBA, min: 23, max: 24}\n" +
		"  beyond: {table: holding, address: 40}\n  contact: {table: discrete_input, address: 2}\nidentity: [{table: holding, address: 12, is: $type, what: type number}]\n"
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(filepath.Dir(file), "meter.yaml"), []byte(meter), 0o600); err != nil {
		t.Fatal(err)
	}
	for device, want := range map[string][]string{
		"probes": {"fits  channel_1, input_register 0: 215, that is 21.5\n", "fits  channel_3, input_register 2: -43, that is -4.3\n", "fits  channel_5, input_register 4: 32767: open probe\n",
			"NOT   channel_6, input_register 5: 13721, that is 1372.1, outside -50 to 1300\n", "NOT   channel_7 = ambient, input_register 6: 4702, that is 470.2, outside -10 to 60\n", "2 of 8 points do not fit"},
		"drive": {"fits  status, holding 3: 1591: running\n", "fits  run, holding 5: 15: run\n", "fits  speed, holding 6: -1500, that is -1500, no range is stated\n", "All 3 points fit."},
		"ill":   {"fits  status, holding 4: 1592: fault\n"},
		"meter": {"fits  type number, holding 12: 4711, wanted 4711\n", "fits  warmth, holding 8: 23.25, that is 23.25\n", "NOT   beyond, holding 40: refused", "fits  contact, discrete_input 2: 0\n"},
		"other": {"NOT   type number, holding 12: 4711, wanted 4712\n"},
	} {
		code, out := checkDevices(t, file, device)
		for _, w := range want {
			if !strings.Contains(out, w) {
				t.Errorf("%s ends with %d, without %q:\n%s", device, code, w, out)
			}
		}
		if fits := !strings.Contains(out, "NOT"); fits != (code == codeOK) {
			t.Errorf("%s ends with %d:\n%s", device, code, out)
		}
	}
	var out bytes.Buffer
	if code := run(context.Background(), []string{"check", file}, nil, &out, &out); code != codeOK || !strings.Contains(out.String(), fmt.Sprintf("by the map %s, tried on: libmodbus", filepath.Join(filepath.Dir(file), "meter.yaml"))) ||
		!strings.Contains(out.String(), "ambient = channel_7, line 16 of the map; here: max\n") {
		t.Errorf("check ends with %d:\n%s", code, out.String())
	}
}
