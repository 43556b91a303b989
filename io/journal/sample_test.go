package journal

import (
	"context"
	"fmt"
	"slices"
	"testing"

	"github.com/ncruces/go-sqlite3"
	"pgregory.net/rapid"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// Every temperature that a machine can have has its columns, and the code names
// no column that the schema does not have.
func TestSampleColumnsMatchTheSchema(t *testing.T) {
	s := still(t, 1)
	var have []string
	if err := s.query(context.Background(), func(st *sqlite3.Stmt) { have = append(have, st.ColumnText(0)) },
		`SELECT name FROM pragma_table_info('samples') WHERE name NOT IN ('run', 'scan', 'batch')`); err != nil {
		t.Fatal(err)
	}
	want := slices.Clone(sampleColumns)
	slices.Sort(have)
	slices.Sort(want)
	if !slices.Equal(have, want) {
		t.Errorf("schema %v\ncode %v", have, want)
	}
	if !slices.Contains(want, point.Bean.String()+"_c") {
		t.Error("no column for the bean probe")
	}
}

// What is kept comes back as it was.
func TestSampleRoundTrip(t *testing.T) {
	s := still(t, 10)
	sc := recordtest.Roasting()
	s.Put(&sc)
	if s.flush(nil); s.failed != nil {
		t.Fatal(s.failed)
	}
	d, err := s.Batch(context.Background(), 41)
	if err != nil || len(d.Samples) != 1 {
		t.Fatalf("%d samples, %v", len(d.Samples), err)
	}
	if got, want := fmt.Sprintf("%+v", d.Samples[0]), fmt.Sprintf("%+v", record.NewKeptSample(&sc)); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// Whatever the scan period and however late scans come, samples in a batch are
// as far apart as asked, but for two periods: each is taken between half a period
// before its time and half a period plus the lateness of its scan after it.
func TestSampleSpacing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		period := rapid.SampledFrom([]float64{0.02, 0.05, 0.1, 0.25}).Draw(t, "period")
		every := rapid.SampledFrom([]float64{0.5, 1, 2}).Draw(t, "every")
		start := rapid.Float64Range(0, 1e5).Draw(t, "start")
		late := rapid.SliceOfN(rapid.Float64Range(0, 0.9), 7, 7).Draw(t, "late")
		s := &Sink{cfg: Config{SampleS: every, QueueLen: 1000}, queue: record.NewQueue[row](1000)}
		scans := int(8 * every / period)
		for i := range scans {
			sc := record.Scan{ScanS: start + period*(float64(i)+late[i%7]), Batch: record.Batch{ID: 1, SinceS: 1}, Timing: record.Timing{PeriodS: period}}
			s.Put(&sc)
		}
		var last record.Number
		n := 0
		for _, r := range s.queue.Take(nil, 1000) {
			if r.sample == nil {
				continue
			}
			if gap := float64(r.sample.ScanS - last); n > 0 && (gap > every+2*period || gap < every-2*period) {
				t.Fatalf("%v s between samples, want %v", gap, every)
			}
			last = r.sample.ScanS
			n++
		}
		if n < 7 || n > 9 {
			t.Fatalf("%d samples in %v s at %v s", n, 8*every, every)
		}
	})
}
