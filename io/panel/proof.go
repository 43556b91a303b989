package panel

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"drumwright/io/record"
)

func (s *Server) proofs(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Proofs == nil {
		fail(w, r, http.StatusNotFound, "no proof tests are kept")
		return
	}
	book, err := s.cfg.Proofs.Proofs(r.Context())
	if err != nil {
		s.unread(w, r, "proof tests not read", err)
		return
	}
	reply(w, book)
}

// atMachine answers requests that are not made at the machine, or in vain.
func (s *Server) atMachine(w http.ResponseWriter, r *http.Request) bool {
	switch {
	case s.cfg.Proofs == nil:
		fail(w, r, http.StatusNotFound, "no proof tests are kept")
	case !local(r):
		fail(w, r, http.StatusForbidden, "proof tests are made and kept at the machine only: over its local socket or from a loopback address")
	default:
		return true
	}
	return false
}

func (s *Server) prove(w http.ResponseWriter, r *http.Request) {
	if !s.atMachine(w, r) {
		return
	}
	body, ok := jsonBody(w, r)
	if !ok {
		return
	}
	p, err := decodeProof(body)
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	kept, err := s.cfg.Proofs.Prove(r.Context(), p)
	switch {
	case errors.Is(err, record.ErrProof):
		fail(w, r, http.StatusConflict, err.Error())
	case err != nil:
		s.cfg.Log.Error("proof test not kept", "test", p.Test, "err", err)
		fail(w, r, http.StatusInternalServerError, "the proof test was not kept; the log says why")
	default:
		write(w, http.StatusCreated, "application/json", kept)
	}
}

func (s *Server) beginProving(w http.ResponseWriter, r *http.Request) {
	if !s.atMachine(w, r) {
		return
	}
	body, ok := jsonBody(w, r)
	if !ok {
		return
	}
	who := ""
	_, err := decodeFlat(body, `{"who": "Ada"}`, func(name string, v any) error {
		if name != "who" {
			return fmt.Errorf("%q is not known: only who is", name)
		}
		return text(&who, name, v, 64, true)
	})
	if err == nil && who == "" {
		err = errors.New(`"who" is missing: proof tests are made by a named person`)
	}
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	reply(w, map[string]time.Time{"until": s.cfg.Proofs.BeginProving(who).UTC()})
}

// longestS is the longest reaction that anybody would call measured, s.
const longestS = 3600

// decodeProof reads what was found in a proof test.
func decodeProof(b []byte) (record.Proof, error) {
	p := record.Proof{MeasuredS: record.Unknown}
	given, err := decodeFlat(b, `{"test": "drum-stall", "who": "Ada", "result": "pass"}`, func(name string, v any) error {
		switch name {
		case "test":
			return text(&p.Test, name, v, 64, true)
		case "who":
			return text(&p.Who, name, v, 64, true)
		case "seen":
			return text(&p.Seen, name, v, 1000, false)
		case "note":
			return text(&p.Note, name, v, 1000, false)
		case "result":
			return text(&p.Result, name, v, 8, true)
		case "measured_s":
			if v == nil {
				return nil
			}
			n, ok := v.(float64)
			if !ok || !(n >= 0 && n <= longestS) {
				return fmt.Errorf("measured_s is not a number of seconds from 0 to %d, or null", longestS)
			}
			p.MeasuredS = record.Number(n)
			return nil
		}
		return fmt.Errorf("%q is not known: a proof test has test, who, seen, measured_s, result and note", name)
	})
	if err != nil {
		return p, err
	}
	for _, n := range []string{"test", "who", "result"} {
		if !slices.Contains(given, n) {
			return p, fmt.Errorf("%q is missing", n)
		}
	}
	if p.Result != record.ProofPass && p.Result != record.ProofFail {
		return p, fmt.Errorf("result %q is not %q or %q", p.Result, record.ProofPass, record.ProofFail)
	}
	return p, nil
}

func text(to *string, name string, v any, longest int, needed bool) error {
	s, ok := v.(string)
	if !ok || needed && strings.TrimSpace(s) == "" {
		return fmt.Errorf("%s is not a text, or empty", name)
	}
	if err := checkText(s, longest); err != nil {
		return fmt.Errorf("%s %w", name, err)
	}
	*to = s
	return nil
}
