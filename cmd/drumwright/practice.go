package main

import (
	"fmt"
	"os"
	"path"
	"path/filepath"

	"github.com/spf13/cobra"

	"drumwright/profiles"
)

func practiceCommand() *cobra.Command {
	var o serveOptions
	folder := "practice"
	o.practice = 10
	c := &cobra.Command{
		Use:   "practice [MACHINE]",
		Short: "Try the operator page on a simulated machine, faster than life",
		Long: `practice is serve with a simulated machine in the same program: controller,
interlocks, Modbus frames, journal and page are the real ones, the machine and the
hands that pour the beans and open the door are not. It needs one terminal and a
browser, and leaves its files in a folder of its own.

MACHINE is a machine file or the name of a shipped example; default heron-1000.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !(o.practice >= 1 && o.practice <= 60) {
				return exitError{codeInput, fmt.Errorf("--speed %v: allowed is 1 to 60", o.practice)}
			}
			name := "heron-1000"
			if len(args) == 1 {
				name = args[0]
			}
			file, err := practiceFolder(folder, name)
			if err != nil {
				return err
			}
			return serve(cmd.Context(), file, &o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&folder, "folder", folder, "where machine file, recipes and journal are put; what is there already is used as it is")
	f.Float64Var(&o.practice, "speed", o.practice, "how many times faster than life, 1 to 60")
	f.StringVar(&o.logLevel, "log", "warn", "debug, info, warn or error")
	return c
}

// practiceFolder fills the folder with what is not there yet and gives the
// machine file.
func practiceFolder(folder, name string) (string, error) {
	file := filepath.Join(folder, "machine.yaml")
	text, ok := profiles.Example("machines/" + name + ".yaml")
	if !ok {
		m, err := profiles.LoadMachine(name)
		if err != nil {
			return "", exitError{codeInput, fmt.Errorf("machine %q is no shipped example and cannot be read: %w", name, err)}
		}
		text = []byte(m.Text)
	}
	if err := os.MkdirAll(filepath.Join(folder, "recipes"), 0o755); err != nil {
		return "", err
	}
	if err := writeNew(file, text); err != nil {
		return "", err
	}
	for _, r := range profiles.ExampleNames() {
		if text, ok := profiles.Example(r); ok && path.Dir(r) == "recipes" {
			if err := writeNew(filepath.Join(folder, r), text); err != nil {
				return "", err
			}
		}
	}
	return file, nil
}

// writeNew writes a file that is not there yet.
func writeNew(path string, text []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if os.IsExist(err) {
		return nil
	}
	if err != nil {
		return err
	}
	if _, err := f.Write(text); err != nil {
		f.Close()
		return fmt.Errorf("%s: %w", path, err)
	}
	return f.Close()
}
