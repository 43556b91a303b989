package panel

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"sync"
	"time"

	"drumwright/io/record"
)

// One person at a time has control: two who each think that they lead a roast
// spoil it. Control is taken at the machine by whoever holds the button; nobody
// can keep it from them, for a tablet may lie somewhere with an empty battery.
// While nobody has it, the first who commands by the page gets it. What takes heat
// away, answers an alarm or calls for help needs no control.

const (
	controlPath = "/api/v1/control"
	handCookie  = "drumwright-hand"
	// untouched is how long control stays with somebody who does nothing while the
	// machine is cold; in a batch it never lapses. askStands is how long asking stands.
	untouched = 30 * time.Minute
	askStands = time.Minute
)

// controlView says who has control.
type controlView struct {
	Has     string `json:"has"`      // name; "" = unknown, or nobody
	ID      string `json:"id"`       // of the screen or terminal that has it; "" = nobody
	Asks    string `json:"asks"`     // name of who asks for it; "" = unknown, or nobody
	AsksID  string `json:"asks_id"`  // "" = nobody
	Viewers int    `json:"viewers"`  // screens that look on, this one too
	You     string `json:"you"`      // whoever asks this; "" on the stream, which is for all
	Lapses  int    `json:"lapses_s"` // for how long it may lie untouched while the machine is cold
}

// hand is a screen, or a person at a terminal.
type hand struct{ id, name string }

// hands knows who has control. Safe for all goroutines.
type hands struct {
	mu      sync.Mutex
	now     func() time.Time
	has     hand
	touched time.Time
	asks    hand
	askedAt time.Time
	changed func()
}

// view is the same for everybody.
func (x *hands) view(viewers int) controlView {
	x.mu.Lock()
	defer x.mu.Unlock()
	return controlView{Has: x.has.name, ID: x.has.id, Asks: x.asks.name, AsksID: x.asks.id, Viewers: viewers, Lapses: int(untouched.Seconds())}
}

// lapse ends what has lain too long; state is that of the sequence.
func (x *hands) lapse(state string) {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.has.id != "" && state == "cold" && x.now().Sub(x.touched) >= untouched {
		x.has = hand{}
	}
	if x.asks.id != "" && x.now().Sub(x.askedAt) >= askStands {
		x.asks = hand{}
	}
}

// refuses says why a hand may not command while another has control, "" if it may.
func (x *hands) refuses(h hand) string {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.has.id == "" || x.has.id == h.id {
		return ""
	}
	return x.holder() + " has control. Take control, or ask."
}

func (x *hands) holder() string {
	if x.has.name == "" {
		return "Another screen"
	}
	return x.has.name
}

// used notes that a hand has commanded. A screen that does so while nobody has
// control gets it.
func (x *hands) used(h hand, screen bool) {
	x.mu.Lock()
	defer x.mu.Unlock()
	switch {
	case x.has.id == h.id && h.id != "":
		x.touched = x.now()
		if h.name != "" && h.name != x.has.name {
			x.has.name = h.name
			x.changed()
		}
	case x.has.id == "" && screen && h.id != "":
		x.pass(h)
	}
}

func (x *hands) pass(h hand) {
	x.has, x.touched, x.asks = h, x.now(), hand{}
	x.changed()
}

// errHands says that control is not passed as it was asked.
var errHands = errors.New("control stays where it is")

// do takes, asks for, gives or lets go of control.
func (x *hands) do(what string, h hand) error {
	x.mu.Lock()
	defer x.mu.Unlock()
	mine := x.has.id == h.id
	switch {
	case what == "take":
		x.pass(h)
	case what == "ask" && mine, what == "ask" && x.has.id == "":
		return fmt.Errorf("%w: nobody else has it; take it", errHands)
	case what == "ask":
		x.asks, x.askedAt = h, x.now()
		x.changed()
	case x.has.id == "":
		return fmt.Errorf("%w: nobody has it", errHands)
	case !mine:
		return fmt.Errorf("%w: %s has control, and only they can give it away; take it, or ask", errHands, x.holder())
	case what == "give" && x.asks.id == "":
		return fmt.Errorf("%w: nobody asks for it", errHands)
	case what == "give":
		x.pass(x.asks)
	default:
		x.pass(hand{})
	}
	return nil
}

// handOf tells whose hand a request comes from: a screen by its cookie, all else
// by the name that is given.
func handOf(r *http.Request, who string) (h hand, screen bool) {
	if v := visitorOf(r); v.account != "" {
		who = v.account
	}
	if c, err := r.Cookie(handCookie); err == nil && c.Value != "" {
		return hand{digest(c.Value), who}, true
	}
	if who == "" {
		return hand{}, false
	}
	return hand{digest("named " + who), who}, false
}

// digest names a hand to others without what proves it.
func digest(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:6])
}

// needsControl reports whether a command is only for whoever has control.
func needsControl(k record.Kind, v visitor) bool {
	return !k.Soothes() && !(v.local && k.Need() == record.RoleNone)
}

// whoHasControl answers who has control, and gives a screen what it is known by.
func (s *Server) whoHasControl(w http.ResponseWriter, r *http.Request) {
	view := s.hands.view(s.stream.viewers())
	if c, err := r.Cookie(handCookie); err == nil && c.Value != "" {
		view.You = digest(c.Value)
	} else {
		c := cookie(r, rand.Text(), 0)
		c.Name = handCookie
		http.SetCookie(w, c)
		view.You = digest(c.Value)
	}
	reply(w, view)
}

func (s *Server) passControl(w http.ResponseWriter, r *http.Request) {
	body, ok := jsonBody(w, r)
	if !ok {
		return
	}
	var do, who string
	given, err := decodeFlat(body, `{"do": "take", "who": "Ada"}`, func(name string, v any) error {
		switch name {
		case "do":
			return text(&do, name, v, 16, true)
		case "who":
			return text(&who, name, v, 64, true)
		}
		return fmt.Errorf("%q is not known: control takes do and who", name)
	})
	if err == nil && !slices.Contains(given, "who") {
		err = errors.New(`"who" is missing`)
	}
	if all := []string{"take", "ask", "give", "release"}; err == nil && !slices.Contains(all, do) {
		err = fmt.Errorf("do %q is not one of %q", do, all)
	}
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	noteOf(r).action = do + " control"
	if !local(r) {
		forbid(w, r, "control is at the machine only: go there")
		return
	}
	h, _ := handOf(r, who)
	if err := s.hands.do(do, h); err != nil {
		fail(w, r, http.StatusConflict, err.Error())
		return
	}
	view := s.hands.view(s.stream.viewers())
	view.You = h.id
	reply(w, view)
}
