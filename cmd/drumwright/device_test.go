package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/profiles"
)

// The simulated machine's measuring module has eight temperatures from register 0,
// as the map says; its drives and contacts have not.
func TestCheckDeviceAgainstTheSimulatedMachine(t *testing.T) {
	text, err := os.ReadFile("../../profiles/machines/heron-1000.yaml")
	if err != nil {
		t.Fatal(err)
	}
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
	file := filepath.Join(t.TempDir(), "machine.yaml")
	text = bytes.Replace(text, []byte("port: 15020"), []byte("port: "+strconv.Itoa(m.BusList[0].TCP.Port)), 1)
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"thermocouple-8", "--unit", "1"}, codeOK, "All 8 points fit."},
		{[]string{"thermocouple-8", "--unit", "1", "--set", "base=500"}, codeFailed, "NOT   channel_1    input_register 500: refused"},
		{[]string{"drive-cia402", "--unit", "2", "--set", "control=8", "--set", "status=0", "--set", "target=9"}, codeFailed, "NOT   status       holding 0: 0: none of fault, running, stopped"},
		{[]string{"thermocouple-8", "--unit", "77"}, codeFailed, "channel_1"},
		{[]string{"thermocouple-8", "--unit", "1", "--bus", "nowhere"}, codeInput, "no such bus"},
		{[]string{"thermocouple-9", "--unit", "1"}, codeInput, "thermocouple-8"},
	} {
		var out bytes.Buffer
		args := append([]string{"check-device", file, "--bus", "gateway"}, c.args...)
		if code := run(context.Background(), args, nil, &out, &out); code != c.code || !strings.Contains(out.String(), c.says) {
			t.Errorf("%v ends with %d, want %d and %q:\n%s", c.args, code, c.code, c.says, out.String())
		}
	}
}

// The constant and the states of a map of one's own are compared, and what the
// device command prints is what a machine file takes.
func TestDeviceFromAFileOfOnesOwn(t *testing.T) {
	file := filepath.Join(t.TempDir(), "mine.yaml")
	err := os.WriteFile(file, []byte("what: a\nlayout: b\ntried: c\ninputs:\n  x: {table: holding, address: 4}\nidentity: [{table: holding, address: 9, is: 7}]\n"), 0o600)
	var out bytes.Buffer
	code := run(context.Background(), []string{"device", file, "--bus", "line", "--unit", "5", "--role", "bean=x"}, nil, &out, io.Discard)
	want := "inputs:\n  # Unit 5, mine (tried on: c)\n  bean: {bus: line, unit: 5, table: holding, address: 4}\n" +
		"identity:\n  # Unit 5, mine (tried on: c)\n  - {bus: line, unit: 5, table: holding, address: 9, is: 7}\n"
	if err != nil || code != codeOK || out.String() != want {
		t.Errorf("%v, %d:\n%s", err, code, out.String())
	}
}
