package profiles

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"gopkg.in/yaml.v3"
)

// maxFileBytes bounds a machine or recipe file; real ones have a few kilobytes.
const maxFileBytes = 1 << 20

// maxFaults bounds the report on a file that is something else altogether.
const maxFaults = 200

// source is one file being read: where its keys stand and what is wrong so far.
type source struct {
	file   string
	lines  map[string]int      // key path → line; a path is here if the file has the key
	order  map[string][]string // map path → its keys in the order of the file
	bad    map[string]bool     // key paths that have a fault
	faults Faults

	parts  []string               // files that were included, see located
	ranges map[string][2]*float64 // key of a point → what its device can give, as its map says
}

func newSource(file string) *source {
	return &source{file: file, lines: map[string]int{}, order: map[string][]string{}, bad: map[string]bool{}, ranges: map[string][2]*float64{}}
}

// open parses the one document of a file, or notes why it cannot.
func (s *source) open(data []byte) *yaml.Node {
	docs := s.documents(data)
	if len(docs) == 0 {
		return nil
	}
	if len(docs) > 1 {
		s.secondDocument(docs[1])
	}
	return docs[0].Content[0]
}

func (s *source) secondDocument(doc *yaml.Node) {
	s.add(doc.Line, "", "a second document", "one document in a file", "take out the line --- and what follows it")
}

// documents parses a file as far as it can.
func (s *source) documents(data []byte) (docs []*yaml.Node) {
	if len(data) > maxFileBytes {
		s.add(0, "", fmt.Sprintf("%d bytes", len(data)), fmt.Sprintf("%d bytes", maxFileBytes), "give the right file")
		return nil
	}
	dec := yaml.NewDecoder(bytes.NewReader(data))
	for {
		var doc yaml.Node
		switch err := dec.Decode(&doc); {
		case err == nil:
			docs = append(docs, &doc)
			continue
		case !errors.Is(err, io.EOF):
			s.addSyntax(err)
		case len(docs) == 0:
			s.add(0, "", "an empty file", "one YAML document", "start from a shipped example")
		}
		return docs
	}
}

func (s *source) addSyntax(err error) {
	text := strings.TrimPrefix(err.Error(), "yaml: ")
	line := 0
	if n, scanErr := fmt.Sscanf(text, "line %d:", &line); n == 1 && scanErr == nil {
		_, text, _ = strings.Cut(text, ": ")
	}
	s.add(line, "", "text that is not YAML ("+shown(text)+")", "YAML", "mend the line or the one before it: look at indentation, colons and quotes")
}

func (s *source) add(line int, key, found, allowed, hint string) {
	s.bad[key] = true
	if len(s.faults) > maxFaults {
		return
	}
	if len(s.faults) == maxFaults {
		line, key, found, allowed, hint = 0, "", fmt.Sprintf("more than %d faults", maxFaults), "none", "mend these first, or start from a shipped example"
	}
	file, at := s.located(line)
	s.faults = append(s.faults, Fault{File: file, Line: at, Key: key, Found: found, Allowed: allowed, Hint: hint})
}

// fault notes a fault of a key at its line, or, for a key that is left out, at
// the line of the section it would stand in.
func (s *source) fault(key, found, allowed, hint string) {
	s.add(s.line(key), key, found, allowed, hint)
}

func (s *source) line(key string) int {
	for {
		if n, ok := s.lines[key]; ok {
			return n
		}
		i := strings.LastIndexAny(key, ".[")
		if i < 0 {
			return 0
		}
		key = key[:i]
	}
}

// has reports whether the file has the key.
func (s *source) has(key string) bool {
	_, ok := s.lines[key]
	return ok
}

// sound reports whether none of the keys, nor a section they stand in, has a
// fault, so that a check across them makes sense.
func (s *source) sound(keys ...string) bool {
	for _, key := range keys {
		for {
			if s.bad[key] {
				return false
			}
			i := strings.LastIndexAny(key, ".[")
			if i < 0 {
				break
			}
			key = key[:i]
		}
	}
	return true
}

// clean reports whether nothing in a section has a fault, so that something that
// seems to be lacking is not merely misspelt.
func (s *source) clean(section string) bool {
	for _, f := range s.faults {
		if f.Key == section || strings.HasPrefix(f.Key, section+".") || strings.HasPrefix(f.Key, section+"[") {
			return false
		}
	}
	return s.sound(section)
}

// result is the sorted faults as an error, nil if there are none.
func (s *source) result() error {
	if len(s.faults) == 0 {
		return nil
	}
	return s.faults.sorted(s.file)
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func entry(path string, i int) string { return fmt.Sprintf("%s[%d]", path, i+1) }
