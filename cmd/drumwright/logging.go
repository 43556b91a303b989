package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"sync"
	"syscall"
)

// newLog makes the log of the daemon at a level that can be changed while it runs.
func newLog(w io.Writer, level string) (*slog.Logger, *slog.LevelVar, error) {
	var l slog.Level
	if err := l.UnmarshalText([]byte(level)); err != nil {
		return nil, nil, exitError{codeInput, fmt.Errorf("--log %q: allowed are debug, info, warn and error", level)}
	}
	v := &slog.LevelVar{}
	v.Set(l)
	if toJournal(w) {
		return slog.New(newJournald(w, v)), v, nil
	}
	return slog.New(slog.NewTextHandler(w, &slog.HandlerOptions{Level: v})), v, nil
}

// obey changes the level on signals until stopped: SIGUSR1 says everything, with
// SIGUSR2 it is as at the start again. Whoever may signal the process may stop it
// too, so no right is given away.
func obey(log *slog.Logger, level *slog.LevelVar) (stop func()) {
	asStarted := level.Level()
	asked := make(chan os.Signal, 1)
	signal.Notify(asked, syscall.SIGUSR1, syscall.SIGUSR2)
	var work sync.WaitGroup
	work.Go(func() {
		for s := range asked {
			if level.Set(asStarted); s == syscall.SIGUSR1 {
				level.Set(slog.LevelDebug)
			}
			log.Info("the log tells another level from now on", "level", level.Level().String())
		}
	})
	return func() {
		signal.Stop(asked)
		close(asked)
		work.Wait()
	}
}

// toJournal reports whether a stream leads to the system's journal, which says so
// by device and inode in JOURNAL_STREAM (systemd.exec(5)).
func toJournal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	if err != nil {
		return false
	}
	s, ok := info.Sys().(*syscall.Stat_t)
	return ok && os.Getenv("JOURNAL_STREAM") == fmt.Sprintf("%d:%d", s.Dev, s.Ino)
}

// journald writes lines as the system's journal wants them: the priority in front
// (sd-daemon(3)), no time, since the journal has its own.
type journald struct {
	slog.Handler
	out *lines
}

// lines gathers one line at a time.
type lines struct {
	mu   sync.Mutex
	text bytes.Buffer
	w    io.Writer
}

func (l *lines) Write(b []byte) (int, error) { return l.text.Write(b) }

func newJournald(w io.Writer, level slog.Leveler) *journald {
	out := &lines{w: w}
	return &journald{out: out, Handler: slog.NewTextHandler(out, &slog.HandlerOptions{Level: level,
		ReplaceAttr: func(groups []string, a slog.Attr) slog.Attr {
			if len(groups) == 0 && (a.Key == slog.TimeKey || a.Key == slog.LevelKey) {
				return slog.Attr{}
			}
			return a
		}})}
}

func (j *journald) Handle(ctx context.Context, r slog.Record) error {
	j.out.mu.Lock()
	defer j.out.mu.Unlock()
	j.out.text.Reset()
	priority := 7 // debug
	switch {
	case r.Level >= slog.LevelError:
		priority = 3
	case r.Level >= slog.LevelWarn:
		priority = 4
	case r.Level >= slog.LevelInfo:
		priority = 6
	}
	fmt.Fprintf(&j.out.text, "<%d>", priority)
	if err := j.Handler.Handle(ctx, r); err != nil {
		return err
	}
	_, err := j.out.w.Write(j.out.text.Bytes())
	return err
}

func (j *journald) WithAttrs(a []slog.Attr) slog.Handler {
	return &journald{Handler: j.Handler.WithAttrs(a), out: j.out}
}

func (j *journald) WithGroup(name string) slog.Handler {
	return &journald{Handler: j.Handler.WithGroup(name), out: j.out}
}
