package journal

import (
	"fmt"
	"os"
	"syscall"
)

// lockFile takes the lock that keeps a second writer away: it would take the
// batch that the first has open for one that was left behind. The lock goes
// with the process, however that ends.
func lockFile(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR|syscall.O_CLOEXEC, 0o640)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		return nil, fmt.Errorf("%s is locked (%w): another drumwright keeps this journal; stop it or name another file", path, err)
	}
	return f, nil
}
