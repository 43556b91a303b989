package control

import (
	"math/rand/v2"
	"testing"
	"time"

	"drumwright/control/batch"
	"drumwright/io/peertest"
)

// The time of day may step by an hour or by ten years in any scan of a batch:
// every permit, and all of the record but its stamp, is the same to the bit.
func TestStepsOfTheWallClockMoveNothing(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	steady, stepping := newRig(t, nil).to(batch.Ready), newRig(t, nil).to(batch.Ready)
	rng := rand.New(rand.NewPCG(1, 0x636c6f63))
	var wall int64
	steps := [...]time.Duration{time.Hour, -time.Hour, 87600 * time.Hour, -87600 * time.Hour}
	steady.charge()
	stepping.charge()
	n := 0
	for scan := range 3000 {
		if rng.IntN(30) == 0 {
			wall += int64(steps[rng.IntN(len(steps))])
			n++
		}
		stepping.rec.UnixNano = wall
		steady.step()
		stepping.step()
		got := stepping.rec
		got.UnixNano = steady.rec.UnixNano
		if stepping.permit != steady.permit || got != steady.rec {
			t.Fatalf("scan %d after %d steps: %+v, want %+v", scan, n, got, steady.rec)
		}
	}
	if n < 50 || steady.core.State() != batch.Roasting {
		t.Errorf("%d steps, %s: nothing is shown", n, steady.core.State())
	}
}
