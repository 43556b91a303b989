package panel

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"path"
	"strconv"
	"strings"
	"time"

	"drumwright/io/record"
)

const (
	longestBody  = 64 << 10
	operatorTime = 5 * time.Second
)

// Handler answers everything that the package comment lists, and with a problem
// everything else.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	type route struct {
		method, path string
		handle       http.HandlerFunc
	}
	methods := make(map[string][]string) // of each path
	for _, route := range []route{
		{"GET", "/api/v1/state", s.state},
		{"GET", "/api/v1/events", s.stream.serve},
		{"GET", "/api/v1/now", s.now},
		{"GET", "/api/v1/machine", s.machine},
		{"GET", "/api/v1/recipes", s.recipes},
		{"GET", "/api/v1/recipes/{name}", s.recipe},
		{"GET", "/api/v1/alarms", s.alarms},
		{"GET", "/api/v1/alarms/history", s.history},
		{"POST", "/api/v1/commands", s.command},
		{"GET", "/api/v1/batches", s.batches},
		{"GET", "/api/v1/batches/{id}", s.batch},
		{"POST", "/api/v1/batches/{id}/entries", s.enter},
		{"GET", "/api/v1/batches/{id}/report", s.reportBatch},
		{"GET", "/api/v1/reports/compare", s.reportCompare},
		{"GET", "/api/v1/reports/lot", s.reportLot},
		{"GET", "/api/v1/reports/month", s.reportMonth},
		{"GET", "/api/v1/reports/batches.csv", s.exportBatches},
		{"GET", "/api/v1/next-batch", s.nextBatch},
		{"POST", "/api/v1/next-batch", s.sayNextBatch},
		{"GET", "/api/v1/recipes/{name}/preflight", s.preflight},
		{"POST", "/api/v1/batches/{id}/weight", s.weigh},
		{"GET", "/api/v1/learning", s.learning},
		{"POST", "/api/v1/learning", s.changeLearning},
		{"GET", "/api/v1/proofs", s.proofs},
		{"POST", "/api/v1/proofs", s.prove},
		{"POST", "/api/v1/proofs/begin", s.beginProving},
		{"GET", "/metrics", s.metrics},
		{"GET", "/healthz", s.healthz},
	} {
		mux.HandleFunc(route.method+" "+route.path, route.handle)
		methods[route.path] = append(methods[route.path], route.method)
	}
	for path, allowed := range methods {
		mux.HandleFunc(path, func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Allow", strings.Join(allowed, ", "))
			fail(w, r, http.StatusMethodNotAllowed, fmt.Sprintf("%s takes %s only", path, strings.Join(allowed, " and ")))
		})
	}
	mux.HandleFunc("GET /{$}", servePage)
	mux.HandleFunc("GET /page/{file}", servePage)
	mux.HandleFunc("/", notFound)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if why := foreign(r); why != "" {
			fail(w, r, http.StatusForbidden, why)
			return
		}
		// The mux would redirect a path that is not clean; here nobody writes one
		// in good faith.
		if path.Clean(r.URL.Path) != r.URL.Path {
			notFound(w, r)
			return
		}
		mux.ServeHTTP(w, r)
	})
}

func notFound(w http.ResponseWriter, r *http.Request) {
	fail(w, r, http.StatusNotFound, "there is nothing here")
}

func (s *Server) state(w http.ResponseWriter, r *http.Request) {
	last := s.last.Load()
	if last == nil {
		fail(w, r, http.StatusServiceUnavailable, "no scan has been made yet")
		return
	}
	reply(w, record.NewView(&last.scan))
}

func (s *Server) alarms(w http.ResponseWriter, r *http.Request) {
	last := s.last.Load()
	if last == nil {
		fail(w, r, http.StatusServiceUnavailable, "no scan has been made yet")
		return
	}
	reply(w, record.NewAlarmsView(&last.scan))
}

func (s *Server) history(w http.ResponseWriter, r *http.Request) {
	if s.cfg.History == nil {
		fail(w, r, http.StatusNotFound, "no journal is kept")
		return
	}
	q, err := url.ParseQuery(r.URL.RawQuery)
	limit, errLimit := optional(q.Get("limit"), 100)
	if err = errors.Join(err, errLimit); err != nil || limit < 1 || limit > 1000 {
		fail(w, r, http.StatusBadRequest, "limit is a number from 1 to 1000")
		return
	}
	list, err := s.cfg.History.Alarms(r.Context(), int(limit))
	if err != nil {
		s.cfg.Log.Error("history of alarms not read", "err", err)
		fail(w, r, http.StatusInternalServerError, "the journal cannot be read; the log says why")
		return
	}
	reply(w, map[string]any{"alarms": list})
}

// preflight flies a recipe. One at a time: it takes a good part of a core.
func (s *Server) preflight(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Preflight == nil {
		fail(w, r, http.StatusNotFound, "no recipes are kept")
		return
	}
	s.flying.Lock()
	defer s.flying.Unlock()
	res, err := s.cfg.Preflight(r.PathValue("name"))
	if err != nil {
		fail(w, r, http.StatusUnprocessableEntity, err.Error())
		return
	}
	reply(w, res)
}

func (s *Server) healthz(w http.ResponseWriter, r *http.Request) {
	last := s.last.Load()
	switch {
	case last == nil:
		fail(w, r, http.StatusServiceUnavailable, "no scan has been made yet")
	case time.Since(last.at) >= s.cfg.Stale:
		fail(w, r, http.StatusServiceUnavailable, fmt.Sprintf("the last scan was made %.1f s ago", time.Since(last.at).Seconds()))
	default:
		reply(w, map[string]any{"status": "ok", "scan": last.scan.N})
	}
}

func (s *Server) metrics(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Metrics == nil {
		notFound(w, r)
		return
	}
	s.cfg.Metrics.ServeHTTP(w, r)
}

// jsonBody reads the body of a request that must be JSON; it has answered if it
// returns false.
func jsonBody(w http.ResponseWriter, r *http.Request) ([]byte, bool) {
	// A form of another page can send other types without asking first.
	if t, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || t != "application/json" {
		fail(w, r, http.StatusUnsupportedMediaType, "the Content-Type must be application/json")
		return nil, false
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, longestBody))
	if err != nil {
		var long *http.MaxBytesError
		if errors.As(err, &long) {
			fail(w, r, http.StatusRequestEntityTooLarge, fmt.Sprintf("the body is longer than %d bytes", longestBody))
		} else {
			fail(w, r, http.StatusBadRequest, "the body could not be read: "+err.Error())
		}
		return nil, false
	}
	return body, true
}

func (s *Server) command(w http.ResponseWriter, r *http.Request) {
	body, ok := jsonBody(w, r)
	if !ok {
		return
	}
	c, err := decodeCommand(body)
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	c.Local = local(r)
	if why := s.movedOn(&c); why != "" {
		write(w, http.StatusConflict, "application/problem+json", struct {
			problem
			record.Answer
		}{newProblem(r, http.StatusConflict, why), record.Answer{Reason: why}})
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), operatorTime)
	defer cancel()
	a := s.cfg.Operator.Do(ctx, c)
	if a.Accepted {
		reply(w, a)
		return
	}
	write(w, http.StatusConflict, "application/problem+json", struct {
		problem
		record.Answer
	}{newProblem(r, http.StatusConflict, a.Reason), a})
}

// oldPicture is for how long a picture of the machine is good enough to act on.
const oldPicture = 3 * time.Second

// movedOn says why a command that was given to an old picture is refused, "" if
// it is not.
func (s *Server) movedOn(c *record.Command) string {
	last := s.last.Load()
	if last == nil || c.SeenState == "" || c.Kind.Soothes() {
		return ""
	}
	const why = "The machine has moved on since. Look again."
	if c.SeenState != last.scan.State {
		return why
	}
	scale := 1.0
	if s.cfg.Shop != nil {
		scale = s.cfg.Shop.Machine().TimeScale
	}
	if old := float64(last.scan.N-min(c.SeenScan, last.scan.N)) * last.scan.Timing.PeriodS / scale; old > oldPicture.Seconds() {
		return why
	}
	return ""
}

func optional(text string, otherwise uint64) (uint64, error) {
	if text == "" {
		return otherwise, nil
	}
	return strconv.ParseUint(text, 10, 64)
}
