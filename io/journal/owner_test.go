package journal

import (
	"context"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// What an administrator begins before the daemon has ever run, or brings back from a
// backup, is the daemon's: it runs as the owner of the folder.
func TestJournalMadeByRootIsTheFoldersOwners(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("only root can make a file that is another's")
	}
	const daemon = 4711
	folder := t.TempDir()
	if err := os.Chown(folder, daemon, daemon); err != nil {
		t.Fatal(err)
	}
	check := func(when, path string) {
		t.Helper()
		found, err := filepath.Glob(path + "*")
		if err != nil || len(found) < 2 {
			t.Fatalf("%s: %v, %v", when, found, err)
		}
		for _, f := range found {
			info, err := os.Stat(f)
			if err != nil {
				t.Fatal(err)
			}
			if o := info.Sys().(*syscall.Stat_t); o.Uid != daemon || o.Gid != daemon {
				t.Errorf("%s: %s belongs to %d", when, filepath.Base(f), o.Uid)
			}
		}
	}
	path := filepath.Join(folder, "drumwright.db")
	s, err := Open(path, Config{})
	if err != nil {
		t.Fatal(err)
	}
	check("open", path)
	backup := filepath.Join(t.TempDir(), "backup.db")
	if _, err := Backup(context.Background(), path, backup); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	restored := filepath.Join(folder, "restored.db")
	if _, err := Restore(context.Background(), backup, restored, "unread"); err != nil {
		t.Fatal(err)
	}
	check("restore", restored)
}
