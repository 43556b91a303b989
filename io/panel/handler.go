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
	commandPath  = "/api/v1/commands"
)

// route is one thing that can be asked. need is the role that it takes; what is
// asked with another method than GET changes something. Commands look for
// themselves, by their kind.
type route struct {
	method, path string
	need         record.Role
	handle       http.HandlerFunc
}

func (s *Server) routes() []route {
	const none, look, operate, engineer = record.RoleNone, record.RoleLook, record.RoleOperate, record.RoleEngineer
	return []route{
		{"GET", "/api/v1/openapi.yaml", none, openAPI},
		{"GET", sessionPath, none, s.session},
		{"POST", sessionPath, none, s.signIn},
		{"DELETE", sessionPath, none, s.signOut},
		{"GET", "/api/v1/state", look, s.ofScan(stateOf)},
		{"GET", streamPath, look, s.stream.serve},
		{"GET", "/api/v1/now", look, s.ofScan(nowOf)},
		{"GET", "/api/v1/machine", look, s.machine},
		{"GET", "/api/v1/machine/matrix", look, s.matrix},
		{"GET", "/api/v1/machine/commissioning", look, s.commissioning},
		{"GET", "/api/v1/recipes", look, s.recipes},
		{"GET", "/api/v1/recipes/{name}", look, s.recipe},
		{"GET", "/api/v1/alarms", look, s.ofScan(alarmsOf)},
		{"GET", "/api/v1/alarms/history", look, s.history},
		{"POST", commandPath, none, s.command},
		{"GET", controlPath, look, s.whoHasControl},
		{"POST", controlPath, operate, s.passControl},
		{"GET", "/api/v1/batches", look, s.batches},
		{"GET", "/api/v1/batches/{id}", look, s.batch},
		{"POST", "/api/v1/batches/{id}/entries", operate, s.enter},
		{"GET", "/api/v1/batches/{id}/report", look, s.oneFromAfar(s.reportBatch)},
		{"GET", "/api/v1/reports/compare", look, s.oneFromAfar(s.reportCompare)},
		{"GET", "/api/v1/reports/lot", look, s.oneFromAfar(s.reportLot)},
		{"GET", "/api/v1/reports/month", look, s.oneFromAfar(s.reportMonth)},
		{"GET", "/api/v1/reports/batches.csv", look, s.oneFromAfar(s.exportBatches)},
		{"GET", "/api/v1/next-batch", look, s.nextBatch},
		{"POST", "/api/v1/next-batch", operate, s.sayNextBatch},
		{"POST", "/api/v1/recipes/{name}", engineer, s.saveRecipe},
		{"POST", "/api/v1/recipes/{name}/check", operate, s.checkRecipe},
		{"GET", "/api/v1/recipes/{name}/versions", look, s.recipeVersions},
		{"GET", "/api/v1/recipes/{name}/versions/{hash}", look, s.recipeVersion},
		{"GET", "/api/v1/batches/{id}/recipe", look, s.draftRecipe},
		{"GET", "/api/v1/recipes/{name}/preflight", look, s.oneFromAfar(s.preflight)},
		{"POST", "/api/v1/batches/{id}/weight", operate, s.weigh},
		{"GET", "/api/v1/learning", look, s.learning},
		{"POST", "/api/v1/learning", engineer, s.changeLearning},
		{"GET", "/api/v1/proofs", look, s.proofs},
		{"POST", "/api/v1/proofs", engineer, s.prove},
		{"POST", "/api/v1/proofs/begin", engineer, s.beginProving},
		{"GET", "/api/v1/audit", engineer, s.audit},
		{"GET", "/metrics", look, s.metrics},
		{"GET", "/healthz", none, s.healthz},
	}
}

// Handler answers everything that the package comment lists, and with a problem
// everything else.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	methods := make(map[string][]string) // of each path
	for _, route := range s.routes() {
		mux.HandleFunc(route.method+" "+route.path, s.guarded(route))
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
	audited := s.audited(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if why := s.foreign(r); why != "" {
			fail(w, r, http.StatusForbidden, why)
			return
		}
		// The mux would redirect a path that is not clean; here nobody writes one
		// in good faith. "*" names no path, and the mux has no words for it.
		if r.RequestURI == "*" || path.Clean(r.URL.Path) != r.URL.Path {
			notFound(w, r)
			return
		}
		mux.ServeHTTP(w, r)
	}))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		audited.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), visitorKey{}, s.visit(r))))
	})
}

// guarded lets through who has the role that a route needs.
func (s *Server) guarded(x route) http.HandlerFunc {
	changes := x.method != http.MethodGet && x.path != sessionPath && x.path != commandPath
	return func(w http.ResponseWriter, r *http.Request) {
		if why := s.mayNot(visitorOf(r), x.need, changes); why != "" {
			forbid(w, r, why)
			return
		}
		x.handle(w, r)
	}
}

// unread answers that the journal cannot be read: what of it, and why, says the log.
func (s *Server) unread(w http.ResponseWriter, r *http.Request, what string, err error, about ...any) {
	s.cfg.Log.Error(what, append(about, "err", err)...)
	fail(w, r, http.StatusInternalServerError, "the journal cannot be read; the log says why")
}

// oneFromAfar lets those elsewhere ask for one thing at a time of what takes a good
// part of a core, so that they cannot slow down those at the machine.
func (s *Server) oneFromAfar(handle http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if s.takeTurn(w, r) {
			defer s.endTurn(r)
			handle(w, r)
		}
	}
}

// takeTurn reports whether it is the turn of somebody elsewhere, and has answered if
// not. Those at the machine need none.
func (s *Server) takeTurn(w http.ResponseWriter, r *http.Request) bool {
	if local(r) || s.busyAfar.TryLock() {
		return true
	}
	w.Header().Set("Retry-After", "2")
	fail(w, r, http.StatusServiceUnavailable, "something is being worked out for another viewer: ask again")
	return false
}

func (s *Server) endTurn(r *http.Request) {
	if !local(r) {
		s.busyAfar.Unlock()
	}
}

func notFound(w http.ResponseWriter, r *http.Request) {
	fail(w, r, http.StatusNotFound, "there is nothing here")
}

// ofScan answers with what is made of the last scan.
func (s *Server) ofScan(view func(*record.Scan) any) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		last := s.last.Load()
		if last == nil {
			fail(w, r, http.StatusServiceUnavailable, "no scan has been made yet")
			return
		}
		reply(w, view(&last.scan))
	}
}

func stateOf(s *record.Scan) any  { return record.NewView(s) }
func alarmsOf(s *record.Scan) any { return record.NewAlarmsView(s) }

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
		s.unread(w, r, "history of alarms not read", err)
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
			w.Header().Set("Connection", "close") // the rest is not read
			fail(w, r, http.StatusRequestEntityTooLarge, fmt.Sprintf("the body is longer than %d bytes", longestBody))
		} else {
			fail(w, r, http.StatusBadRequest, "the body could not be read: "+err.Error())
		}
		return nil, false
	}
	if r.URL.Path != sessionPath { // a password is written down nowhere
		noteOf(r).noteBody(body)
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
	v := visitorOf(r)
	c.Local = v.local
	noteOf(r).action = string(c.Kind)
	if why := s.mayNot(v, c.Kind.Need(), true); why != "" {
		forbid(w, r, why)
		return
	}
	if v.account != "" {
		c.Who = v.account // whatever name was given: this one was proved
	}
	h, screen := handOf(r, c.Who)
	why := s.movedOn(&c)
	if why == "" && needsControl(c.Kind, v) {
		why = s.hands.refuses(h)
	}
	if why != "" {
		write(w, http.StatusConflict, "application/problem+json", struct {
			problem
			record.Answer
		}{newProblem(r, http.StatusConflict, why), record.Answer{Reason: why}})
		return
	}
	if c.Kind == record.LoadRecipe { // it is flown first
		if !s.takeTurn(w, r) {
			return
		}
		defer s.endTurn(r)
	}
	ctx, cancel := context.WithTimeout(r.Context(), operatorTime)
	defer cancel()
	a := s.cfg.Operator.Do(ctx, c)
	if a.Accepted {
		s.hands.used(h, screen && v.local && needsControl(c.Kind, v))
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
