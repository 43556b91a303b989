package panel

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"

	"drumwright/io/record"
	"drumwright/io/say"
)

// nowOf puts a scan into words.
func nowOf(s *record.Scan) any {
	p := pictureOf(s)
	return say.Of(&p.view, &p.list)
}

// machineHere is the machine as the one who asks may use it.
type machineHere struct {
	record.MachineView
	Here bool `json:"at_machine"` // commands are taken from where this was asked
}

func (s *Server) machine(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Shop == nil {
		fail(w, r, http.StatusNotFound, "nothing is told of the machine")
		return
	}
	reply(w, machineHere{s.cfg.Shop.Machine(), local(r)})
}

func (s *Server) matrix(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Shop == nil {
		fail(w, r, http.StatusNotFound, "nothing is told of the machine")
		return
	}
	reply(w, s.cfg.Shop.Matrix())
}

func (s *Server) commissioning(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Shop == nil {
		fail(w, r, http.StatusNotFound, "nothing is told of the machine")
		return
	}
	book, err := s.cfg.Shop.Commissioning(r.Context())
	if err != nil {
		s.unread(w, r, "records of commissioning not read", err)
		return
	}
	reply(w, book)
}

func (s *Server) recipes(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Shop == nil {
		fail(w, r, http.StatusNotFound, "no recipes are told of")
		return
	}
	list, err := s.cfg.Shop.Recipes()
	if err != nil {
		s.cfg.Log.Error("recipes not read", "err", err)
		fail(w, r, http.StatusInternalServerError, "the recipe folder cannot be read; the log says why")
		return
	}
	reply(w, map[string]any{"recipes": list})
}

func (s *Server) recipe(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Shop == nil {
		fail(w, r, http.StatusNotFound, "no recipes are told of")
		return
	}
	name := r.PathValue("name")
	if err := checkRecipeName(name); err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	v, err := s.cfg.Shop.Recipe(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		fail(w, r, http.StatusNotFound, fmt.Sprintf("there is no recipe %q", name))
	case err != nil:
		fail(w, r, http.StatusInternalServerError, err.Error())
	default:
		reply(w, v)
	}
}
