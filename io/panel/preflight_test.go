package panel

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

func TestPreflight(t *testing.T) {
	s := New(Config{Preflight: func(name string) (json.RawMessage, error) {
		if name != "harbour" {
			return nil, errors.New("no such recipe: " + name)
		}
		return json.RawMessage(`{"reachable":true}`), nil
	}})
	for _, c := range []struct {
		server       *Server
		method, path string
		status       int
		body         string
	}{
		{s, "GET", "/api/v1/recipes/harbour/preflight", http.StatusOK, `{"reachable":true}`},
		{s, "GET", "/api/v1/recipes/none/preflight", http.StatusUnprocessableEntity, "no such recipe: none"},
		{s, "POST", "/api/v1/recipes/harbour/preflight", http.StatusMethodNotAllowed, "takes GET only"},
		{New(Config{}), "GET", "/api/v1/recipes/harbour/preflight", http.StatusNotFound, "no recipes are kept"},
	} {
		w := httptest.NewRecorder()
		c.server.Handler().ServeHTTP(w, request(c.method, c.path, ""))
		if w.Code != c.status || !strings.Contains(w.Body.String(), c.body) {
			t.Errorf("%s %s: %d %s; want %d with %q", c.method, c.path, w.Code, w.Body, c.status, c.body)
		}
	}
}
