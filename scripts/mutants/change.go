package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"strings"
)

// mutant is a file with one small change.
type mutant struct {
	path, text string
	// name says what is changed where, without line numbers, so that it lasts.
	name string
}

// turned is what an operator becomes.
var turned = map[string]string{"<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "==", "&&": "||", "||": "&&"}

// mutants returns the changes of a file in the order of its text.
func mutants(path, text string) ([]mutant, error) {
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, path, text, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	var all []mutant
	seen := map[string]int{}
	for _, d := range file.Decls {
		f, ok := d.(*ast.FuncDecl)
		if !ok || f.Body == nil {
			continue
		}
		at := func(p token.Pos) int { return set.Position(p).Offset }
		source := func(n ast.Node) string { return text[at(n.Pos()):at(n.End())] }
		// change puts something in the place of what stands from one place to another, within a node that shows it.
		change := func(shown ast.Node, from, to token.Pos, with string) {
			begin, end := at(shown.Pos()), at(shown.End())
			before := text[begin:end]
			after := text[begin:at(from)] + with + text[at(to):end]
			name := fmt.Sprintf("%s %s: %s => %s", base(path), f.Name.Name, line(before), line(after))
			seen[name]++
			if n := seen[name]; n > 1 {
				name += fmt.Sprintf(" (%d)", n)
			}
			all = append(all, mutant{path, text[:at(from)] + with + text[at(to):], name})
		}
		negate := func(x ast.Expr) {
			if b, ok := x.(*ast.BinaryExpr); ok && (b.Op == token.EQL || b.Op == token.NEQ) {
				return // turning its sign does the same
			}
			change(x, x.Pos(), x.End(), "!("+source(x)+")")
		}
		ast.Inspect(f.Body, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.IfStmt:
				negate(n.Cond)
			case *ast.SwitchStmt:
				if n.Tag != nil {
					return true
				}
				for _, c := range n.Body.List {
					for _, x := range c.(*ast.CaseClause).List {
						negate(x)
					}
				}
			case *ast.BinaryExpr:
				if with, ok := turned[n.Op.String()]; ok {
					change(n, n.OpPos, n.OpPos+token.Pos(len(n.Op.String())), with)
				}
			case *ast.Ident:
				switch n.Name {
				case "true":
					change(n, n.Pos(), n.End(), "false")
				case "false":
					change(n, n.Pos(), n.End(), "true")
				}
			case *ast.BasicLit:
				if v, err := strconv.Atoi(n.Value); n.Kind == token.INT && err == nil {
					change(n, n.Pos(), n.End(), strconv.Itoa(v+1))
					change(n, n.Pos(), n.End(), strconv.Itoa(v-1))
				}
			case *ast.CallExpr:
				switch name := source(n.Fun); name {
				case "min", "max":
					change(n, n.Fun.Pos(), n.Fun.End(), map[string]string{"min": "max", "max": "min"}[name])
				case "g.block", "fail":
					change(n, n.Fun.Pos(), n.Fun.End(), "func(...any) {}")
				}
			}
			return true
		})
	}
	return all, nil
}

func base(path string) string { return path[strings.LastIndexByte(path, '/')+1:] }

// line brings source text on one line that is not too long.
func line(text string) string {
	words := strings.Fields(text)
	const most = 24
	if len(words) > most {
		words = slices.Concat(words[:most], []string{"…"})
	}
	return strings.Join(words, " ")
}
