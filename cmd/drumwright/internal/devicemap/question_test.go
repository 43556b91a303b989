package devicemap

import (
	"strings"
	"testing"
)

// 0x42F6E979 is 123.456 as IEEE 754 single precision (value from memory, computed
// independently).
func TestWhatWordsMean(t *testing.T) {
	m, err := Parse("x", []byte(`
what: a
layout: b
tried: c
inputs:
  cold: {table: holding, address: 1, scale: 0.1, open_codes: [-32768]}
  word: {table: holding, address: 2, type: float32, order: CDAB}
  state: {table: holding, address: 4, mask: 15, states: {stopped: 1, running: 7}}
  contact: {table: discrete_input, address: 5}
outputs:
  told: {table: holding, address: 6, read_back: {table: input_register, address: 60}}
  untold: {table: holding, address: 7}
identity: [{table: holding, address: 8, type: uint32, is: 65538}]
`))
	if err != nil {
		t.Fatal(err)
	}
	all, err := m.Questions(nil)
	if err != nil {
		t.Fatal(err)
	}
	by := map[string]*Question{}
	for i := range all {
		by[all[i].Point] = &all[i]
	}
	if len(all) != 6 || by["untold"] != nil || by["told"].Address != 60 || by["told"].Table.String() != "input_register" || by["word"].Words != 2 {
		t.Fatalf("questions %+v", all)
	}
	for _, c := range []struct {
		point string
		words []uint16
		says  string
		fits  bool
	}{
		{"cold", []uint16{0xFFF6}, "-10, that is -1", true},
		{"cold", []uint16{0x8000}, "open probe", true},
		{"word", []uint16{0xE979, 0x42F6}, "that is 123.46", true},
		{"state", []uint16{0x0237}, "running", true},
		{"state", []uint16{0x0238}, "none of running, stopped", false},
		{"contact", []uint16{1}, "1", true},
		{"identity 1", []uint16{1, 2}, "65538, wanted 65538", true},
		{"identity 1", []uint16{2, 1}, "131073, wanted 65538", false},
	} {
		if said, fits := by[c.point].Judge(c.words); fits != c.fits || !strings.Contains(said, c.says) {
			t.Errorf("%s %x: %q, %v; want %q, %v", c.point, c.words, said, fits, c.says, c.fits)
		}
	}
}

func TestBrokenQuestions(t *testing.T) {
	for _, c := range []struct{ point, want string }{
		{"{table: holdng, address: 1}", "allowed are coil"}, {"{table: holding}", "address from 0"}, {"{table: holding, address: 70000}", "address from 0"},
		{"{table: holding, address: 1, type: int8}", "allowed are bool"}, {"{table: holding, address: 1, order: ABDC}", "allowed are ABCD"}, {"{table: holding, address: $base}", "no parameter"},
		{"[1]", "want { }"},
	} {
		m, err := Parse("x", []byte("what: a\nlayout: b\ntried: c\ninputs: {p: "+c.point+"}\n"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := m.Questions(nil); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.point, err, c.want)
		}
	}
}
