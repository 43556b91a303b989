package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"drumwright/io/record"
	"drumwright/profiles"
)

// recipeFolder changes recipes. Every version that it writes, and the one that
// it found, stays in .versions under the hash of its contents, with a line in
// its log that says who and when: the hash is the one that batches carry.
type recipeFolder struct {
	dir string
	m   *profiles.Machine // to be fitted to; nil = none
	now func() time.Time
	mu  sync.Mutex
}

const versionsDir, versionsLog = ".versions", "log.jsonl"

func contentHash(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

func (f *recipeFolder) path(name string) (string, error) {
	name = strings.TrimSuffix(name, ".yaml")
	if name == "" || name != filepath.Base(name) || strings.HasPrefix(name, ".") || len(name) > 60 || strings.ContainsFunc(name, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' || r == '.' || r == ' ')
	}) {
		return "", fmt.Errorf("%w: recipe %q: choose a name of letters, digits, dashes and blanks, up to 60", record.ErrRecipe, name)
	}
	return filepath.Join(f.dir, name+".yaml"), nil
}

// Check says what is wrong with a text, or what is worth a thought.
func (f *recipeFolder) Check(name string, text []byte) record.RecipeCheck {
	c := record.RecipeCheck{Hash: contentHash(text), Advice: []string{}, Understood: []string{}}
	r, err := profiles.ParseRecipe(name+".yaml", text)
	if err == nil && f.m != nil {
		err = profiles.Fit(r, f.m)
	}
	for _, x := range profiles.ConvertedIn(text) {
		c.Understood = append(c.Understood, x.String())
	}
	if r != nil {
		for _, a := range profiles.Advise(r) {
			c.Advice = append(c.Advice, a.String())
		}
	}
	if err != nil {
		c.Faults = err.Error()
	}
	return c
}

// Save writes a recipe that has no faults. basedOn is the hash of the version
// that was changed, "" for a new recipe: if another is there now, nothing is
// written.
func (f *recipeFolder) Save(name string, text []byte, basedOn, who string) (record.RecipeCheck, error) {
	c, err := f.save(name, text, basedOn, who)
	if errors.Is(err, fs.ErrPermission) || errors.Is(err, syscall.EROFS) {
		err = fmt.Errorf("%w: this program may not write into %s: give the folder and its files to the user it runs as, under systemd with ReadWritePaths of the folder too, or change the file yourself", record.ErrRecipe, f.dir)
	}
	return c, err
}

func (f *recipeFolder) save(name string, text []byte, basedOn, who string) (record.RecipeCheck, error) {
	path, err := f.path(name)
	if err != nil {
		return record.RecipeCheck{}, err
	}
	if strings.TrimSpace(who) == "" {
		return record.RecipeCheck{}, fmt.Errorf("%w: who is missing: a version carries a name", record.ErrRecipe)
	}
	c := f.Check(strings.TrimSuffix(filepath.Base(path), ".yaml"), text)
	if c.Faults != "" {
		return c, fmt.Errorf("%w: %s", record.ErrRecipe, c.Faults)
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	before, err := os.ReadFile(path)
	there := err == nil
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return c, err
	}
	switch {
	case there && basedOn == "":
		return c, fmt.Errorf("%w: there is a recipe %q already: choose another name", record.ErrRecipe, name)
	case there && contentHash(before) != basedOn, !there && basedOn != "":
		return c, fmt.Errorf("%w: %q has been changed or taken away meanwhile: read it again, then change it", record.ErrRecipe, name)
	}
	if there {
		if err := f.keep(name, before, ""); err != nil {
			return c, err
		}
	}
	if err := f.keep(name, text, who); err != nil {
		return c, err
	}
	if there {
		return c, replaceFile(path, text)
	}
	return c, writeAnew(path, text)
}

// keep puts a version and its line into the folder of versions.
func (f *recipeFolder) keep(name string, text []byte, who string) error {
	dir := filepath.Join(f.dir, versionsDir)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	v := record.RecipeVersion{Recipe: strings.TrimSuffix(name, ".yaml"), Hash: contentHash(text), Who: who, When: f.now().UTC().Truncate(time.Second)}
	if old, err := f.versions(v.Recipe); err != nil {
		return err
	} else if n := len(old); n > 0 && old[n-1].Hash == v.Hash {
		return nil // the last one there is
	}
	file := filepath.Join(dir, v.Hash+".yaml")
	if kept, err := os.ReadFile(file); err != nil || !bytes.Equal(kept, text) {
		if err := os.WriteFile(file, text, 0o644); err != nil {
			return err
		}
	}
	line, err := json.Marshal(v)
	if err != nil {
		return err
	}
	log, err := os.OpenFile(filepath.Join(dir, versionsLog), os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return err
	}
	_, err = log.Write(append(line, '\n'))
	return errors.Join(err, log.Sync(), log.Close())
}

// versions lists the versions of a recipe, oldest first.
func (f *recipeFolder) versions(name string) ([]record.RecipeVersion, error) {
	list := []record.RecipeVersion{}
	data, err := os.ReadFile(filepath.Join(f.dir, versionsDir, versionsLog))
	if errors.Is(err, fs.ErrNotExist) {
		return list, nil
	}
	if err != nil {
		return nil, err
	}
	for line := range bytes.Lines(data) {
		var v record.RecipeVersion
		if json.Unmarshal(line, &v) == nil && v.Recipe == name { // a line that was cut off by a power cut is none
			list = append(list, v)
		}
	}
	return list, nil
}

// Versions lists the versions of a recipe, oldest first.
func (f *recipeFolder) Versions(name string) ([]record.RecipeVersion, error) {
	if _, err := f.path(name); err != nil {
		return nil, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.versions(strings.TrimSuffix(name, ".yaml"))
}

// Version is the text of a version.
func (f *recipeFolder) Version(hash string) ([]byte, error) {
	if b, err := hex.DecodeString(hash); err != nil || len(b) != sha256.Size {
		return nil, fmt.Errorf("%w: %q is not the hash of a version", record.ErrRecipe, hash)
	}
	return os.ReadFile(filepath.Join(f.dir, versionsDir, strings.ToLower(hash)+".yaml"))
}

// draftStepS is the time between two points of a curve that is made from a roast.
const draftStepS = 60

// draftOf makes the text of a recipe that asks for what a batch was.
func draftOf(d *record.KeptDetail, name string) ([]byte, error) {
	refuse := func(why string) ([]byte, error) {
		return nil, fmt.Errorf("%w: batch %d makes no recipe: %s", record.ErrRecipe, d.ID, why)
	}
	switch {
	case d.Result != record.BatchDone || !d.DropS.Known() || !d.TurnS.Known() || !d.DropC.Known():
		return refuse("it was not roasted to its end")
	case d.RecipeText == "":
		return refuse("the recipe it was roasted by is not in the journal")
	}
	all := roast(d)
	var curve []profiles.CurvePoint
	add := func(t float64) {
		sum, n := 0.0, 0
		for i := range all { // the middle of some seconds: a curve is not to follow the noise
			if s := &all[i]; s.S >= t-5 && s.S <= t+5 && s.ProbeC == s.ProbeC {
				sum, n = sum+s.ProbeC, n+1
			}
		}
		if n == 0 {
			return
		}
		p := profiles.CurvePoint{AtS: profiles.Seconds(t), Bean: profiles.Celsius(sum / float64(n))}
		if k := len(curve); k == 0 || p.Bean > curve[k-1].Bean {
			curve = append(curve, p)
		}
	}
	end := float64(int(float64(d.DropS)))
	first := float64(int(float64(d.TurnS)+probeSettlesS)/30*30 + 30)
	for t := first; t < end-draftStepS/2; t += draftStepS {
		add(t)
	}
	drop := profiles.Celsius(float64(d.DropC))
	if k := len(curve); k == 0 || drop <= curve[k-1].Bean {
		return refuse("its samples do not rise to the drop")
	}
	drop = profiles.Celsius(float64(int(float64(drop)*10)) / 10)
	curve = append(curve, profiles.CurvePoint{AtS: profiles.Seconds(end), Bean: drop + 0.1})
	text, err := profiles.FromRoast([]byte(d.RecipeText), name, fmt.Sprintf("as batch %d was roasted on %s", d.ID, localTime(d.Charged)), curve, drop)
	if err != nil {
		return refuse(err.Error())
	}
	return text, nil
}

// Draft is the text of a recipe that asks for what a batch was.
func (f *recipeFolder) Draft(d *record.KeptDetail, name string) ([]byte, error) {
	return draftOf(d, name)
}
