package assess

import (
	"math"
	"testing"

	"drumwright/io/peertest"
)

// Two batches back to back from a cold machine end alike (goals as the study
// states them; nothing outside the project).
func TestRow(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	sizes, err := Standard()
	if err != nil {
		t.Fatal(err)
	}
	b, err := row(sizes[1], &curves[0], rowSeed, 2, true)
	if err != nil {
		t.Fatal(err)
	}
	if d := math.Abs(b[0].DropC - b[1].DropC); d > 2*rowDropSdC {
		t.Errorf("drops differ by %.2f °C", d)
	}
	if b[1].RmsC > b[0].RmsC+moveWorseC {
		t.Errorf("the second batch was %.2f °C off, the first %.2f", b[1].RmsC, b[0].RmsC)
	}
}
