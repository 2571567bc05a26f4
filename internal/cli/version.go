package cli

import (
	"fmt"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/store/sqlite"
)

// version is set when the program is linked for a release: -ldflags "-X rinsate/internal/cli.version=0.1.0".
// Without it the module's own version says what this is.
var version string

// edition is what a program can say of how it was made.
type edition struct {
	Version string `json:"version"`
	// Revision is the commit of the sources, Committed its time, Modified whether they differ from it; empty
	// where the sources were built outside of version control.
	Revision  string `json:"revision,omitempty"`
	Committed string `json:"committed,omitempty"`
	Modified  bool   `json:"modified,omitempty"`
	Go        string `json:"go"`
	// Engine is the database engine and Driver the library that brings it.
	Engine        string `json:"engine"`
	EngineVersion string `json:"engine_version"`
	Driver        string `json:"driver"`
	// Settings are those of the compiler and the linker.
	Settings map[string]string `json:"settings"`
}

// editionOf reads what the build left in a program; override goes before the module's version.
func editionOf(b *debug.BuildInfo, override string) edition {
	e := edition{Version: override, Go: b.GoVersion, Engine: "SQLite", EngineVersion: sqlite.Version, Settings: map[string]string{}}
	if e.Version == "" {
		e.Version = b.Main.Version
	}
	if e.Version == "" || e.Version == "(devel)" {
		e.Version = "unreleased"
	}
	for _, d := range b.Deps {
		if d.Path == sqlite.Module {
			e.Driver = d.Path + " " + d.Version
		}
	}
	for _, s := range b.Settings {
		switch s.Key {
		case "vcs.revision":
			e.Revision = s.Value
		case "vcs.time":
			e.Committed = s.Value
		case "vcs.modified":
			e.Modified = s.Value == "true"
		default:
			e.Settings[s.Key] = s.Value
		}
	}
	return e
}

// lines are what a person is told.
func (e edition) lines() []string {
	lines := []string{"rinsate " + e.Version}
	if e.Revision != "" {
		line := "sources: " + e.Revision + ", " + e.Committed
		if e.Modified {
			line += ", changed since"
		}
		lines = append(lines, line)
	}
	system := strings.Trim(e.Settings["GOOS"]+"/"+e.Settings["GOARCH"], "/")
	lines = append(lines, strings.TrimSpace("made with "+e.Go+" for "+system))
	return append(lines, strings.TrimSpace(fmt.Sprintf("records kept by %s %s (%s)", e.Engine, e.EngineVersion, e.Driver)))
}

func (a proofCommands) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "Say which edition of the program this is, and what it was made of",
		Long: `Say which edition of the program this is: its version, the sources that it was made
of, the compiler, and the database engine with its version. With --json also the
settings of the build.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			b, ok := debug.ReadBuildInfo()
			if !ok {
				b = &debug.BuildInfo{GoVersion: "an unknown compiler"}
			}
			e := editionOf(b, version)
			if a.json {
				return a.printJSON(e)
			}
			for _, line := range e.lines() {
				fmt.Fprintln(a.Out, line)
			}
			return nil
		},
	}
}
