package profiles

import (
	"embed"
	"path"
)

// Examples holds the shipped files, below machines and recipes.
//
//go:embed machines/*.yaml recipes/*.yaml
var Examples embed.FS

// Example is a shipped file by its path, such as machines/heron-1000.yaml.
func Example(name string) ([]byte, bool) {
	data, err := Examples.ReadFile(name)
	return data, err == nil
}

// ExampleNames lists the paths of the shipped files, machines first, sorted.
func ExampleNames() []string {
	var names []string
	for _, folder := range [...]string{"machines", "recipes"} {
		entries, err := Examples.ReadDir(folder)
		if err != nil {
			continue // not possible: the folders are compiled in
		}
		for _, e := range entries {
			names = append(names, path.Join(folder, e.Name()))
		}
	}
	return names
}
