package panel

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"drumwright/io/record"
)

// Audit keeps what was asked and by whom, and gives it back.
type Audit interface {
	// Audit must not wait: a command to stop goes through it.
	Audit(record.Audit)
	Audits(ctx context.Context, want record.AuditSearch) ([]record.Audit, error)
}

// note is what a handler knows of a request for the audit log.
type note struct{ action, detail, who string }

type noteKey struct{}

// noteOf is the note of a request; writing into one that nobody reads does no harm.
func noteOf(r *http.Request) *note {
	if n, ok := r.Context().Value(noteKey{}).(*note); ok {
		return n
	}
	return &note{}
}

// mostDetail bounds what is kept of a request's body.
const mostDetail = 500

// noteBody keeps what was asked. Of the name in it nobody knows whether it is true.
func (n *note) noteBody(body []byte) {
	n.detail = strings.ToValidUTF8(string(body[:min(len(body), mostDetail)]), "")
	var m struct{ Who string }
	if json.Unmarshal(body, &m) == nil {
		n.who = m.Who[:min(len(m.Who), 64)]
	}
}

// heard passes an answer on and remembers what it was.
type heard struct {
	http.ResponseWriter
	status int
	body   bytes.Buffer
}

func (h *heard) WriteHeader(status int) {
	h.status = status
	h.ResponseWriter.WriteHeader(status)
}

func (h *heard) Write(b []byte) (int, error) {
	if h.status == 0 {
		h.status = http.StatusOK
	}
	if room := 4096 - h.body.Len(); room > 0 {
		h.body.Write(b[:min(len(b), room)])
	}
	return h.ResponseWriter.Write(b)
}

// Unwrap lets the connection behind it be reached.
func (h *heard) Unwrap() http.ResponseWriter { return h.ResponseWriter }

// audited notes everything that is to change something, whatever became of it.
func (s *Server) audited(next http.Handler) http.Handler {
	if s.cfg.Audit == nil {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodGet || r.Method == http.MethodHead {
			next.ServeHTTP(w, r)
			return
		}
		n := &note{action: r.Method + " " + shorten(r.URL.EscapedPath(), 100)}
		h := &heard{ResponseWriter: w}
		next.ServeHTTP(h, r.WithContext(context.WithValue(r.Context(), noteKey{}, n)))
		v := visitorOf(r)
		var said struct{ Detail, Reason string }
		json.Unmarshal(h.body.Bytes(), &said) // what is no JSON says nothing
		a := record.Audit{When: time.Now(), Account: v.account, Role: string(v.role), Who: n.who, Source: v.source, Local: v.local,
			Action: n.action, Detail: n.detail, Accepted: h.status < 300, Reason: said.Reason}
		if !a.Accepted && said.Detail != "" {
			a.Reason = said.Detail
		}
		if strings.TrimSpace(a.Action) == "" {
			a.Action = "nothing"
		}
		// Whoever has no right to command must not be able to fill the disk.
		if stranger := !v.local && v.account == ""; !a.Accepted && (stranger || h.status == http.StatusForbidden || h.status == http.StatusTooManyRequests) {
			more, ok := s.refusals.room(a.When)
			if !ok {
				return
			}
			if more > 0 {
				a.Reason += fmt.Sprintf(" (%d more like it were not written)", more)
			}
		}
		s.cfg.Audit.Audit(a)
	})
}

func shorten(s string, most int) string {
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "") + "…"
	}
	return s
}

// refusals bounds how many refusals are written down in a minute.
type refusals struct {
	mu      sync.Mutex
	begun   time.Time
	n, more int
}

const mostRefusals = 30 // a minute

func (f *refusals) room(now time.Time) (more int, ok bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if d := now.Sub(f.begun); d >= time.Minute || d < 0 {
		f.begun, f.n = now, 0
	}
	if f.n++; f.n > mostRefusals {
		f.more++
		return 0, false
	}
	more, f.more = f.more, 0
	return more, true
}

func (s *Server) audit(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Audit == nil {
		fail(w, r, http.StatusNotFound, "no journal is kept")
		return
	}
	want, err := auditSearch(r.URL.RawQuery)
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	list, err := s.cfg.Audit.Audits(r.Context(), want)
	if err != nil {
		s.unread(w, r, "audit log not read", err)
		return
	}
	reply(w, map[string]any{"audit": list})
}

func auditSearch(query string) (want record.AuditSearch, err error) {
	q, err := url.ParseQuery(query)
	if err != nil {
		return want, fmt.Errorf("the query cannot be read: %w", err)
	}
	for name, values := range q {
		switch name {
		case "before", "limit", "from", "to", "refused":
			if len(values) == 1 {
				continue
			}
		}
		return want, fmt.Errorf("%q is not known, or given twice: allowed are before, limit, from, to and refused, each once", name)
	}
	before, errBefore := optional(q.Get("before"), 0)
	limit, errLimit := optional(q.Get("limit"), 100)
	if errBefore != nil || errLimit != nil || limit < 1 || limit > 1000 {
		return want, errors.New("before is a number of the audit log and limit a number from 1 to 1000")
	}
	if x := q.Get("refused"); x != "" && x != "true" && x != "false" {
		return want, fmt.Errorf("refused %q: allowed are true and false", x)
	}
	from, errFrom := moment(q.Get("from"))
	to, errTo := moment(q.Get("to"))
	return record.AuditSearch{Before: before, Limit: int(limit), From: from, To: to, Refused: q.Get("refused") == "true"}, errors.Join(errFrom, errTo)
}
