package main

import (
	"errors"
	"log/slog"
	"testing"
	"testing/fstest"

	"drumwright/safety"
)

// The files are laid out as proc_meminfo(5) and the kernel's documentation of the
// thermal interface (sysfs-class-thermal, millidegrees Celsius) say; the layout is
// from memory, compared with a running kernel.
func TestComputerIsRead(t *testing.T) {
	full := fstest.MapFS{
		"proc/meminfo":                          {Data: []byte("MemTotal:        1000000 kB\nMemFree:           20000 kB\nMemAvailable:     153000 kB\n")},
		"sys/class/thermal/thermal_zone0/temp":  {Data: []byte("61400\n")},
		"sys/class/thermal/thermal_zone1/temp":  {Data: []byte("83600\n")},
		"sys/class/thermal/thermal_zone10/temp": {Data: []byte("off\n")},
	}
	for _, c := range []struct {
		name string
		root fstest.MapFS
		mb   float64
		err  error
		want safety.Computer
	}{
		{"all there", full, 4321, nil, safety.Computer{CPUC: 84, MemoryFreePct: 15, DiskFreeMB: 4320}},
		{"a full disk is known", full, 0, nil, safety.Computer{CPUC: 84, MemoryFreePct: 15, DiskFreeMB: 1}},
		{"nothing to read", fstest.MapFS{}, 0, errors.New("gone"), safety.Computer{}},
		{"no memory left is known", fstest.MapFS{"proc/meminfo": {Data: []byte("MemTotal: 1000 kB\nMemAvailable: 0 kB\n")}}, 0, errors.New("gone"), safety.Computer{MemoryFreePct: 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := &computer{root: c.root, free: func(string) (float64, error) { return c.mb, c.err }, log: slog.New(slog.DiscardHandler)}
			b.look()
			if b.Now() != c.want {
				t.Errorf("%+v, want %+v", b.Now(), c.want)
			}
		})
	}
}
