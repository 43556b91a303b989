package doctor

import (
	"os"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
)

// Who is the user that the daemon runs as.
type Who struct {
	Name   string
	ID     string
	Groups []string // ids
}

// Daemon is the packaged user where there is one, or whoever asks.
func Daemon() (Who, error) {
	u, err := user.Lookup("drumwright")
	if err != nil {
		u, err = user.Current()
	}
	if err != nil {
		return Who{}, err
	}
	groups, err := u.GroupIds()
	return Who{Name: u.Username, ID: u.Uid, Groups: groups}, err
}

// may reports whether the mode of a file lets a user read and write it.
func (w Who) may(info os.FileInfo) bool {
	owner := info.Sys().(*syscall.Stat_t)
	mode := info.Mode().Perm()
	switch {
	case w.ID == "0":
		return true
	case strconv.FormatUint(uint64(owner.Uid), 10) == w.ID:
		return mode&0o600 == 0o600
	case slices.Contains(w.Groups, strconv.FormatUint(uint64(owner.Gid), 10)):
		return mode&0o060 == 0o060
	}
	return mode&0o006 == 0o006
}

// Serial looks at the device of a serial bus: there, permitted, and by a name
// that stays.
func Serial(bus, device string, w Who) Finding {
	what := "bus " + bus
	f := good(what, "%s is there, and %s may use it", device, w.Name)
	info, err := os.Stat(device)
	if err != nil {
		f.Said = device + " is not there"
		return f.but(Fault, "plug the adapter in; what is plugged in stands under /dev/serial/by-id")
	}
	if !w.may(info) {
		group := strconv.FormatUint(uint64(info.Sys().(*syscall.Stat_t).Gid), 10)
		if g, err := user.LookupGroupId(group); err == nil {
			group = g.Name
		}
		f.Said = device + " is there, but " + w.Name + " may not use it"
		return f.but(Fault, "usermod -aG "+group+" "+w.Name+", then start the daemon anew")
	}
	if real, err := filepath.EvalSymlinks(device); err == nil && real == device && strings.HasPrefix(filepath.Base(device), "ttyUSB") {
		f.Said = device + " is a number that changes when adapters are plugged in another order"
		return f.but(Warning, "name it as under /dev/serial/by-id in the machine file")
	}
	return f
}
