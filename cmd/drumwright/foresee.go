package main

import (
	"encoding/json"
	"log/slog"

	"drumwright/control/preflight"
	"drumwright/io/record"
	"drumwright/profiles"
)

// foresees flies each recipe that is about to be loaded, on the goroutine of
// whoever loads it. A preflight that cannot be made is no reason not to roast.
func foresees(m *profiles.Machine, log *slog.Logger) func(*profiles.Recipe) record.Forecast {
	return func(r *profiles.Recipe) record.Forecast {
		res, err := preflight.Run(m, r, nil)
		if err != nil {
			log.Warn("no preflight", "recipe", r.Name, "err", err)
			return record.Forecast{}
		}
		return res.Forecast()
	}
}

// flies flies a recipe of the folder by its name.
func flies(find func(string) (*profiles.Recipe, error), m *profiles.Machine) func(string) (json.RawMessage, error) {
	return func(name string) (json.RawMessage, error) {
		r, err := find(name)
		if err != nil {
			return nil, err
		}
		res, err := preflight.Run(m, r, nil)
		if err != nil {
			return nil, err
		}
		return json.Marshal(res)
	}
}
