package access

import (
	"strings"
	"testing"
)

// The encoded hash is that of the reference implementation's own test
// (phc-winner-argon2, src/test.c, version 0x13, Argon2id; the value is from memory).
func TestReferenceHash(t *testing.T) {
	const want = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"
	if got := encode("password", []byte("somesalt"), 2, 65536, 1, 32); got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
	h, err := parseHash(want)
	if err != nil || !h.matches("password") || h.matches("passwore") {
		t.Errorf("%+v, %v", h, err)
	}
}

func TestHashesRefused(t *testing.T) {
	good := "$argon2id$v=19$m=19456,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"
	if _, err := parseHash(good); err != nil {
		t.Fatal(err)
	}
	for _, edit := range [][2]string{
		{"argon2id", "argon2i"}, {"v=19", "v=16"}, {"m=19456", "m=1"}, {"m=19456", "m=4194304"}, {"t=2", "t=0"}, {"t=2", "t=1000"},
		{"p=1", "p=0"}, {"p=1", "p=01"}, {"c29tZXNhbHQ", "!"}, {"c29tZXNhbHQ", "YQ"}, {"$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc", ""}, {"$CTFhFd", "$x$CTFhFd"},
	} {
		s := strings.Replace(good, edit[0], edit[1], 1)
		if s == good {
			t.Fatalf("%q changes nothing", edit)
		}
		if h, err := parseHash(s); err == nil {
			t.Errorf("%s is taken: %+v", s, h)
		}
	}
}

func TestPasswordsRefused(t *testing.T) {
	for password, want := range map[string]string{
		"short": "5 letters", strings.Repeat("ab", 65): "130 letters", "\xff\xfe aaaaaaaaaaa": "UTF-8", "aaaaaaaaaaaa": "repeated",
		"my name is ADA, yes": "name of the account",
	} {
		if err := CheckPassword("ada", password); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", password, err, want)
		}
	}
	for _, password := range []string{"três grãos verdes", "0123456789"} {
		if err := CheckPassword("ada", password); err != nil {
			t.Errorf("%q: %v", password, err)
		}
	}
}

func FuzzHash(f *testing.F) {
	f.Add("$argon2id$v=19$m=19456,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc")
	f.Fuzz(func(t *testing.T, s string) {
		h, err := parseHash(s)
		if err == nil && (h.kib > mostKiB || h.time > mostTime || h.lanes < 1 || len(h.key) < 16) {
			t.Errorf("%q gives %+v", s, h)
		}
	})
}
