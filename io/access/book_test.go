package access

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumwright/io/record"
)

const secret = "three green beans"

// book has the accounts ada (operate), eve (engineer) and wall (look), all with the
// same password, and a clock that stands until it is moved.
func book(t *testing.T) (b *Book, path string, clock *time.Time) {
	t.Helper()
	path = FileOf(filepath.Join(t.TempDir(), "journal.db"))
	now := time.Date(2031, 3, 14, 9, 0, 0, 0, time.UTC)
	err := Edit(path, func(list []Account) ([]Account, error) {
		for _, n := range []struct {
			name string
			role record.Role
		}{{"ada", record.RoleOperate}, {"eve", record.RoleEngineer}, {"wall", record.RoleLook}} {
			list = append(list, Account{n.name, n.role, cheap(secret), now})
		}
		return list, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	b = Open(path, nil)
	clock = &now
	b.now = func() time.Time { return *clock }
	return b, path, clock
}

// cheap is a hash that costs little, so that the tests do not either.
func cheap(password string) string { return encode(password, []byte("somesalt"), 1, 8, 1, 32) }

func signIn(t *testing.T, b *Book, name string) string {
	t.Helper()
	token, a, err := b.SignIn(context.Background(), name, secret, "127.0.0.1", true)
	if err != nil || a.Name != name {
		t.Fatal(a, err)
	}
	return token
}

func TestSignIn(t *testing.T) {
	b, path, _ := book(t)
	token := signIn(t, b, "ada")
	if a, ok := b.Session(token, true); !ok || a.Name != "ada" || a.Role != record.RoleOperate {
		t.Errorf("%+v, %v", a, ok)
	}
	for _, x := range []struct{ name, password string }{{"ada", secret + "."}, {"ada", ""}, {"ADA", secret}, {"bob", secret}, {"", ""}} {
		if token, _, err := b.SignIn(context.Background(), x.name, x.password, "127.0.0.1", true); !errors.Is(err, ErrWrong) || token != "" {
			t.Errorf("%q with %q: %v", x.name, x.password, err)
		}
	}
	for _, bad := range []string{"", "x", token[1:], token + "x", strings.ToUpper(token)} {
		if _, ok := b.Session(bad, true); ok {
			t.Errorf("%q is a session", bad)
		}
	}
	b.SignOut(token)
	if _, ok := b.Session(token, true); ok {
		t.Error("the session goes on after signing out")
	}
	text, err := os.ReadFile(path)
	if err != nil || strings.Contains(string(text), secret) {
		t.Errorf("the file holds the password: %s, %v", text, err)
	}
	for key := range b.sessions {
		if strings.Contains(token, string(key[:])) {
			t.Error("the token is kept as it is")
		}
	}
}

func TestSessionsEnd(t *testing.T) {
	for _, x := range []struct {
		name  string
		every time.Duration // it is used
		lasts time.Duration
	}{
		{"ada", 31 * time.Minute, 0},
		{"ada", 29 * time.Minute, 12 * time.Hour},
		{"eve", 10 * time.Minute, 12 * time.Hour},
		{"wall", 10 * time.Hour, 30 * 24 * time.Hour},
	} {
		b, _, clock := book(t)
		token, begun := signIn(t, b, x.name), *clock
		for ok := true; ok; {
			*clock = clock.Add(x.every)
			_, ok = b.Session(token, true)
		}
		if d := clock.Sub(begun); d < x.lasts || d > x.lasts+x.every {
			t.Errorf("%s, used every %v: ended after %v, want %v", x.name, x.every, d, x.lasts)
		}
	}
	b, _, clock := book(t) // a stream alone keeps nobody signed in
	token := signIn(t, b, "ada")
	for range 40 {
		*clock = clock.Add(time.Minute)
		b.Session(token, false)
	}
	if _, ok := b.Session(token, false); ok {
		t.Error("the session goes on though nobody did anything")
	}
}

func TestSessionsFollowTheFile(t *testing.T) {
	b, path, clock := book(t)
	ada, eve := signIn(t, b, "ada"), signIn(t, b, "eve")
	edit := func(do func([]Account) []Account) {
		t.Helper()
		if err := Edit(path, func(l []Account) ([]Account, error) { return do(l), nil }); err != nil {
			t.Fatal(err)
		}
		*clock = clock.Add(2 * lookAgain)
	}
	edit(func(l []Account) []Account { l[0].Role = record.RoleLook; return l })
	if a, ok := b.Session(ada, true); !ok || a.Role != record.RoleLook {
		t.Errorf("after another role: %+v, %v", a, ok)
	}
	edit(func(l []Account) []Account { l[0].Hash = cheap("another secret"); return l })
	if _, ok := b.Session(ada, true); ok {
		t.Error("the session outlives the password")
	}
	edit(func(l []Account) []Account { return append(l[:1], l[2]) })
	if _, ok := b.Session(eve, true); ok {
		t.Error("the session outlives the account")
	}
	edit(func(l []Account) []Account { return nil })
	if b.Asked() {
		t.Error("passwords are asked for without accounts")
	}
}

// A file that cannot be trusted lets nobody in, and does not open the door.
func TestBadFileLetsNobodyIn(t *testing.T) {
	for name, spoil := range map[string]func(path string) error{
		"readable to others": func(p string) error { return os.Chmod(p, 0o644) },
		"cut":                func(p string) error { return os.Truncate(p, 40) },
		"emptied":            func(p string) error { return os.Truncate(p, 0) },
		"a folder":           func(p string) error { return errors.Join(os.Remove(p), os.Mkdir(p, 0o700)) },
		"an unknown role": func(p string) error {
			b, err := os.ReadFile(p)
			return errors.Join(err, os.WriteFile(p, []byte(strings.Replace(string(b), `"look"`, `"boss"`, 1)), 0o600))
		},
	} {
		b, path, clock := book(t)
		token := signIn(t, b, "eve")
		if err := spoil(path); err != nil {
			t.Fatal(name, err)
		}
		*clock = clock.Add(2 * lookAgain)
		if _, ok := b.Session(token, true); ok || !b.Asked() {
			t.Errorf("%s: session %v, asked %v", name, ok, b.Asked())
		}
		if _, _, err := b.SignIn(context.Background(), "eve", secret, "127.0.0.1", true); !errors.Is(err, ErrWrong) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Guessing is slowed down by address and by account, and whoever guesses from afar
// does not lock out those at the machine.
func TestGuessingIsSlowedDown(t *testing.T) {
	b, _, clock := book(t)
	try := func(name, password, from string, here bool) error {
		_, _, err := b.SignIn(context.Background(), name, password, from, here)
		return err
	}
	tooOften := func(err error) bool { var e TooOften; return errors.As(err, &e) && e.Wait > 0 }
	for i := range 5 {
		if err := try("ada", "wrong password", "192.0.2.1", false); !errors.Is(err, ErrWrong) {
			t.Fatal(i, err)
		}
	}
	if err := try("ada", secret, "192.0.2.1", false); !tooOften(err) {
		t.Errorf("the right password at the sixth try from one address: %v", err)
	}
	if err := try("ada", secret, "192.0.2.2", false); !tooOften(err) {
		t.Errorf("from another address, the account was tried too often: %v", err)
	}
	if err := try("eve", secret, "192.0.2.2", false); err != nil {
		t.Errorf("another account from another address: %v", err)
	}
	if err := try("ada", secret, "127.0.0.1", true); err != nil {
		t.Errorf("at the machine: %v", err)
	}
	*clock = clock.Add(5*time.Minute + time.Second)
	if err := try("ada", secret, "192.0.2.1", false); err != nil {
		t.Errorf("after a while: %v", err)
	}
	for i := range 20 { // signing in rightly uses up nothing
		if err := try("eve", secret, "192.0.2.9", false); err != nil {
			t.Fatal(i, err)
		}
	}
}

func TestTriesStayBounded(t *testing.T) {
	tr, now := newTries(5, 30*time.Second), time.Unix(0, 0)
	for i := range 3 * mostNames {
		tr.take(fmt.Sprint(i), now)
	}
	if len(tr.left) > mostNames {
		t.Errorf("%d names", len(tr.left))
	}
	if tr.wait("new", now) == 0 {
		t.Error("a flood of names gives new ones free tries")
	}
	if tr.wait("new", now.Add(time.Hour)) != 0 {
		t.Error("the flood is never forgotten")
	}
}

func TestManySessions(t *testing.T) {
	b, _, clock := book(t)
	first := signIn(t, b, "ada")
	h := b.sessions
	b.mu.Lock()
	for i := range mostSessions {
		h[[32]byte{byte(i), byte(i >> 8), 1}] = &session{"ada", b.accounts[0].Hash, clock.Add(time.Second), clock.Add(time.Second)}
	}
	b.mu.Unlock()
	*clock = clock.Add(2 * time.Second)
	last := signIn(t, b, "ada")
	if _, ok := b.Session(first, true); ok || len(b.sessions) > mostSessions+1 {
		t.Errorf("%d sessions, the oldest alive: %v", len(b.sessions), ok)
	}
	if _, ok := b.Session(last, true); !ok {
		t.Error("the newest is gone")
	}
}

func TestNew(t *testing.T) {
	a, err := New("ada", record.RoleOperate, secret, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	h, err := parseHash(a.Hash)
	if err != nil || !h.matches(secret) || h.matches("three green bean") || h.kib != costKiB || h.time != costTime {
		t.Errorf("%s: %v", a.Hash, err)
	}
	if _, err := New("ada", "boss", "short", time.Now()); err == nil || !strings.Contains(err.Error(), "boss") || !strings.Contains(err.Error(), "letters") {
		t.Errorf("%v: both faults are told", err)
	}
}

func BenchmarkSignIn(b *testing.B) {
	h := hashPassword(secret)
	p, _ := parseHash(h)
	for b.Loop() {
		p.matches(secret)
	}
}

func TestFile(t *testing.T) {
	_, path, _ := book(t)
	fi, err := os.Stat(path)
	if err != nil || fi.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", fi, err)
	}
	if left, _ := filepath.Glob(path + ".part"); left != nil {
		t.Errorf("left behind: %v", left)
	}
	nothing := errors.New("no")
	before, _ := os.ReadFile(path)
	if err := Edit(path, func([]Account) ([]Account, error) { return nil, nothing }); err != nothing {
		t.Error(err)
	}
	if after, _ := os.ReadFile(path); string(after) != string(before) {
		t.Error("a refused change changed the file")
	}
	for _, name := range []string{"", "Ada", "a b", "../x", "-a", strings.Repeat("a", 33), "a:b"} {
		if CheckName(name) == nil {
			t.Errorf("%q is a name", name)
		}
	}
	if list, err := Read(path + ".none"); list != nil || err != nil {
		t.Errorf("a file that is not there: %v, %v", list, err)
	}
}
