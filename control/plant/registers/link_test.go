package registers

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"drumwright/profiles"
)

func TestLinkAtTheFilesPath(t *testing.T) {
	folder := t.TempDir()
	at := func(name string) (*profiles.Machine, string) {
		m := example(t, "lark-300")
		path := filepath.Join(folder, name)
		rtu := *m.BusList[0].RTU
		rtu.Device = path
		m.BusList[0].RTU = &rtu
		return m, path
	}
	t.Run("nothing there", func(t *testing.T) {
		m, path := at("free")
		s := simulated(t, m)
		if err := s.Listen(false); err != nil {
			t.Fatal(err)
		}
		pts := m.BusList[0].RTU.Device
		want := "bus line: Modbus RTU on " + pts + ", 57600 baud, parity even, linked from " + path
		if got := s.Addresses(); len(got) != 1 || got[0] != want {
			t.Errorf("addresses %q, want %q", got, want)
		}
		c := newMaster(t, path)
		c.read(2, 0)
		c.hear(oneReading)
		s.Close()
		if _, err := os.Lstat(path); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("after Close the link is still there: %v", err)
		}
	})
	t.Run("free ports asked for", func(t *testing.T) {
		m, path := at("any")
		listen(t, simulated(t, m))
		if _, err := os.Lstat(path); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("a link was made: %v", err)
		}
	})
	// keeps serves a machine at a path where something is, and returns where
	// that leads while it is served and afterwards.
	keeps := func(t *testing.T, name string, put func(path string) error) (during, after, pts string) {
		m, path := at(name)
		if err := put(path); err != nil {
			t.Fatal(err)
		}
		s := simulated(t, m)
		if err := s.Listen(false); err != nil {
			t.Fatal(err)
		}
		during, _ = os.Readlink(path)
		s.Close()
		after, _ = os.Readlink(path)
		return during, after, m.BusList[0].RTU.Device
	}
	t.Run("link of a killed simulator", func(t *testing.T) {
		during, after, pts := keeps(t, "stale", func(p string) error { return os.Symlink("/dev/pts/999999", p) })
		if during != pts || after != "" {
			t.Errorf("leads to %q, then %q; want %q, then nowhere", during, after, pts)
		}
	})
	t.Run("link of another simulator", func(t *testing.T) {
		other, err := openPTY()
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(other.close)
		during, after, _ := keeps(t, "other", func(p string) error { return os.Symlink(other.path, p) })
		if during != other.path || after != during {
			t.Errorf("leads to %q, then %q; want %q all the time", during, after, other.path)
		}
	})
	t.Run("device plugged in while served", func(t *testing.T) {
		m, path := at("plugged")
		s := simulated(t, m)
		if err := s.Listen(false); err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(os.Remove(path), os.Symlink("/dev/ttyUSB999", path)); err != nil {
			t.Fatal(err)
		}
		s.Close()
		if now, _ := os.Readlink(path); now != "/dev/ttyUSB999" {
			t.Errorf("after Close the path leads to %q", now)
		}
	})
	t.Run("link to a real device that is unplugged", func(t *testing.T) {
		during, after, _ := keeps(t, "unplugged", func(p string) error { return os.Symlink("/dev/ttyUSB999", p) })
		if during != "/dev/ttyUSB999" || after != during {
			t.Errorf("leads to %q, then %q", during, after)
		}
	})
	t.Run("a file", func(t *testing.T) {
		var path string
		keeps(t, "file", func(p string) error { path = p; return os.WriteFile(p, []byte("mine"), 0o600) })
		if b, err := os.ReadFile(path); err != nil || string(b) != "mine" {
			t.Errorf("file holds %q, %v", b, err)
		}
	})
}

// A bus that cannot be opened leaves none of the others open.
func TestListenFailsWhole(t *testing.T) {
	m := example(t, "lark-300")
	path := filepath.Join(t.TempDir(), "line")
	m.BusList[0].RTU.Device = path
	m.BusList = append(m.BusList, profiles.Bus{Name: "far", BusFile: profiles.BusFile{TCP: &profiles.TCP{Host: "192.0.2.1", Port: 1}}})
	if err := simulated(t, m).Listen(false); err == nil {
		t.Fatal("an address of nobody's could be opened")
	}
	if _, err := os.Lstat(path); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the link of the first bus is still there: %v", err)
	}
}
