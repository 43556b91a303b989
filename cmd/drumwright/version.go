package main

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// version is set by the linker for packaged builds; otherwise the build's own
// information stands in.
var version string

func versionText() string {
	v, rev := version, ""
	if info, ok := debug.ReadBuildInfo(); ok {
		if v == "" {
			v = info.Main.Version
		}
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" && len(s.Value) >= 12 {
				rev = " " + s.Value[:12]
			}
		}
	}
	if v == "" || v == "(devel)" {
		v = "unreleased"
	}
	return fmt.Sprintf("drumwright %s%s %s %s/%s", v, rev, runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

func versionCommand() *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "Print the version", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := fmt.Fprintln(cmd.OutOrStdout(), versionText())
			return err
		},
	}
}
