package profiles

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
)

// LoadMachine reads and checks a machine file. The error, if any, is a Faults.
func LoadMachine(path string) (*Machine, error) {
	data, err := readFile(path)
	if err != nil {
		return nil, err
	}
	return parseMachine(path, data, filepath.EvalSymlinks)
}

// ParseMachine is LoadMachine for bytes; name stands for the file in messages.
// It looks at no other file, so it takes a serial device for a pseudo-terminal
// only if its path says so.
func ParseMachine(name string, data []byte) (*Machine, error) {
	return parseMachine(name, data, func(path string) (string, error) { return path, nil })
}

// LoadRecipe reads and checks a recipe file. The error, if any, is a Faults.
func LoadRecipe(path string) (*Recipe, error) {
	data, err := readFile(path)
	if err != nil {
		return nil, err
	}
	return ParseRecipe(path, data)
}

// ParseRecipe is LoadRecipe for bytes.
func ParseRecipe(name string, data []byte) (*Recipe, error) {
	s := newSource(name)
	r := &Recipe{File: name, Hash: hash(data), lines: s.lines}
	if root := s.open(data); root != nil {
		s.read(root, "", reflect.ValueOf(r).Elem(), "")
		if !s.bad[""] {
			r.Charge.MoistureKnown = s.has("charge.moisture")
			s.checkRecipe(r)
		}
	}
	if err := s.result(); err != nil {
		return nil, err
	}
	return r, nil
}

// resolver follows links of a path.
type resolver func(path string) (string, error)

func parseMachine(name string, data []byte, resolve resolver) (*Machine, error) {
	s := newSource(name)
	m := &Machine{File: name, Hash: hash(data)}
	if root := s.open(data); root != nil {
		s.read(root, "", reflect.ValueOf(m).Elem(), "")
		if !s.bad[""] {
			s.complete(m)
			s.checkMachine(m, resolve)
		}
	}
	if err := s.result(); err != nil {
		return nil, err
	}
	return m, nil
}

// complete fills what follows from other keys and compiles buses and points.
func (s *source) complete(m *Machine) {
	s.fillDefaults(m)
	s.compileBuses(m)
	s.compilePoints(m)
}

func readFile(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, Faults{{File: path, Found: fmt.Sprintf("no readable file (%v)", err), Allowed: "a file that may be read", Hint: "check the path and the rights"}}
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxFileBytes+1))
	if err != nil {
		return nil, Faults{{File: path, Found: fmt.Sprintf("a file that breaks off (%v)", err), Allowed: "a file that may be read", Hint: "check the disk"}}
	}
	return data, nil
}

func hash(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
