package registers

import (
	"errors"
	"io/fs"
	"os"
	"strings"
)

// link makes path lead to the pseudo-terminal, so that an unchanged machine
// file works. It does so only where there is nothing at path, or a link that a
// killed simulator has left, and reports whether it did.
func link(path, pts string) bool {
	if old, err := os.Readlink(path); err == nil && strings.HasPrefix(old, "/dev/pts/") {
		if _, err := os.Stat(old); errors.Is(err, fs.ErrNotExist) {
			os.Remove(path)
		}
	}
	return os.Symlink(pts, path) == nil
}

// unlink takes the link back, if it is still the one.
func unlink(path, pts string) {
	if now, err := os.Readlink(path); err == nil && now == pts {
		os.Remove(path)
	}
}
