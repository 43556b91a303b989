package panel

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// screen is a browser at the machine: it keeps what it was given to be known by.
type screen struct {
	s    *Server
	hand *http.Cookie
	who  string
}

func meet(t *testing.T, s *Server, who string) *screen {
	t.Helper()
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, request("GET", controlPath, ""))
	list := w.Result().Cookies()
	if w.Code != 200 || len(list) != 1 || !list[0].HttpOnly || list[0].SameSite != http.SameSiteStrictMode {
		t.Fatalf("%d, %v", w.Code, list)
	}
	return &screen{s, list[0], who}
}

func (x *screen) ask(path, body string) (int, string) {
	w := httptest.NewRecorder()
	r := request("POST", path, body)
	if x.hand != nil {
		r.AddCookie(x.hand)
	}
	x.s.Handler().ServeHTTP(w, r)
	return w.Code, w.Body.String()
}

func (x *screen) pass(do string) int {
	code, _ := x.ask(controlPath, `{"do":"`+do+`","who":"`+x.who+`"}`)
	return code
}

func (x *screen) give(k record.Kind) (int, string) {
	return x.ask(commandPath, `{"kind":"`+string(k)+`","who":"`+x.who+`"}`)
}

func (x *screen) view(t *testing.T) (v controlView) {
	t.Helper()
	w := httptest.NewRecorder()
	r := request("GET", controlPath, "")
	r.AddCookie(x.hand)
	x.s.Handler().ServeHTTP(w, r)
	if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil || len(w.Result().Cookies()) > 0 {
		t.Fatal(err, w.Result().Cookies())
	}
	return v
}

// Control goes to the first who commands, passes when it is taken or handed to who
// asked, and all others are refused in words but for what takes heat away or
// answers an alarm.
func TestControlPasses(t *testing.T) {
	s, o := fresh()
	ada, ben, terminal := meet(t, s, "Ada"), meet(t, s, "Ben"), &screen{s: s, who: "Cid"}
	if code, _ := terminal.give(record.Charged); code != 200 || ada.view(t).ID != "" {
		t.Errorf("a terminal while nobody has control: %d; %+v", code, ada.view(t))
	}
	if code, _ := ada.give(record.DropNow); code != 200 || ada.view(t).ID != "" {
		t.Errorf("what needs no control took it: %d", code)
	}
	if code, _ := ada.give(record.Charged); code != 200 || ada.view(t).ID != ada.view(t).You || ada.view(t).Has != "Ada" {
		t.Fatalf("the first to command: %d, %+v", code, ada.view(t))
	}
	before := len(o.got)
	for _, x := range []*screen{ben, terminal, {s: s}} {
		code, body := x.give(record.FirstCrack)
		if code != 409 || !strings.Contains(body, "Ada has control. Take control, or ask.") {
			t.Errorf("%s: %d %s", x.who, code, body)
		}
	}
	if len(o.got) != before {
		t.Errorf("the machine heard %v", o.got[before:])
	}
	for _, k := range record.Kinds {
		free := k == record.Stop || k == record.Acknowledge || k == record.Silence || k == record.CallFire || k == record.DropNow || k == record.Hold
		if w := httptest.NewRecorder(); true {
			r := request("POST", commandPath, goodCommand(k))
			r.AddCookie(ben.hand)
			s.Handler().ServeHTTP(w, r)
			if refused := strings.Contains(w.Body.String(), "has control"); refused == free {
				t.Errorf("%s without control: %d %s", k, w.Code, w.Body)
			}
		}
	}
	if code := ben.pass("give"); code != 409 {
		t.Errorf("gave what he has not: %d", code)
	}
	if code := ada.pass("give"); code != 409 {
		t.Errorf("gave to nobody: %d", code)
	}
	if code := ben.pass("ask"); code != 200 || ada.view(t).Asks != "Ben" || ben.view(t).AsksID != ben.view(t).You {
		t.Errorf("asked: %d, %+v", code, ada.view(t))
	}
	if code := ada.pass("give"); code != 200 || ben.view(t).ID != ben.view(t).You || ben.view(t).AsksID != "" {
		t.Errorf("handed over: %d, %+v", code, ben.view(t))
	}
	if code := terminal.pass("take"); code != 200 || ben.view(t).Has != "Cid" {
		t.Errorf("taken by a terminal: %d, %+v", code, ben.view(t))
	}
	if code, _ := terminal.give(record.FirstCrack); code != 200 {
		t.Errorf("the terminal with control: %d", code)
	}
	if code := terminal.pass("release"); code != 200 || ben.view(t).ID != "" {
		t.Errorf("let go: %d, %+v", code, ben.view(t))
	}
	for body, want := range map[string]int{`{"do":"steal","who":"Ben"}`: 400, `{"do":"take"}`: 400, `{"do":"take","who":"Ben","x":1}`: 400} {
		if code, _ := ben.ask(controlPath, body); code != want {
			t.Errorf("%s: %d", body, code)
		}
	}
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, request("POST", controlPath, `{"do":"take","who":"Dan"}`, afar))
	if w.Code != 403 {
		t.Errorf("taken from afar: %d", w.Code)
	}
}

// Control lapses when it has lain untouched on a cold machine, never in a batch;
// asking lapses soon.
func TestControlLapses(t *testing.T) {
	s, _ := fresh()
	at := time.Unix(1e9, 0)
	s.hands.now = func() time.Time { return at }
	ada, ben := meet(t, s, "Ada"), meet(t, s, "Ben")
	ada.pass("take")
	ben.pass("ask")
	at = at.Add(2 * time.Hour)
	s.hands.lapse("roasting")
	if v := ben.view(t); v.Has != "Ada" || v.AsksID != "" {
		t.Errorf("in a batch: %+v", v)
	}
	ada.give(record.FirstCrack) // touched
	at = at.Add(29 * time.Minute)
	if s.hands.lapse("cold"); ben.view(t).Has != "Ada" {
		t.Error("lapsed too soon")
	}
	at = at.Add(2 * time.Minute)
	if s.hands.lapse("cold"); ben.view(t).ID != "" {
		t.Errorf("untouched on a cold machine: %+v", ben.view(t))
	}
}

// All that look on hear who has control, and how many they are.
func TestControlIsStreamed(t *testing.T) {
	s, _ := fresh()
	s.stream.open = true
	one := s.stream.join(true)
	for range 5 {
		<-one
	}
	ada := meet(t, s, "Ada")
	ada.pass("take")
	s.stream.mu.Lock()
	s.stream.sendControl()
	s.stream.sendControl() // nothing new
	s.stream.mu.Unlock()
	if f := string(<-one); !strings.HasPrefix(f, "event: control\n") || !strings.Contains(f, `"has":"Ada"`) || !strings.Contains(f, `"viewers":1`) || !strings.Contains(f, `"you":""`) {
		t.Errorf("frame: %s", f)
	}
	if len(one) != 0 {
		t.Errorf("told again what was told: %s", <-one)
	}
	sc := recordtest.Roasting()
	s.Put(&sc)
}
