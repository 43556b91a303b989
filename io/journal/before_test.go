package journal

import (
	"context"
	"testing"
)

// What came before a batch is found, of the same run only, as far back as asked.
func TestBefore(t *testing.T) {
	path, ctx := file(t), context.Background()
	s := open(t, path, Config{})
	n := roast(s, 0, 41)
	for range 3 { // between the batches nothing but the idle rhythm
		n = roast(s, n, 0)
	}
	roast(s, n, 42)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	r, err := OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	b, err := r.Batch(ctx, 42)
	if err != nil || len(b.Samples) == 0 {
		t.Fatalf("%d samples, %v", len(b.Samples), err)
	}
	startS := float64(b.Samples[0].ScanS)
	all, err := r.Before(ctx, 42, 1e6)
	if err != nil || len(all) < 10 {
		t.Fatalf("%d samples before, %v", len(all), err)
	}
	near, err := r.Before(ctx, 42, 60)
	if err != nil || len(near) == 0 || len(near) >= len(all) {
		t.Fatalf("%d samples of the last minute, of %d, %v", len(near), len(all), err)
	}
	for i, k := range near {
		if at := float64(k.ScanS); at < startS-60 || at >= startS || i > 0 && k.ScanS <= near[i-1].ScanS {
			t.Errorf("sample %d at %.1f s of a batch from %.1f s", i, at, startS)
		}
	}
	if none, err := r.Before(ctx, 43, 60); err != nil || len(none) != 0 {
		t.Errorf("before a batch that is not there: %d, %v", len(none), err)
	}
}
