package fieldbus

import (
	"bytes"
	"encoding/hex"
	"strings"
	"testing"
)

func FuzzFindReply(f *testing.F) {
	for _, c := range published {
		request, _ := hex.DecodeString(strings.ReplaceAll(c.request, " ", ""))
		reply, _ := hex.DecodeString(strings.ReplaceAll(c.reply, " ", ""))
		f.Add(request[:len(request)-2], reply)
	}
	f.Fuzz(func(t *testing.T, body, got []byte) {
		if len(body) < 6 {
			t.Skip("shorter than any request")
		}
		request := sealed(body[0], body[1:])
		frame, err := findReply(request, got)
		if frame == nil || err != nil {
			return
		}
		if crc(frame) != 0 || frame[0] != request[0] || frame[1]&0x7F != request[1]&0x7F || !bytes.Contains(got, frame) {
			t.Errorf("% x accepted as reply to % x", frame, request)
		}
	})
}

func FuzzTCPFrame(f *testing.F) {
	request := []byte{0x12, 0x34, 0, 0, 0, 6, 0x11, 3, 0, 0x6B, 0, 3}
	f.Add([]byte{0x12, 0x34, 0, 0, 0, 9, 0x11, 3, 6, 2, 0x2B, 0, 0, 0, 0x64})
	f.Add([]byte{0x12, 0x34, 0, 0, 0, 3, 0x11, 0x83, 2})
	f.Fuzz(func(t *testing.T, got []byte) {
		l := newTCPLine("", 0)
		l.id = 0x1234
		l.have = copy(l.buf[:], got)
		frame, err := l.frame()
		if frame == nil || err != nil {
			return
		}
		reply, err := l.accept(request, frame)
		if reply == nil || err != nil {
			return
		}
		if !bytes.Equal(reply[:4], request[:4]) || reply[6] != 0x11 ||
			!(len(reply) == 15 && reply[7] == 3 && reply[8] == 6 || len(reply) == 9 && reply[7] == 0x83) {
			t.Errorf("% x accepted", reply)
		}
	})
}
