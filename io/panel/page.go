package panel

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"mime"
	"net/http"
	"path"
	"time"
)

//go:embed page
var pageFiles embed.FS

// pageFile is one part of the page as it is served.
type pageFile struct {
	body        []byte
	contentType string
	tag         string
}

// page holds the parts of the page by their name.
var page = func() map[string]pageFile {
	entries, err := pageFiles.ReadDir("page")
	if err != nil {
		panic(err) // the files are in the program
	}
	m := make(map[string]pageFile, len(entries))
	for _, e := range entries {
		b, err := pageFiles.ReadFile(path.Join("page", e.Name()))
		if err != nil {
			panic(err)
		}
		sum := sha256.Sum256(b)
		m[e.Name()] = pageFile{b, contentType(e.Name()), `"` + hex.EncodeToString(sum[:8]) + `"`}
	}
	return m
}()

// contentType does not ask the computer it runs on: some do not know a type.
func contentType(name string) string {
	switch path.Ext(name) {
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".css":
		return "text/css; charset=utf-8"
	case ".html":
		return "text/html; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	}
	return mime.TypeByExtension(path.Ext(name))
}

// pagePolicy lets the page load nothing but its own parts, run no inline script
// and be shown in no frame.
const pagePolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'none'; frame-ancestors 'none'; base-uri 'none'"

func servePage(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("file")
	if name == "" {
		name = "index.html"
	}
	f, ok := page[name]
	if !ok {
		notFound(w, r)
		return
	}
	h := w.Header()
	h.Set("Content-Type", f.contentType)
	h.Set("ETag", f.tag)
	h.Set("Cache-Control", "no-cache") // asked again each time, sent only when new
	h.Set("Content-Security-Policy", pagePolicy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(f.body))
}
