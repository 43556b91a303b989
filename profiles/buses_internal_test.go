package profiles

import (
	"errors"
	"testing"
)

func TestSimulatedBuses(t *testing.T) {
	links := func(path string) (string, error) {
		switch path {
		case "/tmp/roaster":
			return "/dev/pts/7", nil
		case "/dev/gone":
			return "", errors.New("no such file")
		}
		return path, nil
	}
	for _, c := range []struct {
		bus  BusFile
		want bool
	}{
		{BusFile{TCP: &TCP{Host: "127.0.0.1"}}, true},
		{BusFile{TCP: &TCP{Host: "127.9.0.3"}}, true},
		{BusFile{TCP: &TCP{Host: "::1"}}, true},
		{BusFile{TCP: &TCP{Host: "localhost"}}, true},
		{BusFile{TCP: &TCP{Host: "192.168.1.5"}}, false},
		{BusFile{TCP: &TCP{Host: "127.0.0.1.example"}}, false},
		{BusFile{TCP: &TCP{Host: "localhost.example"}}, false},
		{BusFile{RTU: &RTU{Device: "/dev/pts/3"}}, true},
		{BusFile{RTU: &RTU{Device: "/tmp/roaster"}}, true},
		{BusFile{RTU: &RTU{Device: "/dev/ttyUSB0"}}, false},
		{BusFile{RTU: &RTU{Device: "/dev/pts/../ttyUSB0"}}, false},
		{BusFile{RTU: &RTU{Device: "/dev/gone"}}, false},
		{BusFile{}, false},
	} {
		b := Bus{BusFile: c.bus}
		if got := b.simulated(links); got != c.want {
			t.Errorf("%+v %+v: got %v, want %v", c.bus.TCP, c.bus.RTU, got, c.want)
		}
	}
}
