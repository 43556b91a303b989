package panel

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"drumwright/io/record"
)

var lessonScopes = []string{record.LessonRecipe, record.LessonCoffee, record.LessonMachine}

func (s *Server) learning(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Learning == nil {
		fail(w, r, http.StatusNotFound, "nothing is learned here")
		return
	}
	q, err := url.ParseQuery(r.URL.RawQuery)
	scope, name := q.Get("scope"), q.Get("name")
	if err != nil || (scope == "") != (name == "") || scope != "" && !slices.Contains(lessonScopes, scope) {
		fail(w, r, http.StatusBadRequest, fmt.Sprintf("scope is one of %q and comes with a name, or both are left out", lessonScopes))
		return
	}
	book, err := s.cfg.Learning.Learning(r.Context(), scope, name)
	if err != nil {
		s.unread(w, r, "what is learned was not read", err)
		return
	}
	reply(w, book)
}

func (s *Server) changeLearning(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Learning == nil {
		fail(w, r, http.StatusNotFound, "nothing is learned here")
		return
	}
	if !local(r) { // the next roast goes by it
		fail(w, r, http.StatusForbidden, "what is learned is changed at the machine only")
		return
	}
	body, ok := jsonBody(w, r)
	if !ok {
		return
	}
	var c record.LessonChange
	given, err := decodeFlat(body, `{"scope": "coffee", "name": "lot 12", "do": "undo", "who": "Ada"}`, func(name string, v any) error {
		switch name {
		case "scope":
			return text(&c.Scope, name, v, 16, true)
		case "name":
			return text(&c.Name, name, v, 200, true)
		case "do":
			return text(&c.Do, name, v, 16, true)
		case "who":
			return text(&c.Who, name, v, 64, true)
		}
		return fmt.Errorf("%q is not known: a change of what is learned has scope, name, do and who", name)
	})
	for _, n := range []string{"scope", "name", "do", "who"} {
		if err == nil && !slices.Contains(given, n) {
			err = fmt.Errorf("%q is missing", n)
		}
	}
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	l, err := s.cfg.Learning.Change(r.Context(), c)
	s.learned(w, r, l, err)
}

// heaviestG is the heaviest batch that anybody could mean, g.
const heaviestG = 100e3

func (s *Server) weigh(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Learning == nil {
		fail(w, r, http.StatusNotFound, "nothing is learned here")
		return
	}
	id, err := strconv.ParseUint(r.PathValue("id"), 10, 64)
	if err != nil {
		fail(w, r, http.StatusBadRequest, fmt.Sprintf("%q is not a batch number", r.PathValue("id")))
		return
	}
	body, ok := jsonBody(w, r)
	if !ok {
		return
	}
	x := record.Weighing{Batch: id}
	grams := func(kg *float64, name string, v any) error {
		n, ok := v.(float64)
		if !ok || !(n > 0 && n <= heaviestG) {
			return fmt.Errorf("%s is not a number of grams above 0 and up to %g", name, heaviestG)
		}
		*kg = n / 1000
		return nil
	}
	given, err := decodeFlat(body, `{"roasted_g": 846.5, "who": "Ada"}`, func(name string, v any) error {
		switch name {
		case "roasted_g":
			return grams(&x.RoastedKg, name, v)
		case "green_g":
			return grams(&x.GreenKg, name, v)
		case "who":
			return text(&x.Who, name, v, 64, true)
		}
		return fmt.Errorf("%q is not known: a weight has roasted_g, green_g and who", name)
	})
	if err == nil && !slices.Contains(given, "roasted_g") {
		err = errors.New(`"roasted_g" is missing`)
	}
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	kept, err := s.cfg.Learning.Weigh(r.Context(), x)
	s.learned(w, r, kept, err)
}

// learned answers a change of what is learned.
func (s *Server) learned(w http.ResponseWriter, r *http.Request, kept any, err error) {
	switch {
	case errors.Is(err, record.ErrNoBatch):
		fail(w, r, http.StatusNotFound, "there is no batch of that number")
	case errors.Is(err, record.ErrLesson):
		fail(w, r, http.StatusConflict, err.Error())
	case err != nil:
		s.cfg.Log.Error("what is learned was not changed", "err", err)
		fail(w, r, http.StatusInternalServerError, "it was not kept; the log says why")
	default:
		write(w, http.StatusCreated, "application/json", kept)
	}
}
