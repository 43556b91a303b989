package record

import (
	"errors"
	"time"
)

// ErrRecipe is wrapped by the refusal of a recipe that is not to be written.
var ErrRecipe = errors.New("recipe not taken")

// RecipeCheck is what is to be said of the text of a recipe.
type RecipeCheck struct {
	Hash       string   `json:"hash"`       // SHA-256 of the text
	Faults     string   `json:"faults"`     // a line each, with file and line; "" if there are none
	Advice     []string `json:"advice"`     // allowed, and worth a thought
	Understood []string `json:"understood"` // temperatures written in °F, and what they are taken for
}

// RecipeVersion is a version of a recipe.
type RecipeVersion struct {
	Recipe string    `json:"recipe"` // name of the file without its ending
	Hash   string    `json:"hash"`   // SHA-256 of the file, as batches carry it
	Who    string    `json:"who"`    // "" = it was found in the folder
	When   time.Time `json:"when"`
}
