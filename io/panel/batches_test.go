package panel

import (
	"strings"
	"testing"
	"unicode/utf8"
)

// Whatever is asked for, what is let through to the journal is within bounds.
func FuzzSearch(f *testing.F) {
	for _, q := range []string{"", "before=12&limit=1", "lot=a&lot=b", "from=2026-11-01&to=2026-12-01T00:00:00Z", "text=%00", "limit=99999999999999999999", "text=%ff", ";"} {
		f.Add(q)
	}
	f.Fuzz(func(t *testing.T, q string) {
		want, err := search(q)
		if err != nil {
			return
		}
		if want.Limit < 1 || want.Limit > 500 {
			t.Errorf("%q: limit %d", q, want.Limit)
		}
		for _, s := range []string{want.Lot, want.Tag, want.Text, want.Recipe, want.Result} {
			if len(s) > 200 || strings.ContainsAny(s, "\x00\x1b\n") {
				t.Errorf("%q: %q is let through", q, s)
			}
		}
	})
}

// What is taken for an entry has passed its checks in one form only: checked once
// more it stays as it is.
func FuzzEntry(f *testing.F) {
	for _, b := range []string{`{"who":"Ada","field":"note","value":"x"}`, `{"who":"Ada","field":"cup","item":"total","value":"086.50"}`,
		`{"who":"Ada","field":"tag","item":"Sample","value":"yes"}`, `{"who":"Ada","who":"Ben","field":"lot","value":"x"}`, `{"who":"\u0000","field":"lot","value":"\u202e"}`, `{`} {
		f.Add([]byte(b))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		e, err := decodeEntry(b)
		if err != nil || e.Check() != nil {
			return
		}
		again := e
		if err := again.Check(); err != nil || again != e {
			t.Errorf("%q: %+v becomes %+v, %v", b, e, again, err)
		}
		if e.Who == "" || !utf8.ValidString(e.After) || strings.ContainsAny(e.After+e.Item+e.Who, "\x00\x1b\u202e") {
			t.Errorf("%q: %+v is let through", b, e)
		}
	})
}
