package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"drumwright/profiles"
	"drumwright/safety"
)

// machineFrom reads a machine file, or the shipped machine of that name, and
// refuses exceptions that cannot be.
func machineFrom(name string) (*profiles.Machine, error) {
	m, err := parsedMachine(name)
	if err == nil {
		_, err = safety.Exceptions(m, "")
	}
	return m, err
}

func parsedMachine(name string) (*profiles.Machine, error) {
	if data, ok := profiles.Example("machines/" + name + ".yaml"); ok {
		return profiles.ParseMachine(name+".yaml", data)
	}
	return profiles.LoadMachine(name)
}

// recipeFrom reads a recipe file, or the shipped recipe of that name.
func recipeFrom(name string) (*profiles.Recipe, error) {
	if data, ok := profiles.Example("recipes/" + name + ".yaml"); ok {
		return profiles.ParseRecipe(name+".yaml", data)
	}
	return profiles.LoadRecipe(name)
}

// recipesIn finds recipes by name in a folder: the file's name without its
// ending. Names with path elements are refused.
func recipesIn(folder string) func(name string) (*profiles.Recipe, error) {
	return func(name string) (*profiles.Recipe, error) {
		if name == "" {
			return nil, errors.New("no recipe is named: give the file's name without .yaml")
		}
		if name != filepath.Base(name) || strings.HasPrefix(name, ".") {
			return nil, fmt.Errorf("recipe %q: give a plain name from the folder %s", name, folder)
		}
		path := filepath.Join(folder, strings.TrimSuffix(name, ".yaml")+".yaml")
		if _, err := os.Stat(path); err != nil {
			return nil, fmt.Errorf("recipe %q: no file %s", name, path)
		}
		return profiles.LoadRecipe(path)
	}
}
