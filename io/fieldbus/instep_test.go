package fieldbus

import (
	"context"
	"encoding/binary"
	"log/slog"
	"testing"
	"time"

	"drumwright/io/point"
)

// A simulated machine in the same program that drops or delays every second
// reply: the scan knows at once, takes the other replies for what they are, and
// gives nothing that was late as the answer to another question.
func TestInStepKnowsAtOnceThatNothingComes(t *testing.T) {
	for name, late := range map[string]bool{"dropped": false, "late": true} {
		for bus, m := range map[string]*builder{"tcp": newMachine().tcp("127.0.0.1:9"), "rtu": newMachine().rtu("/dev/none")} {
			t.Run(name+" "+bus, func(t *testing.T) {
				m.input(point.Bean, onUnit(1, plain(0, 10))).input(point.Exhaust, onUnit(2, plain(0, 10)))
				n := 0
				f, err := NewInStep(&m.Machine, slog.New(slog.DiscardHandler), func(_ int, request []byte) ([]byte, []byte) {
					n++
					answer := answerInStep(bus == "tcp", request)
					if n%2 == 0 && late {
						return nil, answer
					}
					if n%2 == 0 {
						return nil, nil
					}
					return answer, nil
				})
				if err != nil {
					t.Fatal(err)
				}
				defer f.Close()
				begin := time.Now()
				var img point.Image
				for i := range 20 {
					f.Read(context.Background(), 0.1*float64(i), time.Now().Add(time.Hour), &img)
					for role, want := range map[point.Input]float64{point.Bean: 100, point.Exhaust: 200} {
						if v := img.In[role]; v.Quality == point.Good && v.V != want {
							t.Fatalf("scan %d: %v is %+v", i, role, v)
						}
					}
				}
				if n < 20 || img.In[point.Bean].Quality != point.Good {
					t.Errorf("%d requests; bean %+v, exhaust %+v", n, img.In[point.Bean], img.In[point.Exhaust])
				}
				if took := time.Since(begin); took > inStepPatience {
					t.Errorf("waited %v for replies that do not come", took)
				}
			})
		}
	}
}

// answerInStep answers every read of one register by a hundred times the unit.
func answerInStep(tcp bool, request []byte) []byte {
	if tcp {
		answer := append([]byte(nil), request[:mbapBytes]...)
		answer[5] = 5
		return binary.BigEndian.AppendUint16(append(answer, request[7], 2), 100*uint16(request[6]))
	}
	answer := binary.BigEndian.AppendUint16([]byte{request[0], request[1], 2}, 100*uint16(request[0]))
	return binary.LittleEndian.AppendUint16(answer, crc(answer))
}
