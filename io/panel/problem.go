package panel

import (
	"encoding/json"
	"net/http"
	"strings"
)

// problem is the answer to what went wrong, by RFC 9457. With the type
// about:blank the title is that of the status.
type problem struct {
	Type     string `json:"type"`
	Title    string `json:"title"`
	Status   int    `json:"status"`
	Detail   string `json:"detail"`
	Instance string `json:"instance"`
}

func newProblem(r *http.Request, status int, detail string) problem {
	return problem{"about:blank", http.StatusText(status), status, detail, r.URL.EscapedPath()}
}

func fail(w http.ResponseWriter, r *http.Request, status int, detail string) {
	write(w, status, "application/problem+json", newProblem(r, status, detail))
}

// forbid answers whom a role is missing. The member sign_in says that an account
// may help.
func forbid(w http.ResponseWriter, r *http.Request, detail string) {
	write(w, http.StatusForbidden, "application/problem+json", struct {
		problem
		SignIn bool `json:"sign_in"`
	}{newProblem(r, http.StatusForbidden, detail), strings.Contains(detail, "sign in")})
}

// reply answers with JSON.
func reply(w http.ResponseWriter, v any) { write(w, http.StatusOK, "application/json", v) }

func write(w http.ResponseWriter, status int, contentType string, v any) {
	b, err := json.Marshal(v)
	if err != nil { // no value that is answered with can fail to marshal
		panic(err)
	}
	h := w.Header()
	h.Set("Content-Type", contentType)
	h.Set("Cache-Control", "no-store")
	h.Set("X-Content-Type-Options", "nosniff")
	w.WriteHeader(status)
	w.Write(append(b, '\n')) // nobody is left to tell if this fails
}
