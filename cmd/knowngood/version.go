package main

import (
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"knowngood.example/client"
)

// versionRow is the stable shape of the version.
type versionRow struct {
	Version  string `json:"version"`
	Revision string `json:"revision"`
	Changed  bool   `json:"changed"`
	Go       string `json:"go"`
	Platform string `json:"platform"`
}

func newVersion(a *app) *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "Which build this is",
		Long: `  knowngood version
  knowngood version -o json`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return runVersion(a) },
	}
}

func runVersion(a *app) error {
	row := versionRow{Version: "unknown", Go: runtime.Version(), Platform: runtime.GOOS + "/" + runtime.GOARCH}
	if info, ok := debug.ReadBuildInfo(); ok {
		row.Version = info.Main.Version
		for _, s := range info.Settings {
			switch s.Key {
			case "vcs.revision":
				row.Revision = s.Value
			case "vcs.modified":
				row.Changed = s.Value == "true"
			}
		}
	}
	return a.show.Write([]versionRow{row}, func() client.Table {
		return client.Table{Head: []string{"Version", "Revision", "Go", "Platform"}, Rows: [][]string{{row.Version, row.Revision, row.Go, row.Platform}}}
	})
}
