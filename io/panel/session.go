package panel

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"

	"drumwright/io/access"
	"drumwright/io/record"
)

// Accounts knows who may sign in, and whose session a token is.
type Accounts interface {
	// Asked reports whether passwords are asked for at all.
	Asked() bool
	// SignIn refuses with access.ErrWrong or access.TooOften.
	SignIn(ctx context.Context, name, password, from string, here bool) (token string, a access.Account, err error)
	Session(token string, used bool) (access.Account, bool)
	SignOut(token string)
}

const (
	cookieName  = "drumwright"
	sessionPath = "/api/v1/session"
	streamPath  = "/api/v1/events"
)

// sessionView says what whoever asks may do from where they are.
type sessionView struct {
	Account  string      `json:"account"`    // "" = not signed in
	Role     record.Role `json:"role"`       // that they have here
	Asked    bool        `json:"asked"`      // accounts are kept, and passwords asked for
	Here     bool        `json:"at_machine"` // everything can be commanded from here, by those who may
	Commands bool        `json:"commands"`   // something can be commanded from here
	Secure   bool        `json:"secure"`     // a password can be sent from here
}

func (s *Server) sessionOf(v visitor) sessionView {
	asked := s.cfg.Accounts != nil && s.cfg.Accounts.Asked()
	return sessionView{v.account, v.role, asked, v.local, v.local || s.cfg.Remote && v.role.Covers(record.RoleOperate), v.secure}
}

func (s *Server) session(w http.ResponseWriter, r *http.Request) { reply(w, s.sessionOf(visitorOf(r))) }

func (s *Server) signIn(w http.ResponseWriter, r *http.Request) {
	v := visitorOf(r)
	noteOf(r).action = "sign in"
	switch {
	case s.cfg.Accounts == nil || !s.cfg.Accounts.Asked():
		fail(w, r, http.StatusNotFound, "there are no accounts: nobody needs to sign in")
		return
	case !v.secure:
		fail(w, r, http.StatusForbidden, "a password would be read on the way: sign in over https, or at the machine")
		return
	}
	body, ok := jsonBody(w, r)
	if !ok {
		return
	}
	var name, password string
	given, err := decodeFlat(body, `{"account": "ada", "password": "…"}`, func(member string, value any) error {
		switch member {
		case "account":
			return text(&name, member, value, 64, true)
		case "password":
			p, ok := value.(string)
			if !ok || len(p) > 4*access.MostPassword {
				return errors.New("password is not a text, or too long")
			}
			password = p
			return nil
		}
		return fmt.Errorf("%q is not known: signing in takes account and password", member)
	})
	if err == nil && (!slices.Contains(given, "account") || !slices.Contains(given, "password")) {
		err = errors.New("account or password is missing")
	}
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	noteOf(r).who = name
	token, a, err := s.cfg.Accounts.SignIn(r.Context(), name, password, network(v.source), v.local)
	var often access.TooOften
	switch {
	case errors.As(err, &often):
		w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(often.Wait.Seconds()))))
		fail(w, r, http.StatusTooManyRequests, err.Error())
		return
	case errors.Is(err, access.ErrWrong):
		fail(w, r, http.StatusForbidden, err.Error())
		return
	case err != nil:
		s.cfg.Log.Error("nobody could sign in", "err", err)
		fail(w, r, http.StatusInternalServerError, "signing in failed; the log says why")
		return
	}
	http.SetCookie(w, cookie(r, token, 0))
	v.account, v.role = a.Name, a.Role
	if !v.local && !s.cfg.Remote {
		v.role = record.RoleLook
	}
	write(w, http.StatusCreated, "application/json", s.sessionOf(v))
}

func (s *Server) signOut(w http.ResponseWriter, r *http.Request) {
	noteOf(r).action = "sign out"
	if s.cfg.Accounts != nil {
		s.cfg.Accounts.SignOut(tokenOf(r))
	}
	http.SetCookie(w, cookie(r, "", -1))
	v := visitorOf(r)
	v.account, v.role = "", record.RoleNone
	if v.local {
		v.role = record.RoleLook
	}
	reply(w, s.sessionOf(v))
}

// cookie carries the token of a session: no script can read it, and no page of
// another site has it sent. Its own life is that of the browser; the session's is
// kept here.
func cookie(r *http.Request, value string, maxAge int) *http.Cookie {
	return &http.Cookie{Name: cookieName, Value: value, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode,
		Secure: overTLS(r), MaxAge: maxAge}
}
