package panel

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"slices"
	"strings"
	"unicode/utf8"

	"drumwright/io/record"
)

// RecipeFolder changes recipes; record.ErrRecipe says why not.
type RecipeFolder interface {
	Check(name string, text []byte) record.RecipeCheck
	// Save writes a recipe; basedOn is the hash of the version that was changed, ""
	// for a new one.
	Save(name string, text []byte, basedOn, who string) (record.RecipeCheck, error)
	Versions(name string) ([]record.RecipeVersion, error)
	Version(hash string) ([]byte, error)
	// Draft is the text of a recipe that asks for what a batch was.
	Draft(d *record.KeptDetail, name string) ([]byte, error)
}

func (s *Server) folder(w http.ResponseWriter, r *http.Request, change bool) bool {
	switch {
	case s.cfg.Folder == nil:
		fail(w, r, http.StatusNotFound, "recipes are not changed here")
	case change && !local(r):
		fail(w, r, http.StatusForbidden, "recipes are changed at the machine only")
	default:
		return true
	}
	return false
}

// recipeRefused answers for an error of the folder.
func (s *Server) recipeRefused(w http.ResponseWriter, r *http.Request, err error) {
	switch {
	case errors.Is(err, record.ErrRecipe):
		fail(w, r, http.StatusUnprocessableEntity, err.Error())
	case errors.Is(err, record.ErrNoBatch), errors.Is(err, fs.ErrNotExist):
		fail(w, r, http.StatusNotFound, "there is no such batch or version")
	default:
		s.cfg.Log.Error("recipe not read or written", "path", r.URL.Path, "err", err)
		fail(w, r, http.StatusInternalServerError, "the recipe folder cannot be read or written; the log says why")
	}
}

// recipeText reads the body of a recipe that is checked or saved.
func recipeText(w http.ResponseWriter, r *http.Request) (recipe, basedOn, who string, ok bool) {
	body, ok := jsonBody(w, r)
	if !ok {
		return "", "", "", false
	}
	given, err := decodeFlat(body, `{"text": "recipe: …", "based_on": "", "who": "Ada"}`, func(name string, v any) error {
		switch name {
		case "text":
			t, ok := v.(string)
			if !ok || !utf8.ValidString(t) {
				return errors.New("text is not a text")
			}
			recipe = t
			return nil
		case "based_on":
			return text(&basedOn, name, v, 64, false)
		case "who":
			return text(&who, name, v, 64, true)
		}
		return fmt.Errorf("%q is not known: a recipe has text, based_on and who", name)
	})
	if err == nil && !slices.Contains(given, "text") {
		err = errors.New(`"text" is missing`)
	}
	if err != nil {
		fail(w, r, http.StatusBadRequest, err.Error())
		return "", "", "", false
	}
	return recipe, basedOn, who, true
}

func (s *Server) checkRecipe(w http.ResponseWriter, r *http.Request) {
	if !s.folder(w, r, false) {
		return
	}
	if recipe, _, _, ok := recipeText(w, r); ok {
		reply(w, s.cfg.Folder.Check(r.PathValue("name"), []byte(recipe)))
	}
}

func (s *Server) saveRecipe(w http.ResponseWriter, r *http.Request) {
	if !s.folder(w, r, true) {
		return
	}
	recipe, basedOn, who, ok := recipeText(w, r)
	if !ok {
		return
	}
	c, err := s.cfg.Folder.Save(r.PathValue("name"), []byte(recipe), basedOn, who)
	if err != nil {
		s.recipeRefused(w, r, err)
		return
	}
	write(w, http.StatusCreated, "application/json", c)
}

func (s *Server) recipeVersions(w http.ResponseWriter, r *http.Request) {
	if !s.folder(w, r, false) {
		return
	}
	list, err := s.cfg.Folder.Versions(r.PathValue("name"))
	if err != nil {
		s.recipeRefused(w, r, err)
		return
	}
	reply(w, map[string]any{"versions": list})
}

func (s *Server) recipeVersion(w http.ResponseWriter, r *http.Request) {
	if !s.folder(w, r, false) {
		return
	}
	b, err := s.cfg.Folder.Version(r.PathValue("hash"))
	if err != nil {
		s.recipeRefused(w, r, err)
		return
	}
	reply(w, map[string]string{"text": string(b)})
}

func (s *Server) draftRecipe(w http.ResponseWriter, r *http.Request) {
	id, ok := s.batchID(w, r)
	if !ok || !s.folder(w, r, false) {
		return
	}
	q, ok := asked(w, r, "name")
	if !ok {
		return
	}
	d, err := s.cfg.Batches.Batch(r.Context(), id)
	if err != nil {
		s.recipeRefused(w, r, err)
		return
	}
	name := strings.TrimSpace(q.Get("name"))
	if name == "" {
		name = fmt.Sprintf("as batch %d", id)
	}
	b, err := s.cfg.Folder.Draft(&d, name)
	if err != nil {
		s.recipeRefused(w, r, err)
		return
	}
	reply(w, map[string]string{"name": name, "text": string(b)})
}
