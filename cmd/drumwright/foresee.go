package main

import (
	"encoding/json"
	"log/slog"

	"drumwright/control"
	"drumwright/control/learn"
	"drumwright/control/preflight"
	"drumwright/io/record"
	"drumwright/profiles"
)

// foresees flies each recipe that is about to be loaded, on the goroutine of
// whoever loads it. A preflight that cannot be made is no reason not to roast.
func foresees(m *profiles.Machine, log *slog.Logger) control.Foresees {
	return func(r *profiles.Recipe, l *learn.Lessons) record.Forecast {
		res, err := preflight.Run(m, r, l, nil)
		if err != nil {
			log.Warn("no preflight", "recipe", r.Name, "err", err)
			return record.Forecast{}
		}
		return res.Forecast()
	}
}

// flies flies a recipe of the folder by its name, with what is learned of it.
func flies(find func(string) (*profiles.Recipe, error), b *lessonBook) func(string) (json.RawMessage, error) {
	return func(name string) (json.RawMessage, error) {
		r, err := find(name)
		if err != nil {
			return nil, err
		}
		res, err := preflight.Run(b.m, r, b.of(r), nil)
		if err != nil {
			return nil, err
		}
		return json.Marshal(res)
	}
}
