package layers_test

import (
	"cmp"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// What a package may hold before it has to be parted: files that all need each other cannot be read, tested
// or moved one at a time, and a type with too many methods is where everything ends up.
const (
	largestCircle = 8
	mostMethods   = 40
)

// compiled is what go list tells of a package and of where the compiler has put it.
type compiled struct {
	ImportPath, Dir, Export string
	GoFiles, Imports        []string
}

func TestCirclesAndMethods(t *testing.T) {
	var own []compiled // each behind those that it imports
	foreign := map[string]bool{}
	for _, p := range goList[compiled](t, "list", "-deps", "-json=ImportPath,Dir,GoFiles,Imports", module+"/...") {
		if !strings.HasPrefix(p.ImportPath, module+"/") {
			continue
		}
		own = append(own, p)
		for _, imported := range p.Imports {
			foreign[imported] = foreign[imported] || !strings.HasPrefix(imported, module+"/")
		}
	}
	maps.DeleteFunc(foreign, func(_ string, is bool) bool { return !is })
	l := newLoader(goList[compiled](t, slices.Concat([]string{"list", "-export", "-deps", "-json=ImportPath,Export"}, slices.Sorted(maps.Keys(foreign)))...))
	for _, p := range own {
		name := strings.TrimPrefix(p.ImportPath, module+"/")
		sources := map[string]string{}
		for _, f := range p.GoFiles {
			content, err := os.ReadFile(filepath.Join(p.Dir, f))
			if err != nil {
				t.Fatal(err)
			}
			sources[f] = string(content)
		}
		s, err := l.shapeOf(p.ImportPath, sources)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, circle := range s.circles {
			if len(circle) > largestCircle {
				t.Errorf("%s: %d files need each other, at most %d may: %s", name, len(circle), largestCircle, strings.Join(circle, " "))
			}
		}
		for typ, n := range s.methods {
			if n > mostMethods {
				t.Errorf("%s.%s has %d methods, at most %d may be: part it", name, typ, n, mostMethods)
			}
		}
	}
}

// shape is how the files of a package hang together.
type shape struct {
	// circles are the largest sets of files in which each needs each other, on whatever way; a file alone is
	// none.
	circles [][]string
	// methods counts those of each type.
	methods map[string]int
}

// loader reads packages whose imports it has read before or the compiler has put somewhere.
type loader struct {
	fset     *token.FileSet
	read     map[string]*types.Package
	compiled types.Importer
}

func newLoader(foreign []compiled) *loader {
	exports := map[string]string{}
	for _, p := range foreign {
		exports[p.ImportPath] = p.Export
	}
	fset := token.NewFileSet()
	return &loader{fset: fset, read: map[string]*types.Package{}, compiled: importer.ForCompiler(fset, "gc", func(path string) (io.ReadCloser, error) {
		if exports[path] == "" {
			return nil, fmt.Errorf("package %s was not compiled", path)
		}
		return os.Open(exports[path])
	})}
}

// Import returns a package that another one imports.
func (l *loader) Import(path string) (*types.Package, error) {
	if p := l.read[path]; p != nil {
		return p, nil
	}
	return l.compiled.Import(path)
}

// shapeOf reads a package of files by their names.
func (l *loader) shapeOf(path string, sources map[string]string) (shape, error) {
	var files []*ast.File
	for _, name := range slices.Sorted(maps.Keys(sources)) {
		f, err := parser.ParseFile(l.fset, name, sources[name], parser.SkipObjectResolution)
		if err != nil {
			return shape{}, err
		}
		files = append(files, f)
	}
	info := &types.Info{Uses: map[*ast.Ident]types.Object{}}
	config := types.Config{Importer: l}
	p, err := config.Check(path, l.fset, files, info)
	if err != nil {
		return shape{}, err
	}
	l.read[path] = p
	in := func(pos token.Pos) string { return l.fset.Position(pos).Filename }
	needs := map[string]map[string]bool{}
	for name := range sources {
		needs[name] = map[string]bool{}
	}
	for id, o := range info.Uses {
		if o.Pkg() != p || !atTheTop(o) {
			continue
		}
		if from, to := in(id.Pos()), in(o.Pos()); from != to {
			needs[from][to] = true
		}
	}
	return shape{circles: circlesOf(needs), methods: methodsOf(p)}, nil
}

// atTheTop says whether an object is declared at the top of a file: by its own name, or as a method.
func atTheTop(o types.Object) bool {
	if f, ok := o.(*types.Func); ok && f.Signature().Recv() != nil {
		return !types.IsInterface(f.Signature().Recv().Type())
	}
	return o.Parent() == o.Pkg().Scope()
}

// methodsOf counts the methods that are declared on each type of a package, and those of each interface.
func methodsOf(p *types.Package) map[string]int {
	counts := map[string]int{}
	for _, name := range p.Scope().Names() {
		typ, ok := p.Scope().Lookup(name).(*types.TypeName)
		if !ok || typ.IsAlias() {
			continue
		}
		named, ok := typ.Type().(*types.Named)
		if !ok {
			continue
		}
		counts[name] = named.NumMethods()
		if i, ok := named.Underlying().(*types.Interface); ok {
			counts[name] = i.NumExplicitMethods()
		}
	}
	return counts
}

// circlesOf returns the strongly connected components of more than one file, the largest first (Tarjan 1972,
// SIAM Journal on Computing 1:146-160).
func circlesOf(needs map[string]map[string]bool) [][]string {
	var circles [][]string
	var stack []string
	number, low, on := map[string]int{}, map[string]int{}, map[string]bool{}
	var visit func(string)
	visit = func(file string) {
		number[file] = len(number) + 1
		low[file] = number[file]
		stack = append(stack, file)
		on[file] = true
		for _, next := range slices.Sorted(maps.Keys(needs[file])) {
			if number[next] == 0 {
				visit(next)
				low[file] = min(low[file], low[next])
			} else if on[next] {
				low[file] = min(low[file], number[next])
			}
		}
		if low[file] != number[file] {
			return
		}
		at := slices.Index(stack, file)
		circle := slices.Clone(stack[at:])
		stack = stack[:at]
		for _, f := range circle {
			on[f] = false
		}
		if len(circle) > 1 {
			slices.Sort(circle)
			circles = append(circles, circle)
		}
	}
	for _, file := range slices.Sorted(maps.Keys(needs)) {
		if number[file] == 0 {
			visit(file)
		}
	}
	slices.SortStableFunc(circles, func(a, b []string) int { return cmp.Compare(len(b), len(a)) })
	return circles
}

// The shape of small packages.
func TestShape(t *testing.T) {
	for _, c := range []struct {
		reason  string
		sources map[string]string
		circles [][]string
		methods map[string]int
	}{
		{
			"files that need each other one way are no circle",
			map[string]string{"a.go": "package p\n\nvar a = b + c\n", "b.go": "package p\n\nvar b = c\n", "c.go": "package p\n\nconst c = 1\n"},
			nil,
			map[string]int{},
		},
		{
			"two circles, and a file that needs one of them",
			map[string]string{
				"a.go": "package p\n\nfunc a() { b() }\n", "b.go": "package p\n\nfunc b() { c() }\n", "c.go": "package p\n\nfunc c() { a() }\n",
				"d.go": "package p\n\nfunc d() { e() }\n", "e.go": "package p\n\nfunc e() { d() }\n", "f.go": "package p\n\nfunc f() { a() }\n",
			},
			[][]string{{"a.go", "b.go", "c.go"}, {"d.go", "e.go"}},
			map[string]int{},
		},
		{
			"a method needs its type, and who calls it needs the method's file",
			map[string]string{
				"type.go": "package p\n\ntype T struct{ field int }\n\nfunc (t *T) far() { t.near() }\n",
				"near.go": "package p\n\nfunc (t T) near() int { return t.field }\n",
			},
			[][]string{{"near.go", "type.go"}},
			map[string]int{"T": 2},
		},
		{
			"generic functions, types and methods are found by what they were written as",
			map[string]string{
				"a.go": "package p\n\ntype G[T any] struct{ of T }\n\nvar x = f(1)\n", "b.go": "package p\n\nfunc f[T any](of T) G[T] { return G[T]{of}.self() }\n",
				"c.go": "package p\n\nfunc (g G[T]) self() G[T] { return g }\n",
			},
			[][]string{{"a.go", "b.go", "c.go"}},
			map[string]int{"G": 1},
		},
		{
			"names of functions, fields and methods of interfaces hold no files together",
			map[string]string{
				"a.go": "package p\n\ntype S struct{ field int }\n\ntype I interface{ m() }\n\nfunc a(i I) { i.m() }\n",
				"b.go": "package p\n\nfunc b(s S) int { a := s.field; return a }\n",
			},
			nil,
			map[string]int{"S": 0, "I": 1},
		},
		{
			"an embedded type lends its methods and does not count them twice",
			map[string]string{
				"a.go": "package p\n\ntype A struct{}\n\nfunc (A) m() {}\n", "b.go": "package p\n\ntype B struct{ A }\n\nfunc b(x B) { x.m() }\n",
			},
			nil,
			map[string]int{"A": 1, "B": 0},
		},
	} {
		t.Run(c.reason, func(t *testing.T) {
			s, err := newLoader(nil).shapeOf("p", c.sources)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.EqualFunc(s.circles, c.circles, slices.Equal) {
				t.Errorf("circles %v, want %v", s.circles, c.circles)
			}
			if !maps.Equal(s.methods, c.methods) {
				t.Errorf("methods %v, want %v", s.methods, c.methods)
			}
		})
	}
}
