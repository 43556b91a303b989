package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumwright/io/record"
	"drumwright/profiles"
)

// Versions stay under their content's hash; nobody overwrites what another has
// changed meanwhile; what has faults is not written.
func TestRecipeVersions(t *testing.T) {
	dir := t.TempDir()
	m, err := machineFrom("heron-1000")
	if err != nil {
		t.Fatal(err)
	}
	f := &recipeFolder{dir: dir, m: m, now: time.Now}
	first, _ := profiles.Example("recipes/harbour-medium.yaml")
	path := filepath.Join(dir, "mine.yaml")
	if err := os.WriteFile(path, first, 0o644); err != nil {
		t.Fatal(err)
	}
	second := []byte(strings.Replace(string(first), "bean: 209 °C", "bean: 407 °F", 1))
	c, err := f.Save("mine", second, contentHash(first), "Ada")
	if err != nil || c.Hash != contentHash(second) || len(c.Understood) != 1 || !strings.Contains(c.Understood[0], "written 407 °F, understood 208.3 °C") {
		t.Fatalf("%+v, %v", c, err)
	}
	for name, try := range map[string]func() error{
		"an old version is changed": func() error { _, err := f.Save("mine", first, contentHash(first), "Bo"); return err },
		"a new one over an old":     func() error { _, err := f.Save("mine", first, "", "Bo"); return err },
		"changed and is not there":  func() error { _, err := f.Save("other", first, contentHash(first), "Bo"); return err },
		"no name":                   func() error { _, err := f.Save("mine", first, contentHash(second), " "); return err },
		"a path":                    func() error { _, err := f.Save("../mine", first, "", "Bo"); return err },
		"a hidden file":             func() error { _, err := f.Save(".versions", first, "", "Bo"); return err },
		"hotter than the machine is": func() error {
			_, err := f.Save("mine", []byte(strings.Replace(string(first), "inlet: 203", "inlet: 399", 1)), contentHash(second), "Bo")
			return err
		},
	} {
		if err := try(); !errors.Is(err, record.ErrRecipe) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if now, _ := os.ReadFile(path); string(now) != string(second) {
		t.Error("a refused version was written")
	}
	list, err := f.Versions("mine")
	if err != nil || len(list) != 2 || list[0].Who != "" || list[1].Who != "Ada" {
		t.Fatalf("%+v, %v", list, err)
	}
	if back, err := f.Version(list[0].Hash); err != nil || string(back) != string(first) {
		t.Errorf("the first version: %v", err)
	}
	if _, err := f.Version("../../etc/passwd"); !errors.Is(err, record.ErrRecipe) {
		t.Errorf("a path for a hash: %v", err)
	}
}

func TestRecipeCommands(t *testing.T) {
	dir := t.TempDir()
	if text := printed(t, 0, "recipe", "lint", "harbour-medium", "--machine", "heron-1000"); !strings.Contains(text, "no faults, no advice") {
		t.Errorf("lint: %s", text)
	}
	bad := filepath.Join(dir, "bad.yaml")
	if err := os.WriteFile(bad, []byte("recipe: x\ncharge: {green: 1 kg}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	var out, errs strings.Builder
	if code := run(t.Context(), []string{"recipe", "lint", bad}, strings.NewReader(""), &out, &errs); code != 2 || !strings.Contains(out.String(), "bad.yaml:2: charge.inlet") {
		t.Errorf("lint of a bad one: %d, %s%s", code, out.String(), errs.String())
	}
	printed(t, 0, "recipe", "copy", "harbour-medium", "mine", "--who", "Ada", "--folder", dir)
	if r, err := profiles.LoadRecipe(filepath.Join(dir, "mine.yaml")); err != nil || r.Name != "mine" {
		t.Errorf("copied: %v, %v", r, err)
	}
	printed(t, 2, "recipe", "copy", "harbour-medium", "mine", "--who", "Ada", "--folder", dir)
	if text := printed(t, 0, "recipe", "history", "mine", "--folder", dir, "--journal", filepath.Join(dir, "none.db")); !strings.Contains(text, "Ada") || strings.Count(text, "\n") != 2 {
		t.Errorf("history: %s", text)
	}
}

// Whatever name a recipe is asked for by, no file but a recipe of the folder is read
// or written.
func FuzzRecipeName(f *testing.F) {
	for _, n := range []string{"plain", "plain.yaml", "../plain", "/etc/passwd", "a/b", ".versions", "..", "a\\b", "a\x00b", " ", "..yaml", "über", strings.Repeat("x", 300)} {
		f.Add(n)
	}
	dir := f.TempDir()
	folder, find := &recipeFolder{dir: dir, now: time.Now}, recipesIn(dir)
	if err := os.WriteFile(filepath.Join(filepath.Dir(dir), "outside.yaml"), []byte("recipe: outside"), 0o600); err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, name string) {
		path, err := folder.path(name)
		if err == nil && (filepath.Dir(path) != dir || filepath.Ext(path) != ".yaml" || strings.HasPrefix(filepath.Base(path), ".")) {
			t.Errorf("%q would be written to %s", name, path)
		}
		if r, err := find(name); err == nil {
			t.Errorf("%q finds %+v in an empty folder", name, r)
		}
		if b, err := folder.Version(name); err == nil {
			t.Errorf("%q is a version: %q", name, b)
		}
		if list, err := folder.Versions(name); err == nil && len(list) > 0 {
			t.Errorf("%q has versions: %v", name, list)
		}
	})
}
