package registers

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"drumwright/io/point"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Check values of CRC-16/MODBUS: the string 123456789 gives 4B37 (catalogue of
// parametrised CRC algorithms, value from memory); 02 07 is the worked example
// of Modbus over serial line V1.02 (value from memory); all computed
// independently (Python).
func TestCRC(t *testing.T) {
	for _, c := range []struct {
		bytes string
		want  uint16
	}{{"313233343536373839", 0x4B37}, {"0207", 0x1241}, {"01030000000A", 0xCDC5}, {"010300000002", 0x0BC4}} {
		if got := crc(unhex(t, c.bytes)); got != c.want {
			t.Errorf("crc(%s) = %04X, want %04X", c.bytes, got, c.want)
		}
	}
}

// published are requests and replies of the Modbus application protocol
// V1.1b3, sections 6.1 to 6.12 and 7 (values from memory), with unit 11 hex and
// checksums computed independently (Python). The registers of the table begin
// at the address lo and hold these bytes: packed bits or words.
var published = []struct {
	name           string
	table          point.Table
	lo, n          int
	hold           string
	request, reply string
}{
	{"read 19 coils", point.Coil, 0x13, 19, "CD 6B 05", "11 01 00 13 00 13 8E 92", "11 01 03 CD 6B 05 40 12"},
	{"read 37 coils", point.Coil, 0x13, 37, "CD 6B B2 0E 1B", "11 01 00 13 00 25 0E 84", "11 01 05 CD 6B B2 0E 1B 45 E6"},
	{"read discrete inputs", point.DiscreteInput, 0xC4, 22, "AC DB 35", "11 02 00 C4 00 16 BA A9", "11 02 03 AC DB 35 20 18"},
	{"read holding registers", point.Holding, 0x6B, 3, "02 2B 00 00 00 64", "11 03 00 6B 00 03 76 87", "11 03 06 02 2B 00 00 00 64 C8 BA"},
	{"other contents", point.Holding, 0x6B, 3, "AE 41 56 52 43 40", "11 03 00 6B 00 03 76 87", "11 03 06 AE 41 56 52 43 40 49 AD"},
	{"read input registers", point.InputRegister, 8, 1, "00 0A", "11 04 00 08 00 01 B2 98", "11 04 02 00 0A F8 F4"},
	{"write single coil", point.Coil, 0xAC, 1, "00", "11 05 00 AC FF 00 4E 8B", "11 05 00 AC FF 00 4E 8B"},
	{"write single register", point.Holding, 1, 1, "00 00", "11 06 00 01 00 03 9A 9B", "11 06 00 01 00 03 9A 9B"},
	{"write multiple coils", point.Coil, 0x13, 10, "00 00", "11 0F 00 13 00 0A 02 CD 01 BF 0B", "11 0F 00 13 00 0A 26 99"},
	{"write multiple registers", point.Holding, 1, 2, "00 00 00 00", "11 10 00 01 00 02 04 00 0A 01 02 C6 F0", "11 10 00 01 00 02 12 98"},
	{"exception", point.Coil, 0, 10, "00 00", "11 01 04 A1 00 01 AF 88", "11 81 02 C0 54"},
}

// device is a server with one bank of unit 11 hex and no machine behind it.
func device(t testing.TB, table point.Table, lo, n int, hold string) *Server {
	b := &bank{lo: lo, words: make([]uint16, n)}
	raw := unhex(t, hold)
	for i := range b.words {
		if table.Bits() {
			b.words[i] = uint16(raw[i/8] >> (i % 8) & 1)
		} else {
			b.words[i] = binary.BigEndian.Uint16(raw[2*i:])
		}
	}
	return &Server{banks: map[bankKey]*bank{{0, 0x11, table}: b}, silent: map[bankKey]bool{}, closed: make(chan struct{}), Unpaced: true}
}

// hear gives bytes to an assembler and returns copies of the frames.
func hear(a *assembler, in []byte) (frames [][]byte) {
	for _, b := range in {
		if f := a.take(b); f != nil {
			frames = append(frames, bytes.Clone(f))
		}
	}
	return frames
}

func TestPublishedFrames(t *testing.T) {
	for _, c := range published {
		s := device(t, c.table, c.lo, c.n, c.hold)
		var a assembler
		frames := hear(&a, unhex(t, c.request))
		if len(frames) != 1 {
			t.Errorf("%s: %d frames assembled, want 1", c.name, len(frames))
			continue
		}
		pdu := s.answer(0, frames[0][0], frames[0][1:len(frames[0])-2])
		if got, want := sealed(frames[0][0], pdu), unhex(t, c.reply); !bytes.Equal(got, want) {
			t.Errorf("%s: reply % X, want % X", c.name, got, want)
		}
	}
}

// What the published writes must leave behind.
func TestPublishedWritesAreCarriedOut(t *testing.T) {
	for _, c := range []struct{ name, want string }{
		{"write single coil", "1"},
		{"write single register", "3"},
		{"write multiple coils", "1 0 1 1 0 0 1 1 1 0"},
		{"write multiple registers", "10 258"},
	} {
		for _, p := range published {
			if p.name != c.name {
				continue
			}
			s := device(t, p.table, p.lo, p.n, p.hold)
			f := unhex(t, p.request)
			s.answer(0, f[0], f[1:len(f)-2])
			if got := strings.Trim(fmt.Sprint(s.banks[bankKey{0, 0x11, p.table}].words), "[]"); got != c.want {
				t.Errorf("%s leaves %s, want %s", c.name, got, c.want)
			}
		}
	}
}

// Codes and order of the exceptions: Modbus application protocol V1.1b3,
// sections 6 and 7 (from memory): function, then quantity or value, then
// address.
func TestExceptionsInOrder(t *testing.T) {
	s := device(t, point.Holding, 100, 200, strings.Repeat("00 00", 200))
	s.banks[bankKey{0, 0x11, point.Coil}] = &bank{lo: 100, words: make([]uint16, 2100)}
	many := func(n int) string { return strings.Repeat("00", n) }
	for _, c := range []struct {
		name, pdu string
		want      byte // 0 = carried out
	}{
		{"function 7", "07", illegalFunction},
		{"function 22", "16 00 64 00 F2 00 25", illegalFunction},
		{"function 0", "00 00 64 00 01", illegalFunction},
		{"no registers, wrong address", "03 00 00 00 00", illegalValue},
		{"126 registers, wrong address", "03 00 00 00 7E", illegalValue},
		{"126 registers", "03 00 64 00 7E", illegalValue},
		{"125 registers", "03 00 64 00 7D", 0},
		{"address before", "03 00 63 00 01", illegalAddress},
		{"address behind", "03 01 2B 00 02", illegalAddress},
		{"last address", "03 01 2B 00 01", 0},
		{"beyond 65535", "03 FF FF 00 02", illegalAddress},
		{"table that the unit has not", "04 00 64 00 01", illegalAddress},
		{"no coils", "01 00 64 00 00", illegalValue},
		{"2001 coils", "01 00 64 07 D1", illegalValue},
		{"2000 coils", "01 00 64 07 D0", 0},
		{"coil value, wrong address", "05 00 00 12 34", illegalValue},
		{"coil address", "05 00 00 FF 00", illegalAddress},
		{"register address", "06 00 00 12 34", illegalAddress},
		{"no registers written", "10 00 00 00 00 00", illegalValue},
		{"123 registers written", "10 00 64 00 7B F6" + many(246), 0},
		{"124 registers written", "10 00 64 00 7C F8" + many(248), illegalValue},
		{"byte count of registers", "10 00 64 00 02 02 00 00", illegalValue},
		{"byte count against the length", "10 00 64 00 01 03 00 00", illegalValue},
		{"byte count that the frame has not", "10 00 64 00 01 02 00", illegalValue},
		{"address of written registers", "10 00 00 00 01 02 00 00", illegalAddress},
		{"1968 coils written", "0F 00 64 07 B0 F6" + many(246), 0},
		{"1969 coils written", "0F 00 64 07 B1 F7" + many(247), illegalValue},
		{"byte count of coils", "0F 00 64 00 09 01 00", illegalValue},
		{"short", "03 00 64", illegalValue},
	} {
		pdu := unhex(t, c.pdu)
		got := s.answer(0, 0x11, pdu)
		switch {
		case len(got) < 2:
			t.Errorf("%s: reply % X", c.name, got)
		case c.want == 0 && got[0] != pdu[0]:
			t.Errorf("%s: reply % X, want it carried out", c.name, got)
		case c.want != 0 && !bytes.Equal(got, []byte{pdu[0] | 0x80, c.want}):
			t.Errorf("%s: reply % X, want exception %d", c.name, got[:2], c.want)
		}
		if got := s.answer(0, 0x12, pdu); got != nil {
			t.Errorf("%s: a unit that the machine has not says % X", c.name, got)
		}
	}
}

func TestFramesAfterGarbage(t *testing.T) {
	good := unhex(t, "11 03 00 6B 00 03 76 87")
	bad := unhex(t, "11 03 00 6B 00 03 76 88")
	long := append(unhex(t, "11 10 00 00 00 7B FF"), make([]byte, 300)...)
	for _, c := range []struct {
		name         string
		before       []byte
		silence      bool
		want         int
		afterSilence bool // one more frame, ended by the silence itself
	}{
		{"nothing", nil, false, 1, false},
		{"a good frame", good, false, 2, false},
		{"wrong checksum", bad, false, 0, false},
		{"wrong checksum, silence", bad, true, 1, false},
		{"half a frame, silence", good[:5], true, 1, false},
		{"noise, silence", []byte{0}, true, 1, false},
		{"longer than a frame can be", long, false, 0, false},
		{"longer than a frame can be, silence", long, true, 1, false},
		{"unknown function, one byte too long, silence", append(sealed(0x11, append([]byte{0x11}, make([]byte, 252)...)), 0), true, 1, false},
		{"unknown function, silence", sealed(0x11, []byte{0x11}), true, 1, true},
		{"unknown function with wrong checksum, silence", []byte{0x11, 0x11, 0, 0}, true, 1, false},
	} {
		var a assembler
		frames := hear(&a, c.before)
		if c.silence {
			if !a.waits() {
				t.Errorf("%s: waits for no silence", c.name)
			}
			if f := a.silence(); (f != nil) != c.afterSilence || f != nil && !bytes.Equal(f, c.before) {
				t.Errorf("%s: silence ends frame % X", c.name, f)
			}
		}
		frames = append(frames, hear(&a, good)...)
		if len(frames) != c.want {
			t.Errorf("%s: %d frames, want %d", c.name, len(frames), c.want)
		}
	}
}

// Whatever came before: after a silence every sound request is understood.
func TestSilenceResynchronises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var a assembler
		hear(&a, rapid.SliceOfN(rapid.Byte(), 0, 600).Draw(t, "noise"))
		a.silence()
		function := rapid.SampledFrom([]byte{1, 2, 3, 4, 5, 6, 15, 16}).Draw(t, "function")
		pdu := append([]byte{function}, rapid.SliceOfN(rapid.Byte(), 4, 4).Draw(t, "head")...)
		if function >= 15 {
			data := rapid.SliceOfN(rapid.Byte(), 0, 247).Draw(t, "data")
			pdu = append(append(pdu, byte(len(data))), data...)
		}
		want := sealed(rapid.Byte().Draw(t, "unit"), pdu)
		got := hear(&a, want)
		if len(got) != 1 || !bytes.Equal(got[0], want) || a.waits() {
			t.Fatalf("% X gives % X", want, got)
		}
	})
}

// A reply is always a frame of the unit that was asked, and never too long.
func FuzzLine(f *testing.F) {
	for _, c := range published {
		f.Add(unhex(f, c.request))
	}
	f.Add(sealed(0x11, []byte{0x11}))
	s := device(f, point.Holding, 0, 300, strings.Repeat("00 00", 300))
	s.banks[bankKey{0, 0x11, point.Coil}] = &bank{words: make([]uint16, 2100)}
	check := func(t *testing.T, frame []byte) {
		pdu := s.answer(0, frame[0], frame[1:len(frame)-2])
		if pdu == nil && frame[0] == 0x11 {
			t.Fatalf("no reply to % X", frame)
		}
		if pdu != nil && (frame[0] != 0x11 || len(pdu) > maxFrame-3 || pdu[0]&0x7F != frame[1]&0x7F) {
			t.Fatalf("reply % X to % X", pdu, frame)
		}
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		var a assembler
		for _, frame := range hear(&a, in) {
			check(t, frame)
		}
		if frame := a.silence(); frame != nil {
			check(t, frame)
		}
	})
}
