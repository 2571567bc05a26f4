package main

import (
	"strings"
	"testing"
)

func TestPackageOfASymbol(t *testing.T) {
	t.Parallel()
	for symbol, want := range map[string]string{
		"main.main":                                  "main",
		"rinsate/internal/web.(*Server).url":         "rinsate/internal/web",
		"slices.SortFunc[go.shape.*rinsate/x.Y]":     "slices",
		"go.yaml.in/yaml/v3.yaml_parser_parse":       "go.yaml.in/yaml/v3",
		"gopkg.in/yaml%2ev3.unmarshal":               "gopkg.in/yaml.v3",
		"type:.eq.rinsate/internal/domain/scope.Tag": "rinsate/internal/domain/scope",
		"go:func.*":        "runtime",
		"type:*":           "runtime",
		"_rt0_amd64_linux": "runtime",
		"vendor/golang.org/x/net/idna.idnaValues": "vendor/golang.org/x/net/idna",
	} {
		if got := packageOf(symbol); got != want {
			t.Errorf("%s belongs to %q, want %q", symbol, got, want)
		}
	}
	for name, want := range map[string]string{
		"main": own, "rinsate/internal/web": own, "gonum.org/v1/gonum/mat": dependencies,
		"vendor/golang.org/x/net/idna": goItself, "runtime": goItself, "crypto/tls": goItself,
	} {
		if got := groupOf(name); got != want {
			t.Errorf("%s counts as %q, want %q", name, got, want)
		}
	}
}

func TestSumsOfPackages(t *testing.T) {
	t.Parallel()
	packages := map[string]uint64{"runtime": 100, "rinsate/internal/web": 30, "example.org/a": 20}
	for name := range strings.FieldsSeq("b c d e f g h i j k l m n o p q r s t u v w x y z") {
		packages["example.org/"+name] = 1
	}
	var b strings.Builder
	write(&b, packages, 80, 300)
	for _, line := range []string{
		"       30  own code\n", "       45  dependencies\n", "      100  Go's library and runtime\n",
		"       80  tables of functions and lines\n", "       45  constants and embedded files\n", "      300  all that is loaded\n",
		"       20  example.org/a\n", "        3  3 more packages\n",
	} {
		if !strings.Contains(b.String(), line) {
			t.Errorf("%q is not in\n%s", line, b.String())
		}
	}
}
