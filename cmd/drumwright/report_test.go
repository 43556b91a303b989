package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"drumwright/io/journal"
	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// keptDay is a journal of batches of 90 s; every batch drops at 207 °C, but the
// last at 210.
func keptDay(t *testing.T, batches int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "j.db")
	s, err := journal.Open(path, journal.Config{AirW: 3000, BaseW: 1200, QueueLen: 1 << 16})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for id := 1; id <= batches; id++ {
		for i := range 101 { // scans a second apart
			sc := recordtest.At(10 * n)
			n++
			b := &sc.Batch
			*b = record.Batch{ID: uint64(id), Recipe: "plain", GreenKg: 1, SinceS: float64(i), TargetDropC: 207}
			if i == 0 {
				sc.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneCharge})
			}
			if i >= 20 {
				b.TurnS, b.TurnC = 20, 92
			}
			if i >= 90 {
				b.FirstCrackS, b.DropS, b.DropC, b.LossAtDrop = 70, 90, 207+float64(id%3)*0.1, 0.14
				if id == batches {
					b.DropC = 210
				}
			}
			if i == 100 {
				sc.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneCooled})
			}
			s.Put(&sc)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

func printed(t *testing.T, want int, args ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run(context.Background(), args, strings.NewReader(""), &out, &errs); code != want {
		t.Fatalf("%v: code %d, want %d: %s%s", args, code, want, out.String(), errs.String())
	}
	return out.String() + errs.String()
}

func TestReportsFromTheJournal(t *testing.T) {
	peertest.OnceIsEnough(t)
	j := keptDay(t, 12)
	printed(t, 0, "batches", "set", "12", "lot=Gesha 12", "note=<b>late</b>", "cup.total=86", "--who", "Ada", "--journal", j)
	month := recordtest.Start.Local().Format("2006-01")
	for _, x := range []struct {
		args []string
		want []string
	}{
		{[]string{"12"}, []string{"Batch 12", "Above target: dropped", "not weighed", "&lt;b&gt;late&lt;/b&gt;", "0.05 kWh/kg", "class=\"ring\"", "last 11 batches"}}, // 90 s at 3000×0.625 + 1200×0.25 W are 0.054 kWh
		{[]string{"--compare", "12,1,2,3"}, []string{"Batch 12 stands out in drop − target: 3.0 °C, the others&#39; middle is 0.1 °C", "Another green coffee than batch 12: 1, 2, 3."}},
		{[]string{"--compare", "1,2,3", "--at", "first-crack"}, []string{"Batch 1 is like the others", "since first crack"}},
		{[]string{"--lot", "gesha 12"}, []string{"Green coffee Gesha 12", "Too few batches for limits"}},
		{[]string{"--month", month}, []string{"More than chance has moved: drop − target.", "Beyond the limit of one batch: 12.", "12 of 12 batches were not weighed", "roasted kg of all", ", estimated<"}},
	} {
		page := printed(t, 0, append([]string{"report", "--journal", j, "-o", "-"}, x.args...)...)
		for _, want := range x.want {
			if !strings.Contains(page, want) {
				t.Errorf("%v: the page does not say %q", x.args, want)
			}
		}
		if strings.Contains(page, "<b>") || strings.Contains(page, "NaN") {
			t.Errorf("%v: the page holds markup of a note, or NaN", x.args)
		}
	}
	for _, args := range [][]string{{}, {"1", "--lot", "x"}, {"x"}, {"--compare", "1"}, {"--compare", "1,1"}, {"--compare", "1,2", "--at", "drop"}, {"--month", "2026"}} {
		printed(t, 2, append([]string{"report", "--journal", j, "-o", "-"}, args...)...)
	}
	for _, args := range [][]string{{"99"}, {"--compare", "1,99"}, {"--lot", "none"}, {"--month", "1999-01"}} {
		printed(t, 1, append([]string{"report", "--journal", j, "-o", "-"}, args...)...)
	}
}

func TestBatchesBackupAndExport(t *testing.T) {
	j := keptDay(t, 3)
	at := []string{"--journal", j}
	printed(t, 0, append([]string{"batches", "tag", "2", "Sample", "--who", "Ada"}, at...)...)
	if text := printed(t, 0, append([]string{"batches", "--tag", "sample"}, at...)...); !strings.Contains(text, "~14.0 %") || strings.Count(text, "plain") != 1 {
		t.Errorf("by tag: %s", text)
	}
	if text := printed(t, 0, append([]string{"batches", "show", "2"}, at...)...); !strings.Contains(text, "Ada: tag sample = yes") {
		t.Errorf("shown: %s", text)
	}
	printed(t, 2, append([]string{"batches", "note", "2", "x"}, at...)...)                  // by nobody
	printed(t, 2, append([]string{"batches", "set", "2", "lot", "--who", "Ada"}, at...)...) // no value
	printed(t, 2, append([]string{"batches", "--from", "yesterday"}, at...)...)             // no day
	printed(t, 1, append([]string{"batches", "note", "9", "x", "--who", "Ada"}, at...)...)  // no batch
	dir := t.TempDir()
	printed(t, 0, append([]string{"backup", dir + "/b.db"}, at...)...)
	printed(t, 1, append([]string{"backup", dir + "/b.db"}, at...)...)
	if text := printed(t, 0, "restore", dir+"/b.db", "--journal", dir+"/new.db"); !strings.Contains(text, "is restored") {
		t.Error(text)
	}
	csv := printed(t, 0, append([]string{"export", "--what", "samples", "--format", "csv", "--batch", "2"}, at...)...)
	lines := strings.Split(strings.TrimSpace(csv), "\n")
	if len(lines) != 1+101 || !strings.HasPrefix(lines[0], "batch,time,") || !strings.HasPrefix(lines[1], "2,"+strconv.Itoa(recordtest.Start.Year())) {
		t.Errorf("%d lines: %s %s", len(lines), lines[0], lines[1])
	}
	if text := printed(t, 0, append([]string{"export", "--format", "json"}, at...)...); strings.Count(text, `"recipe":"plain"`) != 3 {
		t.Errorf("export of batches: %s", text)
	}
	if text := printed(t, 0, append([]string{"export"}, at...)...); strings.Count(text, "\n") != 4 {
		t.Errorf("export of batches: %s", text)
	}
	if text := printed(t, 0, "export", "--columns"); !strings.Contains(text, "off_curve_rms_c") || !strings.Contains(text, "share of green mass") {
		t.Errorf("columns: %s", text)
	}
	if _, err := os.Stat(dir + "/b.db.part"); err == nil {
		t.Error("a part of a backup is left")
	}
}

// What people and files write stays text in every report, and no formula in a table
// for a spreadsheet (OWASP, CSV Injection: a cell that begins with = + - or @).
func TestReportsShowTextAsText(t *testing.T) {
	peertest.OnceIsEnough(t)
	const bad = `=1+1"'></td></script><script>alert(1)</script><img src=x onerror=alert(1)>`
	j := keptDay(t, 3)
	printed(t, 0, "batches", "set", "3", "lot="+bad, "note="+bad, "cup_comments="+bad, "cup.total=86", "--who", bad[:40], "--journal", j)
	printed(t, 0, "batches", "set", "2", "lot="+bad, "--who", "Ada", "--journal", j)
	for _, args := range [][]string{{"3"}, {"--compare", "3,1,2"}, {"--lot", bad}, {"--month", recordtest.Start.Local().Format("2006-01")}} {
		page := printed(t, 0, append([]string{"report", "--journal", j, "-o", "-"}, args...)...)
		if strings.Contains(page, "<script") || strings.Contains(page, "<img") {
			t.Errorf("%v: a text has become an element", args)
		}
		if args[0] != "--month" && !strings.Contains(page, "&lt;/") && !strings.Contains(page, "=1&#43;1") {
			t.Errorf("%v: the text is not shown at all", args)
		}
	}
	table := printed(t, 0, "export", "--what", "batches", "--format", "csv", "--journal", j)
	if strings.Contains(table, `,"=1`) || strings.Contains(table, ",=1") || !strings.Contains(table, "=1+1") {
		t.Errorf("a cell begins with a formula: %s", table)
	}
}
