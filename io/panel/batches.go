package panel

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"drumwright/io/record"
)

// searchKeys are the parameters that a search may have. One that is not heeded
// would be a misunderstanding.
var searchKeys = []string{"before", "limit", "from", "to", "result", "recipe", "lot", "tag", "text"}

func (s *Server) batches(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Batches == nil {
		fail(w, r, http.StatusNotFound, "no journal is kept")
		return
	}
	want, err := search(r.URL.RawQuery)
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	list, err := s.cfg.Batches.Batches(r.Context(), want)
	if err != nil {
		s.unread(w, r, "batches not read", err)
		return
	}
	reply(w, map[string]any{"batches": list})
}

func search(query string) (record.Search, error) {
	var want record.Search
	q, err := url.ParseQuery(query)
	if err != nil {
		return want, fmt.Errorf("the query cannot be read: %w", err)
	}
	for name, values := range q {
		if !slices.Contains(searchKeys, name) || len(values) > 1 {
			return want, fmt.Errorf("%q is not known, or given twice: allowed are %q, each once", name, searchKeys)
		}
		if err := checkText(values[0], 200); err != nil {
			return want, fmt.Errorf("%s %w", name, err)
		}
	}
	before, errBefore := optional(q.Get("before"), 0)
	limit, errLimit := optional(q.Get("limit"), 50)
	if errBefore != nil || errLimit != nil || limit < 1 || limit > 500 {
		return want, errors.New("before is a batch number and limit a number from 1 to 500")
	}
	from, errFrom := moment(q.Get("from"))
	to, errTo := moment(q.Get("to"))
	if err := errors.Join(errFrom, errTo); err != nil {
		return want, err
	}
	if res := q.Get("result"); res != "" && res != record.BatchOpen && res != record.BatchDone && res != record.BatchAborted {
		return want, fmt.Errorf("result %q: allowed are %s, %s and %s", res, record.BatchOpen, record.BatchDone, record.BatchAborted)
	}
	return record.Search{Before: before, Limit: int(limit), From: from, To: to, Result: q.Get("result"), Recipe: q.Get("recipe"),
		Lot: q.Get("lot"), Tag: q.Get("tag"), Text: q.Get("text")}, nil
}

// moment reads a date of this computer's zone, or a time by RFC 3339; the zero
// time for none.
func moment(s string) (time.Time, error) {
	if s == "" {
		return time.Time{}, nil
	}
	if t, err := time.ParseInLocation(time.DateOnly, s, time.Local); err == nil {
		return t, nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return t, fmt.Errorf("%q is no date such as 2026-11-25 and no time by RFC 3339", s)
	}
	return t, nil
}

// batchID reads the number of the batch in the path; it has answered if it
// returns false.
func (s *Server) batchID(w http.ResponseWriter, r *http.Request) (uint64, bool) {
	if s.cfg.Batches == nil {
		fail(w, r, http.StatusNotFound, "no journal is kept")
		return 0, false
	}
	id, err := strconv.ParseUint(r.PathValue("id"), 10, 64)
	if err != nil {
		fail(w, r, http.StatusBadRequest, fmt.Sprintf("%q is not a batch number", r.PathValue("id")))
		return 0, false
	}
	return id, true
}

func (s *Server) batch(w http.ResponseWriter, r *http.Request) {
	id, ok := s.batchID(w, r)
	if !ok {
		return
	}
	d, err := s.cfg.Batches.Batch(r.Context(), id)
	switch {
	case errors.Is(err, record.ErrNoBatch):
		fail(w, r, http.StatusNotFound, fmt.Sprintf("there is no batch %d", id))
	case err != nil:
		s.unread(w, r, "batch not read", err, "batch", id)
	default:
		reply(w, d)
	}
}

func (s *Server) enter(w http.ResponseWriter, r *http.Request) {
	id, ok := s.batchID(w, r)
	if !ok {
		return
	}
	body, ok := jsonBody(w, r)
	if !ok {
		return
	}
	e, err := decodeEntry(body)
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	e.Batch, e.When = id, time.Now()
	kept, err := s.cfg.Batches.SaveEntry(e)
	switch {
	case errors.Is(err, record.ErrNoBatch):
		fail(w, r, http.StatusNotFound, fmt.Sprintf("there is no batch %d", id))
	case errors.Is(err, record.ErrEntry):
		fail(w, r, http.StatusUnprocessableEntity, err.Error())
	case err != nil:
		s.cfg.Log.Error("entry not kept", "batch", id, "field", e.Field, "err", err)
		fail(w, r, http.StatusInternalServerError, "the entry was not kept; the log says why")
	default:
		write(w, http.StatusCreated, "application/json", kept)
	}
}

// decodeEntry reads what a person enters. Whether it is sensible the journal says.
func decodeEntry(b []byte) (record.Entry, error) {
	var e record.Entry
	given, err := decodeFlat(b, `{"who": "Ada", "field": "note", "value": "smells of jasmine"}`, func(name string, v any) error {
		at := map[string]*string{"who": &e.Who, "field": &e.Field, "item": &e.Item, "value": &e.After}[name]
		if at == nil {
			return fmt.Errorf("%q is not known: an entry has who, field, item and value", name)
		}
		text, ok := v.(string)
		if !ok {
			return fmt.Errorf("%s is not a text (a number is written as text too)", name)
		}
		*at = text
		return nil
	})
	if err != nil {
		return e, err
	}
	for _, n := range []string{"who", "field", "value"} {
		if !slices.Contains(given, n) {
			return e, fmt.Errorf("%q is missing", n)
		}
	}
	return e, nil
}
