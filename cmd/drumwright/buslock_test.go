package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drumwright/profiles"
)

func machineOn(buses ...profiles.BusFile) *profiles.Machine {
	m := &profiles.Machine{}
	for i, b := range buses {
		m.BusList = append(m.BusList, profiles.Bus{Name: fmt.Sprint("bus", i), BusFile: b})
	}
	return m
}

func tcpBus(host string, port int) profiles.BusFile {
	return profiles.BusFile{TCP: &profiles.TCP{Host: host, Port: port}}
}

func rtuBus(device string) profiles.BusFile {
	return profiles.BusFile{RTU: &profiles.RTU{Device: device}}
}

// However a bus is written, it has one lock; the lock names the process that has
// it, and goes with it.
func TestBusLock(t *testing.T) {
	dir := t.TempDir()
	folders := []string{filepath.Join(dir, "locks")}
	device, link := filepath.Join(dir, "ttyUSB0"), filepath.Join(dir, "bus-heater")
	if err := os.WriteFile(device, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(device, link); err != nil {
		t.Fatal(err)
	}
	for _, pair := range [][2]profiles.BusFile{
		{tcpBus("127.0.0.1", 502), tcpBus("LOCALHOST", 502)},
		{tcpBus("::1", 502), tcpBus("::1", 502)},
		{rtuBus(device), rtuBus(link)},
	} {
		first, err := lockBuses(machineOn(pair[0]), folders)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := lockBuses(machineOn(pair[1]), folders); err == nil || !strings.Contains(err.Error(), fmt.Sprintf("process %d", os.Getpid())) || !strings.Contains(err.Error(), "bus0") {
			t.Errorf("%s: %v", lockName(&pair[1]), err)
		}
		first.release()
		again, err := lockBuses(machineOn(pair[1]), folders)
		if err != nil {
			t.Errorf("after its end: %v", err)
		}
		again.release()
	}
}

// All buses of a machine or none; others are not concerned.
func TestBusLocksAreAllOrNone(t *testing.T) {
	folders := []string{filepath.Join(t.TempDir(), "locks")}
	second, err := lockBuses(machineOn(tcpBus("gateway", 503)), folders)
	if err != nil {
		t.Fatal(err)
	}
	defer second.release()
	if _, err := lockBuses(machineOn(tcpBus("gateway", 502), tcpBus("gateway", 503)), folders); err == nil {
		t.Fatal("a bus that is locked was locked again")
	}
	free, err := lockBuses(machineOn(tcpBus("gateway", 502), tcpBus("other", 503)), folders)
	if err != nil {
		t.Errorf("the first bus of a refused machine stays locked: %v", err)
	}
	free.release()
}

// The next folder is taken where the first cannot be; without any nothing runs.
func TestBusLockFolders(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	m := machineOn(tcpBus("gateway", 502))
	locks, err := lockBuses(m, []string{filepath.Join(file, "no"), filepath.Join(dir, "yes")})
	if err != nil {
		t.Fatal(err)
	}
	locks.release()
	if _, err := lockBuses(m, []string{filepath.Join(file, "no")}); err == nil {
		t.Error("no lock, and no error")
	}
}
