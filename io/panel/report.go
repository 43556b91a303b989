package panel

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"slices"
	"time"

	"drumwright/io/record"
)

// Reports writes reports as pages to print. An error that wraps
// record.ErrNoBatch means that there is no such batch, one that wraps ErrAsked
// that the report cannot be made as it was asked for.
type Reports interface {
	Batch(ctx context.Context, id uint64, w io.Writer) error
	Compare(ctx context.Context, batches, at string, w io.Writer) error
	Lot(ctx context.Context, name string, w io.Writer) error
	Month(ctx context.Context, month string, w io.Writer) error
	// CSV writes a row a batch; zero times do not matter.
	CSV(ctx context.Context, from, to time.Time, w io.Writer) error
}

// ErrAsked is wrapped by the refusal of a report that cannot be made as asked.
var ErrAsked = errors.New("not to be made as asked")

// reportPolicy lets a report have its own style and nothing else.
const reportPolicy = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"

// sendReport makes a report and sends it whole, or says why it cannot.
func (s *Server) sendReport(w http.ResponseWriter, r *http.Request, contentType, file string, make func(Reports, io.Writer) error) {
	if s.cfg.Reports == nil {
		fail(w, r, http.StatusNotFound, "no reports are made")
		return
	}
	var page bytes.Buffer
	err := make(s.cfg.Reports, &page)
	switch {
	case errors.Is(err, record.ErrNoBatch), errors.Is(err, fs.ErrNotExist):
		fail(w, r, http.StatusNotFound, err.Error())
	case errors.Is(err, ErrAsked):
		fail(w, r, http.StatusUnprocessableEntity, err.Error())
	case err != nil:
		s.cfg.Log.Error("report not made", "path", r.URL.Path, "err", err)
		fail(w, r, http.StatusInternalServerError, "the report was not made; the log says why")
	default:
		h := w.Header()
		h.Set("Content-Type", contentType)
		h.Set("Content-Security-Policy", reportPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store")
		if file != "" {
			h.Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", file))
		}
		_, _ = w.Write(page.Bytes())
	}
}

const htmlType = "text/html; charset=utf-8"

func (s *Server) reportBatch(w http.ResponseWriter, r *http.Request) {
	id, ok := s.batchID(w, r)
	if !ok {
		return
	}
	s.sendReport(w, r, htmlType, "", func(p Reports, to io.Writer) error { return p.Batch(r.Context(), id, to) })
}

// asked reads the query of a report; it has answered if it returns false.
func asked(w http.ResponseWriter, r *http.Request, names ...string) (url.Values, bool) {
	q, err := url.ParseQuery(r.URL.RawQuery)
	for name, values := range q {
		if err == nil && (!slices.Contains(names, name) || len(values) > 1) {
			err = fmt.Errorf("%q is not known, or given twice: allowed are %q, each once", name, names)
		}
		if err == nil {
			err = checkText(values[0], 200)
		}
	}
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return nil, false
	}
	return q, true
}

func (s *Server) reportCompare(w http.ResponseWriter, r *http.Request) {
	q, ok := asked(w, r, "batches", "at")
	if !ok {
		return
	}
	at := q.Get("at")
	if at == "" {
		at = "charge"
	}
	s.sendReport(w, r, htmlType, "", func(p Reports, to io.Writer) error { return p.Compare(r.Context(), q.Get("batches"), at, to) })
}

func (s *Server) reportLot(w http.ResponseWriter, r *http.Request) {
	q, ok := asked(w, r, "name")
	if !ok {
		return
	}
	s.sendReport(w, r, htmlType, "", func(p Reports, to io.Writer) error { return p.Lot(r.Context(), q.Get("name"), to) })
}

func (s *Server) reportMonth(w http.ResponseWriter, r *http.Request) {
	q, ok := asked(w, r, "month")
	if !ok {
		return
	}
	s.sendReport(w, r, htmlType, "", func(p Reports, to io.Writer) error { return p.Month(r.Context(), q.Get("month"), to) })
}

func (s *Server) exportBatches(w http.ResponseWriter, r *http.Request) {
	q, ok := asked(w, r, "from", "to")
	if !ok {
		return
	}
	from, errFrom := moment(q.Get("from"))
	to, errTo := moment(q.Get("to"))
	if err := errors.Join(errFrom, errTo); err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	s.sendReport(w, r, "text/csv; charset=utf-8", "batches.csv", func(p Reports, out io.Writer) error { return p.CSV(r.Context(), from, to, out) })
}
