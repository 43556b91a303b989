package profiles

import "errors"

// LoadMachine reads and checks a machine file. The error, if any, is a Faults.
func LoadMachine(path string) (*Machine, error) { return nil, errors.New("not written") }

// ParseMachine is LoadMachine for bytes; name stands for the file in messages.
func ParseMachine(name string, data []byte) (*Machine, error) { return nil, errors.New("not written") }

// LoadRecipe reads and checks a recipe file. The error, if any, is a Faults.
func LoadRecipe(path string) (*Recipe, error) { return nil, errors.New("not written") }

// ParseRecipe is LoadRecipe for bytes.
func ParseRecipe(name string, data []byte) (*Recipe, error) { return nil, errors.New("not written") }

// Fit checks a recipe against a machine.
func Fit(r *Recipe, m *Machine) error { return errors.New("not written") }
