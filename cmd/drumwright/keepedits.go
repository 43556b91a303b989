package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"drumwright/cmd/drumwright/internal/amend"
	"drumwright/profiles"
	"drumwright/safety"
)

// keepEdits writes changes into the machine file, once a person has said so.
// The file as it was stays beside it, and each earlier value in it as a comment.
// What comes out is read and checked as any machine file before it is written.
func keepEdits(ctx context.Context, m *profiles.Machine, edits []amend.Edit, accepted bool, p *terminal) error {
	before, err := os.ReadFile(m.File)
	if errors.Is(err, os.ErrNotExist) {
		p.say("The machine is a shipped one and not changed: copy its file first.")
		return nil
	}
	if err != nil {
		return err
	}
	now := time.Now()
	after, err := amend.Apply(before, edits, now.Format(time.DateOnly))
	if err != nil {
		return err
	}
	changed, err := m.Changed(after)
	if err == nil {
		_, err = safety.Exceptions(changed, "")
	}
	if err != nil {
		return fmt.Errorf("the changed machine file would not be taken, nothing is written: %w", err)
	}
	if !accepted {
		answer, err := p.ask(ctx, fmt.Sprintf("Write this into %s? Type yes to do it:", m.File))
		if errors.Is(err, errNoInput) {
			p.say("")
		} else if err != nil && !errors.Is(err, errEnough) {
			return err
		}
		if answer != "yes" {
			p.say("Nothing is written.")
			return nil
		}
	}
	backup := fmt.Sprintf("%s.before-%s", m.File, now.Format("20060102-150405"))
	err = writeAnew(backup, before)
	for n := 2; errors.Is(err, os.ErrExist) && n < 100; n++ { // two changes within one second
		backup = fmt.Sprintf("%s.before-%s.%d", m.File, now.Format("20060102-150405"), n)
		err = writeAnew(backup, before)
	}
	if err != nil {
		return err
	}
	if now, err := os.ReadFile(m.File); err != nil || !bytes.Equal(now, before) {
		return errors.Join(err, fmt.Errorf("%s has changed meanwhile: nothing is written", m.File))
	}
	if err := replaceFile(m.File, after); err != nil {
		return err
	}
	p.say("Written. The file as it was: %s. The daemon takes it at its next start.", backup)
	return nil
}

// writeAnew writes a file that must not be there yet.
func writeAnew(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Sync(), f.Close())
}

// replaceFile puts new contents in place of a file's, all or nothing.
func replaceFile(path string, data []byte) error {
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return err
	}
	info, err := os.Stat(real)
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(real), filepath.Base(real)+".new-*")
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Chmod(info.Mode().Perm()), f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), real)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}
