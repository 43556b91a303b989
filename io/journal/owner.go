package journal

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// giveToFolder gives a journal that root has made, or works on, to the owner of its
// folder: the daemon, which runs as a user of its own, must be able to go on with it.
func giveToFolder(path string) error {
	if os.Geteuid() != 0 {
		return nil
	}
	info, err := os.Stat(filepath.Dir(path))
	if err != nil {
		return err
	}
	owner, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return nil
	}
	for _, end := range []string{"", "-wal", "-shm", ".lock"} {
		if err := os.Chown(path+end, int(owner.Uid), int(owner.Gid)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}
