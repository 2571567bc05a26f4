package cli

import (
	"runtime/debug"
	"strings"
	"testing"

	"rinsate/internal/store/sqlite"
)

func TestEdition(t *testing.T) {
	t.Parallel()
	b := &debug.BuildInfo{
		GoVersion: "go1.26.8", Main: debug.Module{Path: "rinsate", Version: "v0.1.0"},
		Deps: []*debug.Module{{Path: "example.org/other", Version: "v9.9.9"}, {Path: sqlite.Module, Version: "v1.62.0"}},
		Settings: []debug.BuildSetting{
			{Key: "GOOS", Value: "linux"},
			{Key: "GOARCH", Value: "arm64"},
			{Key: "vcs.revision", Value: "abc123"},
			{Key: "vcs.time", Value: "2026-11-30T10:00:00Z"},
			{Key: "vcs.modified", Value: "true"},
		},
	}
	got := editionOf(b, "")
	lines := strings.Join(got.lines(), "\n")
	want := "rinsate v0.1.0\nsources: abc123, 2026-11-30T10:00:00Z, changed since\nmade with go1.26.8 for linux/arm64\n" +
		"records kept by SQLite " + got.EngineVersion + " (modernc.org/sqlite v1.62.0)"
	if lines != want || got.EngineVersion == "" {
		t.Errorf("got\n%s\nwant\n%s", lines, want)
	}
	if e := editionOf(b, "0.1.0-rc1"); e.Version != "0.1.0-rc1" {
		t.Errorf("what was set at the link is not what is said: %q", e.Version)
	}
	if e := editionOf(&debug.BuildInfo{Main: debug.Module{Version: "(devel)"}}, ""); e.Version != "unreleased" || e.Revision != "" {
		t.Errorf("a build without version control says %+v", e)
	}
}
