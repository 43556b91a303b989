package main

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/cmd/drumwright/internal/replay"
	"drumwright/control"
	"drumwright/control/plant/registers"
	"drumwright/io/journal"
	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/profiles"
)

// shortRoast is over soon and yet has a curve, stages and a first crack to hear.
const shortRoast = `recipe: short
charge: {green: 1 kg, moisture: 11 %, inlet: 203 °C, skin: 185 °C}
bean_curve:
  - {at: 2 min, bean: 95.8 °C}
  - {at: 3 min, bean: 119.8 °C}
  - {at: 4 min, bean: 139.2 °C}
  - {at: 5 min, bean: 155.2 °C}
stages:
  - {when: 1 min, skin: 210 °C}
  - {when: bean 110 °C, flow: 41 kg/h}
drop: {bean: 125 °C, latest: 6 min}
cool: 20 s
`

// tapeBatches roasts the recipe on a simulated machine into a journal, which keeps
// it as it does for serve.
func tapeBatches(t testing.TB, path, recipe string, batches int) {
	t.Helper()
	text, _ := profiles.Example("machines/heron-1000.yaml")
	m, err := profiles.ParseMachine("machine.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	r, err := profiles.ParseRecipe("recipe.yaml", []byte(recipe))
	if err != nil {
		t.Fatal(err)
	}
	keep, err := journal.Open(path, journal.Config{MachineText: string(text), QueueLen: 1 << 16})
	if err != nil {
		t.Fatal(err)
	}
	keep.KeepText(recipe)
	var rec *recorder
	cooled := 0
	res, err := rehearsal.Run(context.Background(), rehearsal.Plan{Machine: m, Recipe: r, Seed: 3, Batches: batches, Warm: true, Mismatch: registers.Drawn(3), Restored: control.Restored{LastBatch: keep.LastBatchID()},
		Sinks: []control.Sink{keep},
		Beside: func(x *rehearsal.Moment) bool {
			for i := range x.Last.NumEvents {
				if x.Last.Events[i].Name == record.MilestoneCooled {
					cooled++
				}
			}
			return cooled == batches
		},
		Tape: func(c *control.Controller) control.Tape {
			rec = newRecorder(c, keep.KeepTape, true, slog.New(slog.DiscardHandler))
			return rec
		}})
	if err != nil {
		t.Fatal(err)
	}
	rec.close()
	if n := rec.tape.Lost(); n > 0 || len(res.Batches) != batches {
		t.Fatalf("%d scans lost, %d batches", n, len(res.Batches))
	}
	if err := keep.Close(); err != nil {
		t.Fatal(err)
	}
}

func replayed(t *testing.T, args ...string) (string, string, int) {
	t.Helper()
	var out, errs bytes.Buffer
	code := run(context.Background(), append([]string{"replay"}, args...), strings.NewReader(""), &out, &errs)
	return out.String(), errs.String(), code
}

// A batch that was kept is decided again to the bit, also one of the next run of
// the daemon. Other gains, another recipe and one flipped bit are found where they
// first show.
func TestReplayOfTheJournal(t *testing.T) {
	peertest.OnceIsEnough(t)
	path := filepath.Join(t.TempDir(), "j.db")
	tapeBatches(t, path, shortRoast, 1)
	tapeBatches(t, path, shortRoast, 1) // a restart between them
	for _, id := range []string{"1", "2"} {
		out, errs, code := replayed(t, id, "--journal", path)
		if code != codeOK || !strings.Contains(out, "Every decision is the same to the bit") {
			t.Fatalf("batch %s: code %d\n%s%s", id, code, out, errs)
		}
		t.Log(out)
	}

	out, errs, code := replayed(t, "2", "--journal", path, "--json")
	var res replayResult
	if err := json.Unmarshal([]byte(out), &res); err != nil || code != codeOK || !res.Equal || res.Segments < 2 {
		t.Fatalf("code %d, %v, %+v%s", code, err, res, errs)
	}
	perRoast := float64(res.TapeBytes) / (res.ToS - res.FromS) * 12 * 60 / 1e6
	t.Logf("%d scans in %d segments; %.2f MB for 12 min", res.Scans, res.Segments, perRoast)
	if perRoast > 2 {
		t.Errorf("a roast of 12 min takes %.2f MB, more than 2", perRoast)
	}

	text, _ := profiles.Example("machines/heron-1000.yaml")
	other := filepath.Join(t.TempDir(), "other.yaml")
	edited := strings.Replace(string(text), "response: 30 s", "response: 60 s", 1)
	if edited == string(text) {
		t.Fatal("the machine file has no such line")
	}
	if err := os.WriteFile(other, []byte(edited), 0o600); err != nil {
		t.Fatal(err)
	}
	scans := filepath.Join(t.TempDir(), "scans.csv")
	out, errs, code = replayed(t, "1", "--journal", path, "--with", other, "--csv", scans)
	if code != codeOK || !strings.Contains(out, "First difference at scan") || !strings.Contains(out, "Air.SetC") {
		t.Errorf("with other gains: code %d\n%s%s", code, out, errs)
	}
	if data, err := os.ReadFile(scans); err != nil || strings.Count(string(data), "\n") < 1500 || !strings.Contains(string(data), "air_set_c_replayed") {
		t.Errorf("%v, %.200s", err, data)
	}
	out, errs, code = replayed(t, "1", "--journal", path, "--with", "heron-1000")
	if code != codeOK || !strings.Contains(out, "Every decision is the same") {
		t.Errorf("with the same machine: code %d\n%s%s", code, out, errs)
	}
	for _, c := range []struct {
		args []string
		code int
		text string
	}{
		{[]string{"7", "--journal", path}, codeFailed, "no such batch"},
		{[]string{"x", "--journal", path}, codeInput, "not the number of a batch"},
		{[]string{"1", "--journal", path + "x"}, codeFailed, "no such file"},
		{[]string{"1", "--journal", path, "--with", "lark-300"}, codeFailed, ""},
	} {
		if _, errs, code := replayed(t, c.args...); code != c.code || !strings.Contains(errs, c.text) {
			t.Errorf("%q: code %d, %s", c.args, code, errs)
		}
	}
	flipOneBit(t, path)
}

// flipOneBit changes what one scan of the kept batch read, by its lowest bit.
func flipOneBit(t *testing.T, path string) {
	r, err := journal.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var out replayResult
	b, err := recordedBatch(context.Background(), r, 1, &out)
	if err != nil {
		t.Fatal(err)
	}
	const at = 1500
	var scans []record.Scan
	_, err = replay.Prove(b, func(rec, _ *record.Scan) { scans = append(scans, *rec) })
	if err != nil || len(scans) < at+10 {
		t.Fatalf("%d scans, %v", len(scans), err)
	}
	b, err = recordedBatch(context.Background(), r, 1, &out)
	if err != nil {
		t.Fatal(err)
	}
	b.Here = "drumwright v1 plan9/abacus"
	res, err := replay.Prove(b, func(rec, _ *record.Scan) { rec.Bean.TrueC *= 1 + 1e-12 })
	if err != nil || !res.Equal || res.Rounding != replay.Rounding || !(res.Apart > 1e-13 && res.Apart < 1e-11) {
		t.Errorf("on a processor that rounds otherwise: %+v, %v", res, err)
	}
	for _, edit := range []func(*record.Scan){
		func(rec *record.Scan) { rec.Bean.TrueC *= 1 + 1e-5 },
		func(rec *record.Scan) { rec.Safety.HeatPermitted = !rec.Safety.HeatPermitted },
	} {
		if b, err = recordedBatch(context.Background(), r, 1, &out); err != nil {
			t.Fatal(err)
		}
		b.Here = "drumwright v1 plan9/abacus"
		if res, err := replay.Prove(b, func(rec, _ *record.Scan) { edit(rec) }); err != nil || res.Equal || res.First == nil {
			t.Errorf("what no rounding explains: %+v, %v", res, err)
		}
	}
	if b, err = recordedBatch(context.Background(), r, 1, &out); err != nil {
		t.Fatal(err)
	}
	n := 0
	var seen uint64
	res, err = replay.Prove(b, func(rec, got *record.Scan) {
		if n++; n == at { // the decision that was kept, not the one made now
			rec.Bean.TrueC = math.Nextafter(rec.Bean.TrueC, 1000)
			seen = rec.N
		}
	})
	if err != nil || res.Equal || res.First == nil || res.First.Scan != seen || res.First.Field != "Bean.TrueC" || res.First.Recorded == res.First.Replayed {
		t.Errorf("one bit of scan %d: %+v, %+v, %v", seen, res, res.First, err)
	}
}

// BenchmarkReplay tells how much faster than life a batch is decided again.
func BenchmarkReplay(b *testing.B) {
	path := filepath.Join(b.TempDir(), "j.db")
	tapeBatches(b, path, shortRoast, 1)
	r, err := journal.OpenReader(path)
	if err != nil {
		b.Fatal(err)
	}
	defer r.Close()
	var out replayResult
	lifeS := 0.0
	for b.Loop() {
		batch, err := recordedBatch(context.Background(), r, 1, &out)
		if err != nil {
			b.Fatal(err)
		}
		res, err := replay.Prove(batch, nil)
		if err != nil || !res.Equal {
			b.Fatal(res, err)
		}
		lifeS += res.ToS - res.FromS
	}
	b.ReportMetric(lifeS/b.Elapsed().Seconds(), "×real-time")
}
