package access

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"syscall"
	"time"

	"drumwright/io/record"
)

// Account is somebody who may sign in.
type Account struct {
	Name  string      `json:"name"`
	Role  record.Role `json:"role"`
	Hash  string      `json:"hash"` // of the password, argon2id
	Since time.Time   `json:"since"`
}

// MostAccounts is how many a file may hold.
const MostAccounts = 100

var plainName = regexp.MustCompile(`^[a-z0-9][a-z0-9._-]{0,31}$`)

// CheckName refuses what cannot be the name of an account.
func CheckName(name string) error {
	if !plainName.MatchString(name) {
		return fmt.Errorf("account %q: allowed are 1 to 32 of a-z, 0-9 and . _ -, with a letter or digit first", name)
	}
	return nil
}

// New makes an account with a password.
func New(name string, role record.Role, password string, now time.Time) (Account, error) {
	_, badRole := record.ParseRole(string(role))
	if err := errors.Join(CheckName(name), badRole, CheckPassword(name, password)); err != nil {
		return Account{}, err
	}
	return Account{name, role, hashPassword(password), now.UTC().Truncate(time.Second)}, nil
}

// FileOf is where the accounts of a journal are kept.
func FileOf(journal string) string { return journal + ".accounts" }

// Read reads a file of accounts; none is there if the file is not. A file that
// others than its owner may read is refused.
func Read(path string) ([]Account, error) {
	fail := func(err error) ([]Account, error) { return nil, fmt.Errorf("accounts %s: %w", path, err) }
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return fail(err)
	}
	defer f.Close()
	fi, err := f.Stat()
	if err != nil {
		return fail(err)
	}
	if fi.Mode().Perm()&0o077 != 0 || !fi.Mode().IsRegular() {
		return fail(fmt.Errorf("mode %v: others may read it; set it to 0600 and change the passwords", fi.Mode()))
	}
	if fi.Size() > 1<<20 {
		return fail(fmt.Errorf("%d bytes: too long for a file of accounts", fi.Size()))
	}
	d := json.NewDecoder(f)
	d.DisallowUnknownFields()
	var book struct{ Accounts []Account }
	if err := d.Decode(&book); err != nil {
		return fail(err)
	}
	for i, a := range book.Accounts {
		_, badRole := record.ParseRole(string(a.Role))
		_, badHash := parseHash(a.Hash)
		if err := errors.Join(CheckName(a.Name), badRole, badHash); err != nil {
			return fail(fmt.Errorf("account %d: %w", i+1, err))
		}
		if slices.ContainsFunc(book.Accounts[:i], func(b Account) bool { return b.Name == a.Name }) {
			return fail(fmt.Errorf("account %s stands there twice", a.Name))
		}
	}
	if len(book.Accounts) > MostAccounts {
		return fail(fmt.Errorf("%d accounts: at most %d", len(book.Accounts), MostAccounts))
	}
	return book.Accounts, nil
}

// Edit changes a file of accounts, which it makes if there is none: edit gets
// those that are there and returns those that shall be. The file changes as a
// whole or not at all; a running daemon takes it up by itself.
func Edit(path string, edit func([]Account) ([]Account, error)) error {
	lock, err := os.OpenFile(path+".lock", os.O_CREATE|os.O_RDWR|syscall.O_CLOEXEC, 0o600)
	if err != nil {
		return err
	}
	defer lock.Close()
	if err := syscall.Flock(int(lock.Fd()), syscall.LOCK_EX); err != nil {
		return fmt.Errorf("lock %s: %w", path, err)
	}
	list, err := Read(path)
	if err != nil {
		return err
	}
	if list, err = edit(list); err != nil {
		return err
	}
	if len(list) > MostAccounts {
		return fmt.Errorf("%d accounts: at most %d", len(list), MostAccounts)
	}
	slices.SortFunc(list, func(a, b Account) int { return bytes.Compare([]byte(a.Name), []byte(b.Name)) })
	text, err := json.MarshalIndent(map[string]any{"accounts": list}, "", "  ")
	if err != nil {
		return err
	}
	return replace(path, append(text, '\n'))
}

// replace puts a new file in the place of the old, for its owner only.
func replace(path string, text []byte) error {
	part := path + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	f, err := os.OpenFile(part, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer os.Remove(part)
	_, err = f.Write(text)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	// What root makes must be readable to the daemon, which owns the folder.
	if fi, err := os.Stat(filepath.Dir(path)); err == nil && os.Geteuid() == 0 {
		if st, ok := fi.Sys().(*syscall.Stat_t); ok {
			if err := errors.Join(os.Chown(part, int(st.Uid), int(st.Gid)), os.Chown(path+".lock", int(st.Uid), int(st.Gid))); err != nil {
				return err
			}
		}
	}
	return os.Rename(part, path)
}
