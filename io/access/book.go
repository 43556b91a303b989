package access

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"drumwright/io/record"
)

// How long a session lasts, from the last thing that was asked in it and in all.
// One that may only look does not end when nothing is asked: a screen on a wall
// shall not go dark.
const (
	idleFor     = 30 * time.Minute
	mostFor     = 12 * time.Hour
	mostLooking = 30 * 24 * time.Hour

	mostSessions = 200
	lookAgain    = time.Second // at the file of accounts
)

// ErrWrong is the refusal of a name and password, without telling which.
var ErrWrong = errors.New("account or password is wrong")

// TooOften is the refusal of a try that came too soon.
type TooOften struct{ Wait time.Duration }

func (t TooOften) Error() string {
	return fmt.Sprintf("too many tries to sign in: wait %.0f s", t.Wait.Seconds())
}

// Book holds the accounts of a file and the sessions of those who signed in.
type Book struct {
	path string
	log  *slog.Logger
	now  func() time.Time

	hashing chan struct{} // one password at a time: each takes memory and a core

	mu       sync.Mutex
	looked   time.Time
	stamp    stamp
	accounts []Account
	broken   error
	sessions map[[32]byte]*session
	// Of addresses and of accounts; those at the machine have their own.
	fromHere, fromAfar, forHere, forAfar *tries
}

// stamp tells whether a file is the one that was read.
type stamp struct {
	mod  time.Time
	size int64
	err  string
}

type session struct {
	account, hash string
	begun, used   time.Time
}

// Open opens the file of accounts at path; there need not be one.
func Open(path string, log *slog.Logger) *Book {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	return &Book{path: path, log: log, now: time.Now, hashing: make(chan struct{}, 1), sessions: make(map[[32]byte]*session),
		fromHere: newTries(10, 5*time.Second), fromAfar: newTries(5, 30*time.Second),
		forHere: newTries(10, 5*time.Second), forAfar: newTries(5, 5*time.Minute)}
}

// refresh reads the file again if it has changed. The lock is held.
func (b *Book) refresh() {
	now := b.now()
	if d := now.Sub(b.looked); !b.looked.IsZero() && d >= 0 && d < lookAgain {
		return
	}
	b.looked = now
	var st stamp
	if fi, err := os.Stat(b.path); err == nil {
		st = stamp{fi.ModTime(), fi.Size(), fi.Mode().String()}
	} else if !errors.Is(err, os.ErrNotExist) {
		st.err = err.Error()
	}
	if st == b.stamp && b.broken == nil {
		return
	}
	before := b.broken
	b.accounts, b.broken = Read(b.path)
	b.stamp = st
	if b.broken != nil && (before == nil || before.Error() != b.broken.Error()) {
		b.log.Error("accounts cannot be read: nobody can sign in; stopping the machine is possible all the same", "err", b.broken)
	}
}

// Asked reports whether passwords are asked for: there are accounts, or they
// cannot be read.
func (b *Book) Asked() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.refresh()
	return len(b.accounts) > 0 || b.broken != nil
}

func (b *Book) find(name string) (Account, bool) {
	i := slices.IndexFunc(b.accounts, func(a Account) bool { return a.Name == name })
	if i < 0 {
		return Account{}, false
	}
	return b.accounts[i], true
}

// nobody's hash takes as long to compare as anybody's.
var nobody = sync.OnceValue(func() hashed {
	h, err := parseHash(hashPassword(rand.Text()))
	if err != nil {
		panic(err)
	}
	return h
})

// SignIn begins a session. from is the address of whoever asks, here whether they
// are at the machine. ErrWrong and TooOften say why not.
func (b *Book) SignIn(ctx context.Context, name, password, from string, here bool) (token string, a Account, err error) {
	b.mu.Lock()
	b.refresh()
	addresses, accounts := b.fromAfar, b.forAfar
	if here {
		addresses, accounts = b.fromHere, b.forHere
	}
	// Only names that are there are counted, so that invented ones fill nothing.
	a, known := b.find(name)
	now := b.now()
	wait := addresses.wait(from, now)
	if known {
		wait = max(wait, accounts.wait(name, now))
	}
	if wait > 0 {
		b.mu.Unlock()
		return "", Account{}, TooOften{wait}
	}
	addresses.take(from, now)
	h := nobody()
	if known {
		accounts.take(name, now)
		h, err = parseHash(a.Hash)
	}
	b.mu.Unlock()
	if err != nil {
		return "", Account{}, err
	}

	select {
	case b.hashing <- struct{}{}:
	case <-ctx.Done():
		return "", Account{}, ctx.Err()
	}
	right := h.matches(password) && known
	<-b.hashing
	if !right {
		return "", Account{}, ErrWrong
	}

	b.mu.Lock()
	defer b.mu.Unlock()
	now = b.now()
	addresses.give(from, now)
	accounts.give(name, now)
	b.sweep(now)
	raw := make([]byte, 32)
	rand.Read(raw) // never fails
	token = base64.RawURLEncoding.EncodeToString(raw)
	b.sessions[sha256.Sum256([]byte(token))] = &session{a.Name, a.Hash, now, now}
	return token, a, nil
}

// Session is whose session a token is; it counts as use of it if used is set.
func (b *Book) Session(token string, used bool) (Account, bool) {
	if token == "" {
		return Account{}, false
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.refresh()
	now, key := b.now(), sha256.Sum256([]byte(token))
	s := b.sessions[key]
	if s == nil {
		return Account{}, false
	}
	a, ok := b.alive(s, now)
	if !ok {
		delete(b.sessions, key)
		return Account{}, false
	}
	if used {
		s.used = now
	}
	return a, true
}

// alive reports whose session it is yet. It ends with the account, and when that
// gets another password.
func (b *Book) alive(s *session, now time.Time) (Account, bool) {
	a, ok := b.find(s.account)
	if !ok || a.Hash != s.hash || now.Before(s.begun.Add(-time.Minute)) {
		return a, false
	}
	if a.Role == record.RoleLook {
		return a, now.Sub(s.begun) < mostLooking
	}
	return a, now.Sub(s.begun) < mostFor && now.Sub(s.used) < idleFor
}

// sweep drops sessions that have ended, and the one that was not used for longest
// if there are too many.
func (b *Book) sweep(now time.Time) {
	var oldest [32]byte
	var at time.Time
	for key, s := range b.sessions {
		if _, ok := b.alive(s, now); !ok {
			delete(b.sessions, key)
		} else if at.IsZero() || s.used.Before(at) {
			oldest, at = key, s.used
		}
	}
	if len(b.sessions) >= mostSessions {
		delete(b.sessions, oldest)
	}
}

// SignOut ends a session.
func (b *Book) SignOut(token string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.sessions, sha256.Sum256([]byte(token)))
}

// Describe says in a sentence who may sign in, for people.
func Describe(list []Account) string {
	if len(list) == 0 {
		return "no accounts: whoever is at the machine may do everything without a password, and whoever reaches the address for viewers may look"
	}
	names := make([]string, len(list))
	for i, a := range list {
		names[i] = a.Name + " (" + string(a.Role) + ")"
	}
	return "accounts: " + strings.Join(names, ", ")
}
