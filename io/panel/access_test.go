package panel

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"sync"
	"testing"
	"time"

	"drumwright/io/access"
	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// doorman knows the accounts look, operate and engineer, whose token is their name
// and whose password is "open sesame"; there are none if it is empty.
type doorman struct {
	asked bool
	mu    sync.Mutex
	out   string // token that signed out
}

func (d *doorman) Asked() bool { return d.asked }
func (d *doorman) Session(token string, _ bool) (access.Account, bool) {
	role, err := record.ParseRole(token)
	d.mu.Lock()
	defer d.mu.Unlock()
	return access.Account{Name: token, Role: role}, err == nil && d.out != token
}
func (d *doorman) SignOut(token string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.out = token
}
func (d *doorman) SignIn(_ context.Context, name, password, from string, _ bool) (string, access.Account, error) {
	switch {
	case from == "192.0.2.66":
		return "", access.Account{}, access.TooOften{Wait: 1500 * time.Millisecond}
	case password == "broken disk":
		return "", access.Account{}, errors.New("disk")
	case password != "open sesame":
		return "", access.Account{}, access.ErrWrong
	}
	a, _ := d.Session(name, true)
	return name, a, nil
}

// ledger remembers what was noted.
type ledger struct {
	mu  sync.Mutex
	got []record.Audit
}

func (l *ledger) Audit(a record.Audit) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.got = append(l.got, a)
}

func (l *ledger) Audits(_ context.Context, want record.AuditSearch) ([]record.Audit, error) {
	if want.Before == 500 {
		return nil, errors.New("disk")
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]record.Audit{}, l.got...), nil
}

func guardedPanel(asked, remote bool) (*Server, *operator, *ledger) {
	o, l := &operator{}, &ledger{}
	s := New(Config{Operator: o, Batches: kept{}, History: kept{}, Proofs: &shelf{}, Learning: pupil{}, Accounts: &doorman{asked: asked}, Audit: l, Remote: remote,
		Names: []string{"roaster.example"}, Proxies: []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32"), netip.MustParsePrefix("192.0.2.8/32")}})
	sc := recordtest.Roasting()
	s.Put(&sc)
	return s, o, l
}

// as gives a request the session of an account, "" for none.
func as(account string) func(*http.Request) {
	return func(r *http.Request) {
		if account != "" {
			r.AddCookie(&http.Cookie{Name: cookieName, Value: account})
		}
	}
}

func viaProxy(r *http.Request) { r.Header.Set("X-Forwarded-For", "192.0.2.7") }
func overSocket(r *http.Request) {
	from(peer{here: true, unix: true})(r)
}

// Who may do what from where: the whole table.
func TestWhoMayDoWhat(t *testing.T) {
	const l, o, e = "look", "operate", "engineer"
	roles := []string{"", l, o, e}
	all := map[string]bool{"": true, l: true, o: true, e: true}
	none := map[string]bool{}
	atLeast := map[string]map[string]bool{l: {l: true, o: true, e: true}, o: {o: true, e: true}, e: {e: true}}
	type place struct {
		name string
		edit func(*http.Request)
	}
	here, socket := place{"here", here}, place{"socket", overSocket}
	far, proxy := place{"afar", afar}, place{"proxy", viaProxy}
	const ( // columns
		look = iota
		soothe
		roast
		byHand
		enter
		prove
		teach
		audit
	)
	asks := []func(edit ...func(*http.Request)) *http.Request{
		look: func(ed ...func(*http.Request)) *http.Request { return request("GET", "/api/v1/state", "", ed...) },
		soothe: func(ed ...func(*http.Request)) *http.Request {
			return request("POST", commandPath, `{"kind":"hold"}`, ed...)
		},
		roast: func(ed ...func(*http.Request)) *http.Request {
			return request("POST", commandPath, `{"kind":"warm"}`, ed...)
		},
		byHand: func(ed ...func(*http.Request)) *http.Request {
			return request("POST", commandPath, `{"kind":"manual","loop":"air","value":0.1}`, ed...)
		},
		enter: func(ed ...func(*http.Request)) *http.Request {
			return request("POST", "/api/v1/batches/41/entries", `{"who":"Ada","field":"lot","value":"x"}`, ed...)
		},
		prove: func(ed ...func(*http.Request)) *http.Request {
			return request("POST", "/api/v1/proofs", `{"test":"a","who":"Ada","result":"pass"}`, ed...)
		},
		teach: func(ed ...func(*http.Request)) *http.Request {
			return request("POST", "/api/v1/learning", `{"scope":"coffee","name":"lot 12","do":"undo","who":"Ada"}`, ed...)
		},
		audit: func(ed ...func(*http.Request)) *http.Request { return request("GET", "/api/v1/audit", "", ed...) },
	}
	for _, c := range []struct {
		where         []place
		asked, remote bool
		want          [8]map[string]bool // who may, by column
	}{
		{[]place{here, socket}, false, false, [8]map[string]bool{all, all, all, all, all, all, all, all}},
		{[]place{here}, true, false, [8]map[string]bool{all, all, atLeast[o], atLeast[e], atLeast[o], atLeast[e], atLeast[e], atLeast[e]}},
		{[]place{here}, true, true, [8]map[string]bool{all, all, atLeast[o], atLeast[e], atLeast[o], atLeast[e], atLeast[e], atLeast[e]}},
		{[]place{socket}, true, false, [8]map[string]bool{all, all, all, all, all, all, all, all}},
		{[]place{far, proxy}, false, false, [8]map[string]bool{all, none, none, none, none, none, none, none}},
		{[]place{far, proxy}, false, true, [8]map[string]bool{all, none, none, none, none, none, none, none}},
		{[]place{far, proxy}, true, false, [8]map[string]bool{atLeast[l], none, none, none, none, none, none, none}},
		// Commands reach the controller, which knows what is taken at the machine only.
		{[]place{far, proxy}, true, true, [8]map[string]bool{atLeast[l], atLeast[o], atLeast[o], atLeast[e], atLeast[o], none, none, atLeast[e]}},
	} {
		for _, p := range c.where {
			for col, ask := range asks {
				for _, account := range roles {
					s, op, led := guardedPanel(c.asked, c.remote)
					if !c.asked && account != "" {
						continue // there are none
					}
					r := ask(p.edit, as(account))
					w := httptest.NewRecorder()
					s.Handler().ServeHTTP(w, r)
					want := c.want[col][account]
					if got := w.Code < 300; got != want || !want && w.Code != 403 {
						t.Errorf("%s, accounts %v, remote %v, %s %s as %q: %d %s; want allowed %v", p.name, c.asked, c.remote, r.Method, r.URL, account, w.Code, w.Body, want)
					}
					if !want {
						checkProblem(t, w, r)
					}
					if command := col == soothe || col == roast || col == byHand; (len(op.got) > 0) != (want && command) {
						t.Errorf("the operator got %+v", op.got)
					} else if want && command && op.got[0].Local != (p.name == "here" || p.name == "socket") {
						t.Errorf("%s: given at the machine: %v", p.name, op.got[0].Local)
					}
					if changes := r.Method == "POST"; (len(led.got) == 1) != changes || changes && led.got[0].Accepted != want {
						t.Errorf("%s %s as %q is noted as %+v", r.Method, r.URL, account, led.got)
					}
				}
			}
		}
	}
}

// Nothing that a sender says makes them stand at the machine.
func TestNoHeaderLeadsToTheMachine(t *testing.T) {
	for _, h := range [][2]string{{"X-Forwarded-For", "127.0.0.1"}, {"X-Real-IP", "::1"}, {"Forwarded", "for=127.0.0.1"}, {"X-Forwarded-Proto", "https"}, {"X-Forwarded-Host", "127.0.0.1"}} {
		for _, remote := range []bool{false, true} {
			s, o, _ := guardedPanel(true, remote)
			w := httptest.NewRecorder()
			s.Handler().ServeHTTP(w, request("POST", commandPath, `{"kind":"drop"}`, afar, header(h[0], h[1])))
			if w.Code != 403 || len(o.got) > 0 {
				t.Errorf("%s: %d, %+v", h, w.Code, o.got)
			}
		}
	}
}

// A proxy beside the daemon connects from here; any one of the headers by which
// proxies tell of themselves shows that whoever asks is elsewhere.
func TestRelayedIsNotHere(t *testing.T) {
	for _, h := range [][2]string{{"Forwarded", "for=192.0.2.7"}, {"X-Forwarded-For", "192.0.2.7"}, {"X-Forwarded-Proto", "http"}, {"X-Forwarded-Host", "roaster.example"},
		{"X-Forwarded-Port", "80"}, {"X-Forwarded-Server", "roaster.example"}, {"X-Real-IP", "192.0.2.7"}, {"Via", "1.1 roaster.example"}, {"Via", ""},
		{"X-Forwarded", "for=192.0.2.7"}, {"Forwarded-For", "192.0.2.7"}, {"X-Client-IP", "192.0.2.7"}, {"Client-IP", "192.0.2.7"}, {"X-Original-Host", "roaster.example"}} {
		for name, place := range map[string]func(*http.Request){"loopback": here, "socket": overSocket} {
			s, o, led := guardedPanel(false, false)
			w := httptest.NewRecorder()
			r := request("POST", commandPath, `{"kind":"warm"}`, place, header(h[0], h[1]))
			s.Handler().ServeHTTP(w, r)
			if w.Code != 403 || len(o.got) > 0 {
				t.Errorf("%s over %s: %d, %+v", h, name, w.Code, o.got)
			}
			checkProblem(t, w, r)
			if len(led.got) != 1 || led.got[0].Accepted || led.got[0].Local {
				t.Errorf("%s over %s is noted as %+v", h, name, led.got)
			}
		}
	}
}

func TestSource(t *testing.T) {
	s, _, _ := guardedPanel(true, false)
	at := func(a string) func(*http.Request) { return from(peer{viewing: true, addr: netip.MustParseAddr(a)}) }
	for _, c := range []struct {
		name   string
		edit   []func(*http.Request)
		want   string
		secure bool
	}{
		{"here", []func(*http.Request){here}, "127.0.0.1", true},
		{"socket", []func(*http.Request){overSocket}, "socket", true},
		{"afar", []func(*http.Request){afar}, "192.0.2.7", false},
		{"a stranger who claims to relay", []func(*http.Request){afar, header("X-Forwarded-For", "192.0.2.200"), header("X-Forwarded-Proto", "https")}, "192.0.2.7", false},
		{"a proxy here", []func(*http.Request){here, header("X-Forwarded-For", "192.0.2.200"), header("X-Forwarded-Proto", "https")}, "192.0.2.200", true},
		{"a proxy without TLS", []func(*http.Request){at("192.0.2.8"), header("X-Forwarded-For", "192.0.2.200")}, "192.0.2.200", false},
		{"two proxies, and an invention before", []func(*http.Request){here, header("X-Forwarded-For", "10.0.0.1, 192.0.2.200, 192.0.2.8")}, "192.0.2.200", false},
		{"rubbish", []func(*http.Request){at("192.0.2.8"), header("X-Forwarded-For", "<script>")}, "192.0.2.8", false},
		{"IPv4 as IPv6", []func(*http.Request){at("192.0.2.8"), header("X-Forwarded-For", "::ffff:192.0.2.200")}, "192.0.2.200", false},
	} {
		v := s.visit(request("GET", "/", "", c.edit...))
		if v.source != c.want || v.secure != c.secure {
			t.Errorf("%s: %+v, want %s, secure %v", c.name, v, c.want, c.secure)
		}
	}
	for source, want := range map[string]string{"2001:db8:1:2:3::4": "2001:db8:1:2::/64", "192.0.2.1": "192.0.2.1", "socket": "socket"} {
		if got := network(source); got != want {
			t.Errorf("network of %s: %s", source, got)
		}
	}
}

func TestSigningIn(t *testing.T) {
	const right = `{"account":"operate","password":"open sesame"}`
	post := func(body string, edit ...func(*http.Request)) *http.Request {
		return request("POST", sessionPath, body, edit...)
	}
	tls := func(r *http.Request) {
		viaProxy(r)
		r.Header.Set("X-Forwarded-Proto", "https")
		r.Host = "roaster.example"
	}
	for _, c := range []struct {
		name   string
		r      *http.Request
		code   int
		want   string
		cookie string
	}{
		{"here", post(right), 201, `{"account":"operate","role":"operate","asked":true,"at_machine":true,"commands":true,"secure":true}`, "drumwright=operate; Path=/; HttpOnly; SameSite=Strict"},
		{"over TLS", post(right, tls, header("Origin", "https://roaster.example")), 201, `"role":"look","asked":true,"at_machine":false,"commands":false`, "drumwright=operate; Path=/; HttpOnly; Secure; SameSite=Strict"},
		{"in the clear", post(right, afar), 403, "read on the way", ""},
		{"from a page in the clear", post(right, tls, header("Origin", "http://roaster.example")), 403, "another origin", ""},
		{"by a name that is not listed", post(right, tls, host("evil.example")), 403, "access.names", ""},
		{"wrong", post(`{"account":"operate","password":"x"}`), 403, "account or password is wrong", ""},
		{"too often", post(right, tls, header("X-Forwarded-For", "192.0.2.66")), 429, "wait 2 s", ""},
		{"broken", post(`{"account":"operate","password":"broken disk"}`), 500, "the log says why", ""},
		{"half", post(`{"account":"operate"}`), 400, "missing", ""},
		{"more", post(`{"account":"a","password":"b","role":"engineer"}`), 400, "not known", ""},
		{"as a form", post(right, header("Content-Type", "text/plain")), 415, "application/json", ""},
		{"from another page", post(right, header("Origin", "https://example.org")), 403, "another origin", ""},
		{"out", request("DELETE", sessionPath, "", as("operate")), 200, `"account":"","role":"look"`, "drumwright=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict"},
		{"who am I", request("GET", sessionPath, "", as("engineer")), 200, `"account":"engineer","role":"engineer"`, ""},
		{"nobody afar", request("GET", sessionPath, "", afar), 200, `{"account":"","role":"","asked":true,"at_machine":false,"commands":false,"secure":false}`, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, _, led := guardedPanel(true, false)
			w := httptest.NewRecorder()
			s.Handler().ServeHTTP(w, c.r)
			if w.Code != c.code || !strings.Contains(w.Body.String(), c.want) || w.Header().Get("Set-Cookie") != c.cookie {
				t.Errorf("%d %s, cookie %q; want %d with %q, cookie %q", w.Code, w.Body, w.Header().Get("Set-Cookie"), c.code, c.want, c.cookie)
			}
			if c.code >= 300 {
				checkProblem(t, w, c.r)
			}
			if c.code == 429 && w.Header().Get("Retry-After") != "2" {
				t.Errorf("Retry-After %q", w.Header().Get("Retry-After"))
			}
			text, _ := json.Marshal(led.got)
			if strings.Contains(string(text), "sesame") || c.r.Method != "GET" && len(led.got) != 1 {
				t.Errorf("noted: %s", text)
			}
		})
	}
	s, _, _ := guardedPanel(false, false)
	w := httptest.NewRecorder()
	if s.Handler().ServeHTTP(w, post(right)); w.Code != 404 {
		t.Errorf("without accounts: %d %s", w.Code, w.Body)
	}
}

// Whoever has signed in cannot give another name.
func TestNameIsThatOfTheSession(t *testing.T) {
	s, o, led := guardedPanel(true, false)
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, request("POST", commandPath, `{"kind":"charged","who":"Somebody Else"}`, as("operate")))
	if w.Code != 200 || o.got[0].Who != "operate" {
		t.Errorf("%d, %+v", w.Code, o.got)
	}
	if a := led.got[0]; a.Account != "operate" || a.Who != "Somebody Else" || a.Action != "charged" || a.Source != "127.0.0.1" || !a.Local || a.Reason != "done" {
		t.Errorf("noted %+v", a)
	}
}

func TestAuditLog(t *testing.T) {
	for _, c := range []struct {
		name, query string
		code        int
		want        string
	}{
		{"empty", "", 200, `{"audit":[]}`},
		{"all conditions", "?before=7&limit=5&from=2026-11-01&to=2026-12-01&refused=true", 200, `[]`},
		{"unknown", "?who=ada", 400, "not known"},
		{"twice", "?limit=1&limit=2", 400, "twice"},
		{"too many", "?limit=1001", 400, "1 to 1000"},
		{"no word", "?refused=perhaps", 400, "true and false"},
		{"no date", "?from=x", 400, "no date"},
		{"broken", "?before=500", 500, "the log says why"},
	} {
		s, _, _ := guardedPanel(false, false)
		w := httptest.NewRecorder()
		r := request("GET", "/api/v1/audit"+c.query, "")
		if s.Handler().ServeHTTP(w, r); w.Code != c.code || !strings.Contains(w.Body.String(), c.want) {
			t.Errorf("%s: %d %s", c.name, w.Code, w.Body)
		}
		if c.code >= 300 {
			checkProblem(t, w, r)
		}
	}
}

// A stranger who asks a thousand times does not fill the disk, and what is left
// out is counted; what those at the machine do is always noted.
func TestStrangersDoNotFillTheDisk(t *testing.T) {
	s, _, led := guardedPanel(true, true)
	h := s.Handler()
	ask := func(edit ...func(*http.Request)) {
		h.ServeHTTP(httptest.NewRecorder(), request("POST", commandPath, `{"kind":"stop","who":"`+strings.Repeat("x", 3000)+`"}`, edit...))
		h.ServeHTTP(httptest.NewRecorder(), request("POST", "/"+strings.Repeat("y", 3000), "{}", edit...))
	}
	for range 500 {
		ask(afar)
	}
	if n := len(led.got); n != mostRefusals {
		t.Errorf("%d rows", n)
	}
	text, _ := json.Marshal(led.got)
	if perRow := len(text) / len(led.got); perRow > 1500 {
		t.Errorf("%d bytes a row", perRow)
	}
	h.ServeHTTP(httptest.NewRecorder(), request("POST", commandPath, `{"kind":"hold"}`))
	if a := led.got[len(led.got)-1]; a.Action != "hold" || !a.Accepted {
		t.Errorf("what was done here is not noted: %+v", a)
	}
	s.refusals.begun = s.refusals.begun.Add(-time.Hour)
	ask(afar)
	if a := led.got[len(led.got)-2]; !strings.Contains(a.Reason, "970 more") {
		t.Errorf("what was left out is not counted: %q", a.Reason)
	}
}

// flyer takes its time for each command, and counts those that it has at once.
type flyer struct {
	in, out chan struct{}
}

func (f flyer) Do(context.Context, record.Command) record.Answer {
	f.in <- struct{}{}
	<-f.out
	return record.Answer{Accepted: true, Reason: "done"}
}

// Loading a recipe takes a good part of a core: those elsewhere do it one at a time,
// so that no storm of it makes the scan late; those at the machine wait for nobody.
func TestRecipesAreLoadedOneAtATimeFromAfar(t *testing.T) {
	s, _, _ := guardedPanel(true, true)
	f := flyer{make(chan struct{}), make(chan struct{})}
	s.cfg.Operator = f
	h := s.Handler()
	ask := func(body string, edit ...func(*http.Request)) chan int {
		code := make(chan int, 1)
		go func() {
			w := httptest.NewRecorder()
			h.ServeHTTP(w, request("POST", commandPath, body, edit...))
			code <- w.Code
		}()
		return code
	}
	const load = `{"kind":"load-recipe","recipe":"harbour-medium"}`
	first := ask(load, afar, as("operate"))
	<-f.in
	if code := <-ask(load, afar, as("operate")); code != http.StatusServiceUnavailable {
		t.Errorf("a second at once: %d", code)
	}
	others := []chan int{ask(load, here, as("operate")), ask(`{"kind":"stop"}`, afar, as("operate"))}
	for range others {
		<-f.in
	}
	close(f.out)
	for _, code := range append(others, first) {
		if c := <-code; c != http.StatusOK {
			t.Errorf("answered %d", c)
		}
	}
	next := ask(load, afar, as("operate"))
	<-f.in
	if c := <-next; c != http.StatusOK {
		t.Errorf("once the first is done: %d", c)
	}
}
