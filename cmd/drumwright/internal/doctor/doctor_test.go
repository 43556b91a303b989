package doctor

import (
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

func TestClock(t *testing.T) {
	now := time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name   string
		now    time.Time
		state  int
		status int32
		err    error
		want   Grade
	}{
		{"synchronised", now, unix.TIME_OK, 0, nil, Good},
		{"leap second announced", now, unix.TIME_INS, 0, nil, Good},
		{"not synchronised, by state", now, unix.TIME_ERROR, 0, nil, Warning},
		{"not synchronised, by status", now, unix.TIME_OK, 0x40, nil, Warning},
		{"no battery: the epoch", time.Unix(0, 0), unix.TIME_ERROR, 0x40, nil, Fault},
		{"kernel does not say", now, 0, 0, errors.New("no"), Unknown},
	} {
		if f := judgeClock(c.now, c.state, c.status, time.Millisecond, c.err); f.Grade != c.want || (f.Do == "") != (c.want == Good || c.want == Unknown) {
			t.Errorf("%s: %+v, want %s", c.name, f, c.want)
		}
	}
}

func TestDisk(t *testing.T) {
	const gib = 1 << 30
	for _, c := range []struct {
		name string
		f    Finding
		want Grade
	}{
		{"room", judgeSpace("/x", 8*gib, 16*gib, 1e6, 9e5, false), Good},
		{"little room", judgeSpace("/x", gib/2, 16*gib, 1e6, 9e5, false), Warning},
		{"full", judgeSpace("/x", 1<<20, 16*gib, 1e6, 9e5, false), Fault},
		{"few files left", judgeSpace("/x", 8*gib, 16*gib, 1e6, 5, false), Warning},
		{"a file system without inodes", judgeSpace("/x", 8*gib, 16*gib, 0, 0, false), Good},
		{"read only", judgeSpace("/x", 8*gib, 16*gib, 1e6, 9e5, true), Fault},
		{"quick", judgeSpeed(2*time.Millisecond, 90*time.Millisecond), Good},
		{"slow", judgeSpeed(300*time.Millisecond, 400*time.Millisecond), Warning},
		{"stalls", judgeSpeed(2*time.Millisecond, 3*time.Second), Warning},
		{"new", judgeWear("x", "0x01 0x01\n"), Good},
		{"worn", judgeWear("x", "0x01 0x09\n"), Warning},
		{"beyond", judgeWear("x", "0x0b 0x01\n"), Fault},
		{"not told", judgeWear("x", "0x00 0x00\n"), Unknown},
		{"nonsense", judgeWear("x", "young"), Unknown},
	} {
		if c.f.Grade != c.want {
			t.Errorf("%s: %+v, want %s", c.name, c.f, c.want)
		}
	}
}

func TestSpeedLeavesNothing(t *testing.T) {
	folder := t.TempDir()
	if f := Speed(folder); f.Grade == Fault {
		t.Errorf("%+v", f)
	}
	if left, err := os.ReadDir(folder); err != nil || len(left) != 0 {
		t.Errorf("left %v, %v", left, err)
	}
	if f := Speed(filepath.Join(folder, "gone")); f.Grade != Fault {
		t.Errorf("a folder that is not there: %+v", f)
	}
}

// The life time of the disk is told beside the disk, not beside its partition.
func TestWearIsFoundThroughThePartition(t *testing.T) {
	folder, sys := t.TempDir(), t.TempDir()
	var s unix.Stat_t
	if err := unix.Stat(folder, &s); err != nil {
		t.Fatal(err)
	}
	disk := filepath.Join(sys, "devices", "mmcblk0")
	if err := errors.Join(os.MkdirAll(filepath.Join(disk, "mmcblk0p2"), 0o755), os.MkdirAll(filepath.Join(disk, "device"), 0o755),
		os.WriteFile(filepath.Join(disk, "device", "life_time"), []byte("0x02 0x0b\n"), 0o644), os.MkdirAll(filepath.Join(sys, "dev", "block"), 0o755)); err != nil {
		t.Fatal(err)
	}
	number := func() string {
		return strconv.Itoa(int(unix.Major(uint64(s.Dev)))) + ":" + strconv.Itoa(int(unix.Minor(uint64(s.Dev))))
	}
	if err := os.Symlink(filepath.Join(disk, "mmcblk0p2"), filepath.Join(sys, "dev", "block", number())); err != nil {
		t.Fatal(err)
	}
	if f := Wear(folder, sys); f.Grade != Fault || !strings.Contains(f.Said, "mmcblk0 is beyond") {
		t.Errorf("%+v", f)
	}
	if f := Wear(folder, t.TempDir()); f.Grade != Unknown {
		t.Errorf("nothing told: %+v", f)
	}
}

func TestSerial(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "ttyUSB0")
	if err := os.WriteFile(file, nil, 0o660); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(folder, "usb-adapter-port0")
	if err := os.Symlink(file, link); err != nil {
		t.Fatal(err)
	}
	me, stranger := Who{Name: "root", ID: "0"}, Who{Name: "ada", ID: "54321"}
	for _, c := range []struct {
		device string
		who    Who
		want   Grade
		say    string
	}{
		{link, me, Good, ""},
		{file, me, Warning, "by-id"},
		{link, stranger, Fault, "usermod -aG "},
		{filepath.Join(folder, "gone"), me, Fault, "plug"},
	} {
		if f := Serial("line", c.device, c.who); f.Grade != c.want || !strings.Contains(f.Do, c.say) {
			t.Errorf("%s for %s: %+v, want %s", c.device, c.who.Name, f, c.want)
		}
	}
}

func TestHowTheDaemonFared(t *testing.T) {
	read := func(text string) Metrics {
		m, err := ReadMetrics(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	m := read(`# HELP drumwright_bus_requests_total Requests.
drumwright_bus_requests_total{bus="a"} 1e+06
drumwright_bus_errors_total{bus="a"} 3
drumwright_bus_requests_total{bus="b"} 1000
drumwright_bus_errors_total{bus="b"} 2
drumwright_bus_requests_total{bus="c"} 1000
drumwright_bus_errors_total{bus="c"} 200
drumwright_scans_total 36000
drumwright_scan_overruns_total 0
drumwright_scan_period_seconds 0.1
drumwright_scan_lateness_seconds_sum 21.6
drumwright_scan_read_seconds 0.02
drumwright_scan_write_seconds 0.01
drumwright_dropped_total{sink="journal",what="samples"} 0
nonsense
`)
	for i, want := range []Grade{Good, Warning, Fault, Fault} {
		if f := Buses(m, []string{"a", "b", "c", "never opened"})[i]; f.Grade != want {
			t.Errorf("%+v, want %s", f, want)
		}
	}
	if f := Rhythm(m); f.Grade != Good || !strings.Contains(f.Said, "0.6 ms late") || !strings.Contains(f.Said, "30 of 100 ms") {
		t.Errorf("%+v", f)
	}
	if f := Kept(m); f.Grade != Good {
		t.Errorf("%+v", f)
	}
	for _, c := range []struct {
		series string
		value  float64
		want   Grade
	}{{"drumwright_scan_overruns_total", 100, Warning}, {"drumwright_scan_overruns_total", 1000, Fault}, {"drumwright_scans_total", 0, Fault}} {
		m[c.series] = c.value
		if f := Rhythm(m); f.Grade != c.want {
			t.Errorf("%s %v: %+v, want %s", c.series, c.value, f, c.want)
		}
	}
	m[`drumwright_dropped_total{sink="journal",what="samples"}`] = 4
	if f := Kept(m); f.Grade != Warning {
		t.Errorf("%+v", f)
	}
}

func TestWorst(t *testing.T) {
	g := func(grades ...Grade) (list []Finding) {
		for _, x := range grades {
			list = append(list, Finding{Grade: x})
		}
		return list
	}
	for _, c := range []struct {
		list []Finding
		want Grade
	}{{nil, Good}, {g(Good, Unknown), Good}, {g(Warning, Good), Warning}, {g(Fault, Warning), Fault}, {g(Warning, Fault), Fault}} {
		if got := Worst(c.list); got != c.want {
			t.Errorf("%v: %s, want %s", c.list, got, c.want)
		}
	}
}
