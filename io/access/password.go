package access

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
)

// Argon2id by RFC 9106. The cost is the least that the OWASP Password Storage
// Cheat Sheet asks for (19 MiB, two passes, one lane; value from memory): one lane
// only, because the scan of the machine runs beside it on a small computer.
const (
	costKiB   = 19 * 1024
	costTime  = 2
	costLanes = 1
	saltLen   = 16
	keyLen    = 32

	// What a file may ask of this computer.
	mostKiB  = 256 * 1024
	mostTime = 16
)

// Bounds of a password, in letters; common practice, no source.
const (
	LeastPassword = 10
	MostPassword  = 128
)

// CheckPassword refuses a password that is too easily guessed for an account.
func CheckPassword(account, password string) error {
	n := utf8.RuneCountInString(password)
	switch {
	case !utf8.ValidString(password):
		return errors.New("the password is not UTF-8")
	case n < LeastPassword || n > MostPassword:
		return fmt.Errorf("the password has %d letters: allowed are %d to %d; three words make a good one", n, LeastPassword, MostPassword)
	case strings.Contains(strings.ToLower(password), strings.ToLower(account)):
		return errors.New("the password holds the name of the account: take another")
	case strings.Trim(password, password[:1]) == "":
		return errors.New("the password is one sign repeated: take another")
	}
	return nil
}

// hashPassword hashes with a fresh salt, in the form of the reference
// implementation: $argon2id$v=19$m=19456,t=2,p=1$SALT$HASH.
func hashPassword(password string) string {
	salt := make([]byte, saltLen)
	rand.Read(salt) // never fails
	return encode(password, salt, costTime, costKiB, costLanes, keyLen)
}

func encode(password string, salt []byte, time, kib uint32, lanes uint8, length uint32) string {
	key := argon2.IDKey([]byte(password), salt, time, kib, lanes, length)
	b := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, kib, time, lanes, b.EncodeToString(salt), b.EncodeToString(key))
}

type hashed struct {
	time, kib uint32
	lanes     uint8
	salt, key []byte
}

func parseHash(s string) (h hashed, err error) {
	bad := errors.New("not an argon2id hash such as $argon2id$v=19$m=19456,t=2,p=1$SALT$HASH")
	part := strings.Split(s, "$")
	if len(part) != 6 || part[0] != "" || part[1] != "argon2id" || part[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return h, bad
	}
	if _, err := fmt.Sscanf(part[3], "m=%d,t=%d,p=%d", &h.kib, &h.time, &h.lanes); err != nil || fmt.Sprintf("m=%d,t=%d,p=%d", h.kib, h.time, h.lanes) != part[3] {
		return h, bad
	}
	h.salt, err = base64.RawStdEncoding.DecodeString(part[4])
	if err == nil {
		h.key, err = base64.RawStdEncoding.DecodeString(part[5])
	}
	// RFC 9106, section 3.1: at least 8 KiB a lane and a tag of 4 bytes.
	if err != nil || h.lanes < 1 || h.time < 1 || h.time > mostTime || h.kib < 8*uint32(h.lanes) || h.kib > mostKiB ||
		len(h.salt) < 8 || len(h.salt) > 64 || len(h.key) < 16 || len(h.key) > 64 {
		return h, bad
	}
	return h, nil
}

func (h *hashed) matches(password string) bool {
	key := argon2.IDKey([]byte(password), h.salt, h.time, h.kib, h.lanes, uint32(len(h.key)))
	return subtle.ConstantTimeCompare(key, h.key) == 1
}
