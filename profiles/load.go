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

// LoadMachine reads and checks a machine file and the device maps it uses; those of
// one's own lie beside it. The error, if any, is a Faults.
func LoadMachine(path string) (*Machine, error) {
	data, err := readFile(path)
	if err != nil {
		return nil, err
	}
	beside := func(name string) ([]byte, string, error) {
		file := filepath.Join(filepath.Dir(path), name)
		text, err := readFile(file)
		return text, file, err
	}
	return parseMachine(path, data, filepath.EvalSymlinks, beside)
}

// ParseMachine is LoadMachine for bytes; name stands for the file in messages.
// It looks at no other file: device maps of one's own must stand in the text, as in
// Machine.Text, and a serial device is taken for a pseudo-terminal only if its path
// says so.
func ParseMachine(name string, data []byte) (*Machine, error) {
	return parseMachine(name, data, unresolved, func(file string) ([]byte, string, error) {
		return nil, "", Faults{{File: name, Found: "the device map " + shown(file), Allowed: "shipped maps, and maps that stand in the text itself", Hint: "load the machine from its folder"}}
	})
}

// Changed is the machine of another text in the same file, with the device maps that
// m was made with.
func (m *Machine) Changed(text []byte) (*Machine, error) {
	return parseMachine(m.File, text, unresolved, func(name string) ([]byte, string, error) {
		if t, ok := m.mapTexts[name]; ok && t.text != nil {
			return t.text, t.file, nil
		}
		return nil, "", Faults{{File: m.File, Found: "the device map " + shown(name), Allowed: "those of the machine as it was", Hint: "change devices by hand"}}
	})
}

func unresolved(path string) (string, error) { return path, nil }

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

func parseMachine(name string, data []byte, resolve resolver, own mapFile) (*Machine, error) {
	s := newSource(name)
	m := &Machine{File: name}
	if docs := s.documents(data); len(docs) > 0 && s.include(docs[0].Content[0], m, s.mapsInside(docs), own) {
		s.read(docs[0].Content[0], "", reflect.ValueOf(m).Elem(), "")
		if !s.bad[""] {
			s.complete(m)
			s.checkMachine(m, resolve)
		}
	}
	m.Text = wholeText(data, m.mapTexts)
	m.Hash = hash([]byte(m.Text))
	if len(m.Text) > maxFileBytes && len(data) <= maxFileBytes {
		s.add(0, "", fmt.Sprintf("%d bytes with its device maps", len(m.Text)), fmt.Sprintf("%d bytes", maxFileBytes), "use smaller maps")
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
