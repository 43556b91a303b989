package panel

import (
	_ "embed"
	"net/http"
)

//go:embed openapi.yaml
var description []byte

// openAPI gives the description of this interface.
func openAPI(w http.ResponseWriter, _ *http.Request) {
	h := w.Header()
	h.Set("Content-Type", "application/vnd.oai.openapi;version=3.1")
	h.Set("Cache-Control", "no-cache")
	h.Set("X-Content-Type-Options", "nosniff")
	w.Write(description)
}
