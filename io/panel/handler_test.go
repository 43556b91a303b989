package panel

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"

	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// operator accepts all but a stop, and remembers.
type operator struct{ got []record.Command }

func (o *operator) Do(_ context.Context, c record.Command) record.Answer {
	o.got = append(o.got, c)
	if c.Kind == record.Stop {
		return record.Answer{Reason: "nothing runs"}
	}
	return record.Answer{Accepted: true, Reason: "done"}
}

// kept holds batch 41; asking for batch 500 finds a broken disk.
type kept struct{}

func (kept) Batches(_ context.Context, want record.Search) ([]record.KeptBatch, error) {
	if want.Before == 500 {
		return nil, errors.New("disk")
	}
	list := []record.KeptBatch{}
	for id := uint64(41); id > 0 && len(list) < want.Limit; id-- {
		if want.Before == 0 || id < want.Before {
			list = append(list, record.KeptBatch{ID: id, TurnS: record.Unknown, Lot: want.Lot, Recipe: want.Text})
		}
	}
	return list, nil
}

func (kept) SaveEntry(e record.Entry) (record.Entry, error) {
	switch e.Batch {
	case 41:
		if err := e.Check(); err != nil {
			return e, err
		}
		e.N = 7
		return e, nil
	case 500:
		return e, errors.New("disk")
	}
	return e, record.ErrNoBatch
}

func (kept) Batch(_ context.Context, id uint64) (record.KeptDetail, error) {
	switch id {
	case 41:
		return record.KeptDetail{KeptBatch: record.KeptBatch{ID: 41}, Samples: []record.KeptSample{}, Events: []record.KeptEvent{}}, nil
	case 500:
		return record.KeptDetail{}, errors.New("disk")
	}
	return record.KeptDetail{}, record.ErrNoBatch
}

// Alarms finds a broken disk when asked for 500.
func (kept) Alarms(_ context.Context, limit int) ([]record.KeptAlarm, error) {
	if limit == 500 {
		return nil, errors.New("disk")
	}
	return []record.KeptAlarm{{KeptEvent: record.KeptEvent{Name: "bean_high", Value: record.Unknown}, Batch: uint64(limit)}}, nil
}

func fresh() (*Server, *operator) {
	o := &operator{}
	s := New(Config{Operator: o, Batches: kept{}, History: kept{}, Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.Write([]byte("m 1\n")) })})
	sc := recordtest.Roasting()
	s.Put(&sc)
	return s, o
}

// here makes a request as if from this computer, afar as if from another at the
// address for viewers.
func here(r *http.Request) {
	from(peer{here: true, addr: netip.MustParseAddr("127.0.0.1")})(r)
}

func afar(r *http.Request) {
	from(peer{viewing: true, addr: netip.MustParseAddr("192.0.2.7")})(r)
}

func from(p peer) func(*http.Request) {
	return func(r *http.Request) { *r = *r.WithContext(context.WithValue(r.Context(), peerKey{}, p)) }
}

// request is a well-behaved one from this computer, to be edited.
func request(method, target, body string, edit ...func(*http.Request)) *http.Request {
	r := httptest.NewRequest(method, target, strings.NewReader(body))
	r.Host = "127.0.0.1:8420"
	here(r)
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for _, e := range edit {
		e(r)
	}
	return r
}

func header(name, value string) func(*http.Request) {
	return func(r *http.Request) { r.Header.Set(name, value) }
}

func host(h string) func(*http.Request) { return func(r *http.Request) { r.Host = h } }

func TestAnswers(t *testing.T) {
	const charged = `{"kind":"charged","who":"Ada"}`
	for _, c := range []struct {
		name string
		r    *http.Request
		code int
		want string // in the body
	}{
		{"state", request("GET", "/api/v1/state", ""), 200, `"bean":{"value":171.4,"unit":"°C","quality":"good"`},
		{"state under the name localhost", request("GET", "/api/v1/state", "", host("localhost:8420")), 200, `"state":"roasting"`},
		{"state over IPv6", request("GET", "/api/v1/state", "", host("[::1]:8420")), 200, `"state":"roasting"`},
		{"state without a port", request("GET", "/api/v1/state", "", host("localhost")), 200, `"state":"roasting"`},
		{"own page", request("GET", "/api/v1/state", "", header("Origin", "http://127.0.0.1:8420"), header("Sec-Fetch-Site", "same-origin")), 200, "roasting"},
		{"health", request("GET", "/healthz", ""), 200, `"scan":12040`},
		{"alarms", request("GET", "/api/v1/alarms", ""), 200, `"alarms":[{"cause":"exhaust_probe_doubtful",`},
		{"history of alarms", request("GET", "/api/v1/alarms/history", ""), 200, `{"alarms":[{"time":"","scan_s":0,"state":"","kind":"","name":"bean_high","text":"","value":null,"limit":0,"batch":100}]}`},
		{"end of the history", request("GET", "/api/v1/alarms/history?limit=1000", ""), 200, `"batch":1000`},
		{"metrics", request("GET", "/metrics", ""), 200, "m 1"},
		{"batches", request("GET", "/api/v1/batches", ""), 200, `{"batches":[{"id":41,`},
		{"page of batches", request("GET", "/api/v1/batches?before=12&limit=1", ""), 200, `{"batches":[{"id":11,`},
		{"batch", request("GET", "/api/v1/batches/41", ""), 200, `"samples":[]`},
		{"search", request("GET", "/api/v1/batches?lot=Gesha&text=%3Cb%3E&from=2026-11-01&to=2026-12-01T00:00:00Z", ""), 200, `"lot":"Gesha"`},
		{"search for a sign of HTML", request("GET", "/api/v1/batches?text=%3Cb%3E", ""), 200, `"recipe":"\u003cb\u003e"`},
		{"search for what nobody knows", request("GET", "/api/v1/batches?colour=red", ""), 400, "not known"},
		{"search twice", request("GET", "/api/v1/batches?lot=a&lot=b", ""), 400, "given twice"},
		{"search by no date", request("GET", "/api/v1/batches?from=yesterday", ""), 400, "no date"},
		{"search by no result", request("GET", "/api/v1/batches?result=good", ""), 400, "allowed are open, done and aborted"},
		{"search with control signs", request("GET", "/api/v1/batches?text=%1b%5b2J", ""), 400, "cannot be printed"},
		{"entry", request("POST", "/api/v1/batches/41/entries", `{"who":"Ada","field":"moisture_pct","value":"11.20"}`), 201, `"after":"11.2"`},
		{"entry from another page", request("POST", "/api/v1/batches/41/entries", `{"who":"Ada","field":"lot","value":"x"}`, header("Origin", "https://example.org")), 403, "another origin"},
		{"entry as a form", request("POST", "/api/v1/batches/41/entries", `{"who":"Ada","field":"lot","value":"x"}`, header("Content-Type", "text/plain")), 415, "application/json"},
		{"entry of no sense", request("POST", "/api/v1/batches/41/entries", `{"who":"Ada","field":"moisture_pct","value":"much"}`), 422, "from 3 to 25"},
		{"entry as a number", request("POST", "/api/v1/batches/41/entries", `{"who":"Ada","field":"lot","value":1}`), 400, "not a text"},
		{"entry with more", request("POST", "/api/v1/batches/41/entries", `{"who":"Ada","field":"lot","value":"x","when":"now"}`), 400, "not known"},
		{"entry by nobody", request("POST", "/api/v1/batches/41/entries", `{"field":"lot","value":"x"}`), 400, "who"},
		{"entry of no batch", request("POST", "/api/v1/batches/40/entries", `{"who":"Ada","field":"lot","value":"x"}`), 404, "no batch 40"},
		{"entry on a broken disk", request("POST", "/api/v1/batches/500/entries", `{"who":"Ada","field":"lot","value":"x"}`), 500, "log says why"},
		{"entries by GET", request("GET", "/api/v1/batches/41/entries", ""), 405, "POST only"},
		{"command", request("POST", "/api/v1/commands", charged), 200, `{"accepted":true,"reason":"done"}`},
		{"command with a charset", request("POST", "/api/v1/commands", charged, header("Content-Type", "application/json; charset=utf-8")), 200, "done"},
		{"command from the own page", request("POST", "/api/v1/commands", charged, header("Origin", "http://127.0.0.1:8420")), 200, "done"},
		{"refused command", request("POST", "/api/v1/commands", `{"kind":"stop"}`), 409, `"accepted":false,"reason":"nothing runs"`},

		{"command as a form", request("POST", "/api/v1/commands", charged, header("Content-Type", "text/plain")), 415, "application/json"},
		{"command without a type", request("POST", "/api/v1/commands", charged, func(r *http.Request) { r.Header.Del("Content-Type") }), 415, "application/json"},
		{"command of nothing", request("POST", "/api/v1/commands", " "), 400, "not a JSON object"},
		{"unknown command", request("POST", "/api/v1/commands", `{"kind":"explode"}`), 400, `kind \"explode\" is not one of`},
		{"endless command", request("POST", "/api/v1/commands", `{"kind":"`+strings.Repeat("x", 70000)+`"}`), 413, "65536"},
		{"command from another page", request("POST", "/api/v1/commands", charged, header("Origin", "https://example.org")), 403, "another origin"},
		{"command from another port", request("POST", "/api/v1/commands", charged, header("Origin", "http://127.0.0.1:3000")), 403, "another origin"},
		{"command from a file", request("POST", "/api/v1/commands", charged, header("Origin", "null")), 403, "another origin"},
		{"command from another site", request("POST", "/api/v1/commands", charged, header("Sec-Fetch-Site", "cross-site")), 403, "another site"},
		{"command by a rebound name", request("POST", "/api/v1/commands", charged, host("evil.example:8420"), header("Origin", "http://evil.example:8420")), 403, "Host"},
		{"state by a rebound name", request("GET", "/api/v1/state", "", host("evil.example")), 403, "Host"},
		{"state by an address of the network", request("GET", "/api/v1/state", "", host("192.168.1.7:8420")), 403, "Host"},
		{"no host", request("GET", "/api/v1/state", "", host("")), 403, "Host"},

		{"command by GET", request("GET", "/api/v1/commands", ""), 405, "POST only"},
		{"state by PUT", request("PUT", "/api/v1/state", "{}"), 405, "GET only"},
		{"stream by HEAD", request("HEAD", "/api/v1/events", ""), 405, "GET only"},
		{"root", request("GET", "/", ""), 200, "<!doctype html>"},
		{"part of the page", request("GET", "/page/app.js", ""), 200, "import"},
		{"no part of the page", request("GET", "/page/app.go", ""), 404, "nothing here"},
		{"now", request("GET", "/api/v1/now", ""), 200, `"headline":"Roasting`},
		{"an old picture", request("POST", "/api/v1/commands", `{"kind":"drop","seen_state":"ready","seen_scan":12000}`), 409, "moved on"},
		{"an old scan", request("POST", "/api/v1/commands", `{"kind":"drop","seen_state":"roasting","seen_scan":3}`), 409, "moved on"},
		{"an old picture and stop", request("POST", "/api/v1/commands", `{"kind":"acknowledge","seen_state":"ready","seen_scan":3}`), 200, "done"},
		{"unknown", request("GET", "/api/v2/state", ""), 404, "nothing here"},
		{"up and down", request("GET", "/api/v1/../v1/state", ""), 404, "nothing here"},
		{"up and down, disguised", request("GET", "/api/v1/%2e%2e/v1/state", ""), 404, "nothing here"},
		{"two slashes", request("GET", "//api/v1/state", ""), 404, "nothing here"},
		{"no such batch", request("GET", "/api/v1/batches/40", ""), 404, "no batch 40"},
		{"batch of letters", request("GET", "/api/v1/batches/x", ""), 400, "not a batch number"},
		{"batches of letters", request("GET", "/api/v1/batches?limit=x", ""), 400, "limit"},
		{"too many batches", request("GET", "/api/v1/batches?limit=501", ""), 400, "limit"},
		{"history of letters", request("GET", "/api/v1/alarms/history?limit=x", ""), 400, "limit"},
		{"no history", request("GET", "/api/v1/alarms/history?limit=0", ""), 400, "limit"},
		{"too long a history", request("GET", "/api/v1/alarms/history?limit=1001", ""), 400, "limit"},
		{"history with a semicolon", request("GET", "/api/v1/alarms/history?limit=1;x", ""), 400, "limit"},
		{"broken history", request("GET", "/api/v1/alarms/history?limit=500", ""), 500, "log says why"},
		{"alarms by POST", request("POST", "/api/v1/alarms", "{}"), 405, "GET only"},
		{"broken list", request("GET", "/api/v1/batches?before=500", ""), 500, "log says why"},
		{"broken batch", request("GET", "/api/v1/batches/500", ""), 500, "log says why"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, o := fresh()
			w := httptest.NewRecorder()
			s.Handler().ServeHTTP(w, c.r)
			if w.Code != c.code || !strings.Contains(w.Body.String(), c.want) {
				t.Fatalf("%d %s; want %d with %q", w.Code, w.Body, c.code, c.want)
			}
			if c.code >= 300 {
				checkProblem(t, w, c.r)
			}
			if reached := len(o.got) > 0; reached != (c.code == 200 && c.r.Method == "POST" || c.code == 409 && c.want != "moved on") {
				t.Errorf("the operator got %v", o.got)
			}
			if w.Header().Get("Access-Control-Allow-Origin") != "" {
				t.Error("other origins are let in")
			}
		})
	}
}

// checkProblem holds an answer to RFC 9457, section 3.
func checkProblem(t *testing.T, w *httptest.ResponseRecorder, r *http.Request) {
	t.Helper()
	if got := w.Header().Get("Content-Type"); got != "application/problem+json" {
		t.Errorf("content type %q", got)
	}
	var p struct {
		Type, Title, Detail, Instance string
		Status                        int
	}
	if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil {
		t.Fatal(err)
	}
	if p.Type != "about:blank" || p.Title != http.StatusText(w.Code) || p.Status != w.Code || p.Detail == "" || p.Instance != r.URL.EscapedPath() {
		t.Errorf("problem %+v", p)
	}
}

func TestBeforeTheFirstScan(t *testing.T) {
	s := New(Config{Operator: &operator{}})
	for path, code := range map[string]int{"/api/v1/state": 503, "/api/v1/alarms": 503, "/api/v1/alarms/history": 404, "/healthz": 503, "/metrics": 404, "/api/v1/batches": 404, "/api/v1/batches/1": 404, "/api/v1/events": 503} {
		w := httptest.NewRecorder()
		s.Handler().ServeHTTP(w, request("GET", path, ""))
		if w.Code != code {
			t.Errorf("%s: %d, want %d", path, w.Code, code)
		}
		checkProblem(t, w, request("GET", path, ""))
	}
}

func TestHealthEndsWithTheScans(t *testing.T) {
	s, _ := fresh()
	s.cfg.Stale = 1 // a nanosecond
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, request("GET", "/healthz", ""))
	if w.Code != 503 || !strings.Contains(w.Body.String(), "last scan") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}
