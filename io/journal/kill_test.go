package journal

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// childEnv makes the test binary the process that is to be killed.
const (
	childEnv = "DRUMWRIGHT_JOURNAL_CHILD"
	paceEnv  = "DRUMWRIGHT_JOURNAL_PACE"
)

func TestMain(m *testing.M) {
	if path := os.Getenv(childEnv); path != "" {
		writeUntilKilled(path, os.Getenv(paceEnv))
	}
	os.Exit(m.Run())
}

// eventEvery is how many scans of the child carry one event.
const eventEvery = 100

// paces of the child: the time between two scans, every one a sample: one at which the writer commits by time, and one, a thousand times a
// machine's and near what it can do under the race detector, by number of rows.
var paces = [...]time.Duration{20 * time.Millisecond, time.Millisecond}

// writeUntilKilled puts scans and says after each how far it has come.
func writeUntilKilled(path, pace string) {
	every, err := time.ParseDuration(pace)
	if err != nil {
		panic(err)
	}
	s, err := Open(path, Config{SampleS: 1e-9, QueueLen: 1 << 16})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	id := s.LastBatchID() + 1
	n := 0
	for range time.Tick(every) {
		n++
		sc := recordtest.At(n)
		sc.N, sc.Batch.ID, sc.Timing.PeriodS = uint64(n), id, 0
		if n%eventEvery == 0 {
			sc.Add(record.Event{Kind: record.Note, Name: "tick", Value: float64(n)})
		}
		s.Put(&sc)
		if st := s.Stats(); st.DroppedSamples+st.DroppedEvents+st.Failures != 0 {
			fmt.Fprintf(os.Stderr, "dropped: %+v\n", st)
			os.Exit(1)
		}
		fmt.Println(n, time.Now().UnixNano())
	}
}

// A process killed at any moment loses at most the samples of the last two seconds
// and no event that was not just put, and the file stays whole. What a cut of the power does to the disk below is not shown here.
func TestKilledWriterLosesAtMostTwoSeconds(t *testing.T) {
	peertest.OnceIsEnough(t)
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	for i := range 5 {
		t.Run(strconv.Itoa(i), func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), "journal.db")
			child := exec.Command(os.Args[0])
			child.Env = append(os.Environ(), childEnv+"="+path, paceEnv+"="+paces[i%len(paces)].String())
			child.Stderr = os.Stderr
			out, err := child.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := child.Start(); err != nil {
				t.Fatal(err)
			}
			type progress struct {
				n  int
				at int64
			}
			var said []progress
			lines := bufio.NewScanner(out)
			var killed time.Time
			life := 2100*time.Millisecond + rand.N(900*time.Millisecond)
			for lines.Scan() {
				var p progress
				if _, err := fmt.Sscan(lines.Text(), &p.n, &p.at); err != nil {
					break // the last line may be torn
				}
				if said = append(said, p); killed.IsZero() && time.Duration(p.at-said[0].at) > life {
					killed = time.Now()
					if err := child.Process.Kill(); err != nil {
						t.Fatal(err)
					}
				}
			}
			child.Wait()
			if killed.IsZero() {
				t.Fatal("the child ended by itself")
			}
			must := 0 // put at least two seconds before the kill, or before an event that was put a good while before it
			for _, p := range said {
				old := killed.Sub(time.Unix(0, p.at))
				if old >= 2*time.Second || p.n%eventEvery == 0 && old >= 500*time.Millisecond {
					must = p.n
				}
			}
			if must == 0 {
				t.Fatalf("nothing was put two seconds before the kill, %d lines", len(said))
			}

			s := open(t, path, Config{})
			ctx := context.Background()
			if err := s.Check(ctx); err != nil {
				t.Fatalf("integrity: %v", err)
			}
			d, err := s.Batch(ctx, s.LastBatchID())
			if err != nil || d.Result != record.BatchAborted {
				t.Fatalf("batch %+v, %v", d.KeptBatch, err)
			}
			got := len(d.Samples)
			t.Logf("killed after %v: %d put, %d must be kept, %d are", life, said[len(said)-1].n, must, got)
			if got < must {
				t.Errorf("%d samples kept, of %d", got, must)
			}
			if want := got / eventEvery; len(d.Events) != want {
				t.Errorf("%d events beside %d samples, want %d: a transaction was split", len(d.Events), got, want)
			}
			first, last := d.Samples[0].ScanS, d.Samples[got-1].ScanS
			if gaps := float64(last-first)/0.1 - float64(got-1); gaps > 0.5 || gaps < -0.5 {
				t.Errorf("%v samples missing in between", gaps)
			}
		})
	}
}
