// Command size says what the program's bytes are, package by package:
//
//	go run ./scripts/size PROGRAM
//
// PROGRAM is built for Linux with its symbol table, so without -s. Counted is what stands in the file: memory
// that is only reserved when the program starts takes no room in it.
package main

import (
	"cmp"
	"debug/elf"
	"fmt"
	"io"
	"maps"
	"net/url"
	"os"
	"slices"
	"strings"
)

// listed is how many packages are named; the rest is summed.
const listed = 25

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: go run ./scripts/size PROGRAM")
		os.Exit(2)
	}
	if err := report(os.Stdout, os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "size:", err)
		os.Exit(1)
	}
}

// report prints where the bytes of a program belong.
func report(to io.Writer, name string) error {
	f, err := elf.Open(name)
	if err != nil {
		return fmt.Errorf("read %s, a program for Linux: %w", name, err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	symbols, err := f.Symbols()
	if err != nil {
		return fmt.Errorf("%s has no symbols, build it without -s: %w", name, err)
	}
	var total, lines uint64
	for _, s := range f.Sections {
		if s.Flags&elf.SHF_ALLOC == 0 || s.Type == elf.SHT_NOBITS {
			continue
		}
		total += s.FileSize
		if s.Name == ".gopclntab" {
			lines = s.FileSize
		}
	}
	packages := map[string]uint64{}
	for _, s := range symbols {
		if int(s.Section) < len(f.Sections) && f.Sections[s.Section].Type != elf.SHT_NOBITS {
			packages[packageOf(s.Name)] += s.Size
		}
	}
	write(to, packages, lines, total)
	return nil
}

// write prints sums and the largest packages. What no symbol claims is constants, embedded files, and the
// tables of functions and lines by which a stack is traced.
func write(to io.Writer, packages map[string]uint64, lines, total uint64) {
	groups, claimed := map[string]uint64{}, uint64(0)
	for name, size := range packages {
		groups[groupOf(name)] += size
		claimed += size
	}
	for _, group := range []string{own, dependencies, goItself} {
		fmt.Fprintf(to, "size: %9d  %s\n", groups[group], group)
	}
	fmt.Fprintf(to, "size: %9d  tables of functions and lines\n", lines)
	fmt.Fprintf(to, "size: %9d  constants and embedded files\n", total-claimed-lines)
	fmt.Fprintf(to, "size: %9d  all that is loaded\n", total)
	names := slices.SortedFunc(maps.Keys(packages), func(a, b string) int {
		return cmp.Or(cmp.Compare(packages[b], packages[a]), cmp.Compare(a, b))
	})
	var rest uint64
	for i, name := range names {
		if i < listed {
			fmt.Fprintf(to, "size: %9d  %s\n", packages[name], name)
		} else {
			rest += packages[name]
		}
	}
	if more := len(names) - listed; more > 0 {
		fmt.Fprintf(to, "size: %9d  %d more packages\n", rest, more)
	}
}

// The groups of packages.
const (
	own          = "own code"
	dependencies = "dependencies"
	goItself     = "Go's library and runtime"
)

func groupOf(name string) string {
	first, _, _ := strings.Cut(name, "/")
	switch {
	case first == "rinsate" || name == "main":
		return own
	case strings.Contains(first, "."):
		return dependencies
	}
	return goItself
}

// packageOf returns the package that a symbol of Go's linker belongs to. What the linker makes of all packages
// together counts as the runtime's.
func packageOf(symbol string) string {
	for _, made := range []string{"type:.eq.", "type:.hash."} {
		symbol = strings.TrimPrefix(symbol, made)
	}
	if strings.HasPrefix(symbol, "type:") || strings.HasPrefix(symbol, "go:") {
		return "runtime"
	}
	symbol, _, _ = strings.Cut(symbol, "[") // types that stand for others name packages of their own
	path := strings.LastIndex(symbol, "/") + 1
	last, _, dotted := strings.Cut(symbol[path:], ".")
	if !dotted {
		return "runtime"
	}
	name := symbol[:path] + last
	if plain, err := url.PathUnescape(name); err == nil { // a dot in the last element is written as %2e
		return plain
	}
	return name
}
