package fieldbus

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"unsafe"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"

	"drumwright/profiles"
)

// openSerial opens the port of a line for this process alone.
func openSerial(r *profiles.RTU) (port, error) {
	if r.Direction == "kernel" {
		if err := driveByKernel(r.Device); err != nil {
			return nil, err
		}
	}
	p, err := serial.Open(r.Device, modeOf(r))
	if err != nil {
		return nil, explained(r.Device, err)
	}
	return p, nil
}

// explained says what to do about a port that cannot be opened.
func explained(device string, err error) error {
	var pe *serial.PortError
	code := serial.PortErrorCode(-1)
	if errors.As(err, &pe) {
		code = pe.Code()
	}
	switch {
	case code == serial.PermissionDenied || errors.Is(err, fs.ErrPermission):
		group := groupOf(device)
		return fmt.Errorf("%s may not be opened by this user: it belongs to the group %s; add the user with \"usermod -aG %s USER\" and start anew", device, group, group)
	case code == serial.PortBusy || errors.Is(err, syscall.EBUSY):
		return fmt.Errorf("%s is held by another program; end that first: two masters on one line spoil each other's replies", device)
	case code == serial.PortNotFound || errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENXIO) || errors.Is(err, syscall.ENODEV):
		return fmt.Errorf("%s is not there; %s", device, adapters("/dev/serial/by-id"))
	}
	return fmt.Errorf("%s: %w", device, err)
}

// groupOf names the group that a device belongs to.
func groupOf(device string) string {
	info, err := os.Stat(device)
	if err != nil {
		return "that owns it"
	}
	id := strconv.FormatUint(uint64(info.Sys().(*syscall.Stat_t).Gid), 10)
	if g, err := user.LookupGroupId(id); err == nil {
		return g.Name
	}
	return id
}

// adapters lists what is plugged in, by the names that survive re-plugging.
func adapters(folder string) string {
	found, _ := filepath.Glob(filepath.Join(folder, "*")) // the pattern is right
	if len(found) == 0 {
		return "no serial adapter is plugged in under " + folder
	}
	return "plugged in: " + strings.Join(found, ", ")
}

// rs485 is struct serial_rs485 of the Linux interface for RS-485 drivers; the
// request is TIOCSRS485 (linux/serial.h, asm-generic/ioctls.h).
type rs485 struct {
	flags                 uint32
	beforeSend, afterSend uint32 // ms
	_                     [5]uint32
}

const (
	rs485Enabled   = 1 << 0
	rs485RTSOnSend = 1 << 1
	tiocsRS485     = 0x542F
)

// driveByKernel has the driver of the port switch the transceiver over to
// sending by RTS, in its interrupt, which no program could do in time. It must be
// done before the port is taken for this process alone.
func driveByKernel(device string) error {
	fd, err := unix.Open(device, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return explained(device, err)
	}
	defer unix.Close(fd)
	s := rs485{flags: rs485Enabled | rs485RTSOnSend}
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), tiocsRS485, uintptr(unsafe.Pointer(&s))); errno != 0 {
		return fmt.Errorf("%s: its driver does not switch the direction (%w); take \"direction: kernel\" out if the adapter does it by itself", device, errno)
	}
	return nil
}
