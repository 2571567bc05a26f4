package layers_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

const module = "rinsate"

// layerOf says how high each package stands. A package imports only packages of lower layers. A
// package that is not listed is an error; one that is listed may still be to come.
var layerOf = map[string]int{
	"internal/base/unit":                 0,
	"internal/base/fault":                0,
	"internal/base/text":                 0,
	"internal/base/stats":                0,
	"internal/base/ledger":               0,
	"internal/base/mixed":                1,
	"internal/domain/scope":              1,
	"internal/domain/access":             1,
	"internal/domain/history":            2,
	"internal/domain/sampling":           2,
	"internal/domain/reading":            2,
	"internal/domain/dossier":            2,
	"internal/domain/trend":              3,
	"internal/domain/attribution":        3,
	"internal/domain/level":              3,
	"internal/domain/quality":            3,
	"internal/domain/reprocessing":       3,
	"internal/domain/takeback":           4,
	"internal/domain/reprocessing/plain": 4, // tests alone: a second release check and random histories; nothing imports it
	"internal/domain/policy":             4,
	"internal/wire/codes":                5,
	"internal/wire/table":                5,
	"internal/present/chart":             5,
	"internal/record":                    5,
	"internal/store/bundle":              5, // the file of a backup; reading it needs no engine
	"internal/store":                     6,
	"internal/present/list":              6, // columns and rows as files and on a terminal
	"internal/present/words":             6, // marks and words of states; commands, pages and pictures take theirs from there
	"internal/desk":                      7,
	"internal/identity":                  7, // who somebody is; it writes only accounts and what was done to them
	"internal/store/sqlite":              7, // an engine; who may know it is in onlyFor
	"internal/store/storetest":           7, // a suite for tests: it drives store, and nothing but tests imports it
	"internal/store/sqlite/sqlitetest":   8, // brings the engine to tests
	"internal/identity/passkey":          8, // apart, so that what serves no pages does not link its library
	"internal/present/figure":            8, // pictures of what the desk answers, for pages, reports and commands
	"internal/web/kit":                   8, // what pages share; the rooms of web stand on it, each for itself
	"internal/web":                       10,
	"internal/cli":                       11,
	"internal/demo":                      11,
	"cmd/rinsate":                        12,
	"scripts/hazards":                    12, // takes each control away and sees that its test fails
	"scripts/mutants":                    12, // makes small changes to the release check and sees that a test fails
	"scripts/sentences":                  12, // writes down what the program can say
	"scripts/size":                       12, // says what the bytes of the program are
	"scripts/snapshot":                   12, // a tool for whoever changes the code
	"internal/base/secret":               0,
}

// roomsOf is the folder whose rooms import kit and never each other, so that a page can be lifted out whole;
// roomLayer is theirs, without an entry for each in layerOf.
const (
	roomsOf   = "internal/web/"
	roomLayer = 9
)

// layer returns how high a package stands, and whether it has a layer at all.
func layer(name string) (int, bool) {
	if of, listed := layerOf[name]; listed {
		return of, true
	}
	return roomLayer, strings.HasPrefix(name, roomsOf)
}

// pureUpTo is the highest layer that answers from its arguments alone.
const pureUpTo = 4

// sameLayer lists the imports that are allowed within a layer, importer first, each with its
// reason.
var sameLayer = map[[2]string]string{
	{"internal/base/ledger", "internal/base/unit"}: "records carry instants; unit itself imports nothing of this module",
	{"internal/desk", "internal/identity"}:         "a facility begins with the account of whoever signs in first",
	{"internal/cli", "internal/demo"}:              "a command fills a new site with the invented hospital",
}

// banned lists what the pure layers do not import, with the packages beneath it, and why.
var banned = map[string]string{
	"database/sql": "the domain knows nothing of storage",
	"log":          "the domain returns errors, it does not log",
	"net/http":     "the domain knows nothing of the web",
	"os":           "the domain knows nothing of files or the environment",
}

// onlyFor lists what only some packages import, with the packages beneath it: a database engine is known to
// those who choose one and to nobody else, and what it is made of to itself. Tests may choose as well. A
// large library is taken only into programs that have a use for it.
var onlyFor = map[string][]string{
	"modernc.org":                     {"internal/store/sqlite", "internal/store/sqlite/sqlitetest"},
	"github.com/go-webauthn/webauthn": {"internal/identity/passkey"},
	"github.com/pressly/goose":        {"internal/store/sqlite"},
	module + "/internal/store/sqlite": {"internal/cli", "internal/demo", "internal/store/sqlite/sqlitetest", "scripts/snapshot"},
}

// bannedExactly lists packages whose subpackages are fine.
var bannedExactly = map[string]string{
	"math/rand": "its global source cannot be reproduced; math/rand/v2 with a given source can",
}

// listed is what go list tells of a package.
type listed struct {
	ImportPath string
	Imports    []string
}

func TestLayers(t *testing.T) {
	packages := goList[listed](t, "list", "-json=ImportPath,Imports", module+"/...")
	for _, violation := range violations(packages) {
		t.Error(violation)
	}
}

// violations returns what breaks the rules above, one sentence each.
func violations(packages []listed) []string {
	if len(packages) == 0 {
		return []string{"the module has no packages: the list is wrong"}
	}
	var found []string
	for _, p := range packages {
		name := strings.TrimPrefix(p.ImportPath, module+"/")
		if name == "internal/layers" {
			continue // this package
		}
		from, known := layer(name)
		if !known {
			found = append(found, fmt.Sprintf("%s has no layer: give it one in internal/layers/layers_test.go", name))
			continue
		}
		for _, imported := range p.Imports {
			if reason := bannedIn(from, imported); reason != "" {
				found = append(found, fmt.Sprintf("%s (layer %d) imports %s: %s", name, from, imported, reason))
			}
			if !mayImport(name, imported) {
				found = append(found, fmt.Sprintf("%s imports %s, which it may not know (see onlyFor)", name, imported))
			}
			own, inside := strings.CutPrefix(imported, module+"/")
			if !inside {
				continue
			}
			below, known := layer(own)
			switch {
			case !known:
				found = append(found, fmt.Sprintf("%s imports %s, which has no layer", name, own))
			case below < from:
			case below == from && sameLayer[[2]string{name, own}] != "":
			default:
				found = append(found, fmt.Sprintf("%s (layer %d) imports %s (layer %d): imports go to lower layers only",
					name, from, own, below))
			}
		}
	}
	return found
}

// mayImport says whether onlyFor allows a package an import.
func mayImport(name, path string) bool {
	for parent, importers := range onlyFor {
		if (path == parent || strings.HasPrefix(path, parent+"/")) && !slices.Contains(importers, name) {
			return false
		}
	}
	return true
}

// bannedIn says why a package of that layer may not import a path, or "".
func bannedIn(layer int, path string) string {
	if layer > pureUpTo {
		return ""
	}
	if reason := bannedExactly[path]; reason != "" {
		return reason
	}
	for parent, reason := range banned {
		if path == parent || strings.HasPrefix(path, parent+"/") {
			return reason
		}
	}
	return ""
}

// The rules themselves are tried on packages that break them.
func TestViolationsAreFound(t *testing.T) {
	tests := []struct {
		reason   string
		packages []listed
		want     []string // a part of each sentence, in order
	}{
		{
			"downward imports and ordinary libraries are fine",
			[]listed{
				{"rinsate/internal/domain/reading", []string{"fmt", "math/rand/v2", "rinsate/internal/domain/scope", "rinsate/internal/base/stats"}},
				{"rinsate/internal/store", []string{"database/sql", "log/slog", "os", "rinsate/internal/domain/policy"}},
				{"rinsate/internal/cli", []string{"rinsate/internal/demo"}},
			},
			nil,
		},
		{"an empty list shows nothing", nil, []string{"no packages"}},
		{
			"an upward import",
			[]listed{{"rinsate/internal/domain/scope", []string{"rinsate/internal/domain/reading"}}},
			[]string{"internal/domain/scope (layer 1) imports internal/domain/reading (layer 2)"},
		},
		{
			"a sideways import",
			[]listed{{"rinsate/internal/domain/reading", []string{"rinsate/internal/domain/sampling"}}},
			[]string{"internal/domain/reading (layer 2) imports internal/domain/sampling (layer 2)"},
		},
		{
			"an allowed pair holds in one direction",
			[]listed{{"rinsate/internal/demo", []string{"rinsate/internal/cli"}}},
			[]string{"internal/demo (layer 11) imports internal/cli (layer 11)"},
		},
		{
			"rooms of web stand on kit",
			[]listed{
				{"rinsate/internal/web/bench", []string{"net/http", "rinsate/internal/web/kit", "rinsate/internal/desk", "rinsate/internal/present/words"}},
				{"rinsate/internal/web", []string{"rinsate/internal/web/bench", "rinsate/internal/web/kit"}},
			},
			nil,
		},
		{
			"and neither on each other, nor on what wires them, nor kit on one of them",
			[]listed{
				{"rinsate/internal/web/bench", []string{"rinsate/internal/web/meters", "rinsate/internal/web"}},
				{"rinsate/internal/web/kit", []string{"rinsate/internal/web/bench"}},
			},
			[]string{
				"internal/web/bench (layer 9) imports internal/web/meters (layer 9)", "internal/web/bench (layer 9) imports internal/web (layer 10)",
				"internal/web/kit (layer 8) imports internal/web/bench (layer 9)",
			},
		},
		{
			"a library that belongs to one package",
			[]listed{
				{"rinsate/internal/identity/passkey", []string{"github.com/go-webauthn/webauthn/protocol"}},
				{"rinsate/internal/desk", []string{"github.com/go-webauthn/webauthn/protocol", "rinsate/internal/identity"}},
			},
			[]string{"internal/desk imports github.com/go-webauthn/webauthn/protocol,"},
		},
		{
			"an engine is for those who choose one, and what it is made of for itself",
			[]listed{
				{"rinsate/internal/store/sqlite", []string{"modernc.org/sqlite", "modernc.org/sqlite/lib", "github.com/pressly/goose/v3", "rinsate/internal/store"}},
				{"rinsate/internal/cli", []string{"rinsate/internal/store/sqlite"}},
				{"rinsate/internal/store", []string{"modernc.org/sqlite/lib", "github.com/pressly/goose/v3/database"}},
				{"rinsate/internal/web", []string{"rinsate/internal/store/sqlite", "rinsate/internal/store/sqlite/sqlitetest"}},
			},
			[]string{
				"internal/store imports modernc.org/sqlite/lib,", "internal/store imports github.com/pressly/goose/v3/database,",
				"internal/web imports rinsate/internal/store/sqlite,", "internal/web imports rinsate/internal/store/sqlite/sqlitetest,",
			},
		},
		{
			"a package without a layer",
			[]listed{{"rinsate/internal/helpers", []string{"rinsate/internal/web"}}},
			[]string{"internal/helpers has no layer"},
		},
		{
			"an import without a layer",
			[]listed{{"rinsate/internal/web", []string{"rinsate/internal/helpers"}}},
			[]string{"imports internal/helpers, which has no layer"},
		},
		{
			"what the pure layers may not know",
			[]listed{{"rinsate/internal/domain/policy", []string{
				"database/sql", "database/sql/driver", "log", "log/slog", "math/rand", "net/http", "net/http/httptest", "os", "os/exec",
			}}},
			[]string{
				"imports database/sql:", "imports database/sql/driver:", "imports log:", "imports log/slog:", "imports math/rand:",
				"imports net/http:", "imports net/http/httptest:", "imports os:", "imports os/exec:",
			},
		},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			got := violations(test.packages)
			if len(got) != len(test.want) {
				t.Fatalf("got %q, want %q", got, test.want)
			}
			for i, part := range test.want {
				if !strings.Contains(got[i], part) {
					t.Errorf("got %q, want %q in it", got[i], part)
				}
			}
		})
	}
}

// Each exception names packages of one layer and a reason.
func TestSameLayerExceptions(t *testing.T) {
	for pair, reason := range sameLayer {
		from, known := layerOf[pair[0]]
		to, alsoKnown := layerOf[pair[1]]
		if !known || !alsoKnown || from != to || reason == "" {
			t.Errorf("the exception %v (%q) is not one within a layer with a reason", pair, reason)
		}
	}
}

// modernc.org/sqlite is C translated to Go together with one version of modernc.org/libc. With
// another one it builds and then crashes or corrupts memory, as several projects found out when
// some other requirement raised libc. So libc stays at exactly the version that sqlite asks for.
func TestLibcPin(t *testing.T) {
	type found struct {
		Path, Version, GoMod string
	}
	const sqlite, libc = "modernc.org/sqlite", "modernc.org/libc"
	modules := goList[found](t, "list", "-m", "-json=Path,Version,GoMod", sqlite, libc)
	if len(modules) != 2 || modules[0].Path != sqlite || modules[1].Path != libc {
		t.Fatalf("got %+v, want %s and %s", modules, sqlite, libc)
	}
	if modules[0].GoMod == "" {
		t.Fatalf("%s %s: its go.mod is not in the module cache", sqlite, modules[0].Version)
	}
	type wanted struct {
		Require []struct{ Path, Version string }
	}
	manifest := goList[wanted](t, "mod", "edit", "-json", modules[0].GoMod)
	if len(manifest) != 1 {
		t.Fatalf("%s: %d manifests", modules[0].GoMod, len(manifest))
	}
	i := slices.IndexFunc(manifest[0].Require, func(r struct{ Path, Version string }) bool { return r.Path == libc })
	if i < 0 {
		t.Fatalf("%s %s does not require %s: this test has lost its object", sqlite, modules[0].Version, libc)
	}
	if want := manifest[0].Require[i].Version; modules[1].Version != want {
		t.Errorf("%s is %s, but %s %s was made with %s", libc, modules[1].Version, sqlite, modules[0].Version, want)
	}
}

// goList runs the go command and decodes the JSON values that it prints one after another.
func goList[T any](t *testing.T, args ...string) []T {
	t.Helper()
	var stderr bytes.Buffer
	cmd := exec.CommandContext(t.Context(), "go", args...)
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go %s: %v\n%s", strings.Join(args, " "), err, stderr.String())
	}
	var values []T
	decoder := json.NewDecoder(bytes.NewReader(out))
	for {
		var v T
		err := decoder.Decode(&v)
		if errors.Is(err, io.EOF) {
			return values
		}
		if err != nil {
			t.Fatalf("go %s: %v", strings.Join(args, " "), err)
		}
		values = append(values, v)
	}
}
