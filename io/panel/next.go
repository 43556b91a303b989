package panel

import (
	"errors"
	"fmt"
	"net/http"
	"slices"

	"drumwright/io/record"
)

// NextBatches keeps what is said of the green coffee before it is charged.
type NextBatches interface {
	NextBatch() record.GreenAhead
	// SayNextBatch replaces what was said; record.ErrEntry says why not.
	SayNextBatch(n record.GreenAhead) (record.GreenAhead, error)
}

func (s *Server) nextBatch(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Next == nil {
		fail(w, r, http.StatusNotFound, "nothing is kept of batches to come")
		return
	}
	reply(w, s.cfg.Next.NextBatch())
}

func (s *Server) sayNextBatch(w http.ResponseWriter, r *http.Request) {
	if s.cfg.Next == nil {
		fail(w, r, http.StatusNotFound, "nothing is kept of batches to come")
		return
	}
	body, ok := jsonBody(w, r)
	if !ok {
		return
	}
	n := record.GreenAhead{MoisturePct: record.Unknown, DensityGPerL: record.Unknown, ChargeG: record.Unknown}
	number := func(to *record.Number, name string, v any) error {
		f, ok := v.(float64)
		if !ok {
			return fmt.Errorf("%s is not a number", name)
		}
		*to = record.Number(f)
		return nil
	}
	given, err := decodeFlat(body, `{"who": "Ada", "lot": "lot 27", "charge_g": 820}`, func(name string, v any) error {
		switch name {
		case "who":
			return text(&n.Who, name, v, 64, true)
		case "lot":
			return text(&n.Lot, name, v, 100, true)
		case "moisture_pct":
			return number(&n.MoisturePct, name, v)
		case "density_g_per_l":
			return number(&n.DensityGPerL, name, v)
		case "charge_g":
			return number(&n.ChargeG, name, v)
		}
		return fmt.Errorf("%q is not known: the next batch has who, lot, moisture_pct, density_g_per_l and charge_g", name)
	})
	if err == nil && !slices.Contains(given, "who") {
		err = errors.New(`"who" is missing`)
	}
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return
	}
	kept, err := s.cfg.Next.SayNextBatch(n)
	switch {
	case errors.Is(err, record.ErrEntry):
		fail(w, r, http.StatusUnprocessableEntity, err.Error())
	case err != nil:
		s.cfg.Log.Error("what was said of the next batch was not kept", "err", err)
		fail(w, r, http.StatusInternalServerError, "it was not kept; the log says why")
	default:
		write(w, http.StatusCreated, "application/json", kept)
	}
}
