package cli

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"rinsate/internal/desk"
	"rinsate/internal/identity"
)

// does says what each command that writes does, apart from the code: a command that is not here and takes
// --by, or does something else, is a mistake.
var does = map[string]string{
	"hold":                  "PlaceHold",
	"clock compare":         "CompareClock",
	"attest":                "Attest",
	"lift":                  "LiftHold",
	"ask":                   "Ask",
	"unrecall":              "TakeBackRecall",
	"void":                  "Void",
	"correct":               "Correct",
	"finish":                "Finish",
	"select":                "SelectAtRandom",
	"attach":                "Attach",
	"handover write":        "HandOver",
	"signal seen":           "HandleSignal",
	"signal explain":        "HandleSignal",
	"signal link":           "HandleSignal",
	"signal close":          "HandleSignal",
	"signal reopen":         "HandleSignal",
	"limits adopt":          "AdoptCharts",
	"level adopt":           "AdoptDerived",
	"rules adopt":           "AdoptRules",
	"import":                "Import",
	"meter check":           "CheckMeter",
	"meter target":          "RegisterTarget",
	"meter own":             "RegisterTarget",
	"meter compare":         "RecordComparison",
	"erase":                 "Erase",
	"user add":              "AddAccount",
	"user roles":            "ChangeRoles",
	"user password":         "SetPassword",
	"user pin":              "SetPIN",
	"user badge":            "SetBadge",
	"user disable":          "Disable",
	"user reset":            "Reset",
	"user sessions":         "Revoke",
	"restore":               "SayRestored",
	"restore nothing-since": "SayNothingSince",
	"patient show":          "RevealPatient",
	"patient uses":          "FindPatient",
	"patient erase":         "ErasePatient",
}

// begins makes a new data folder: there is nobody yet who may anything.
const begins = "init"

func TestCommandsNameTheirActs(t *testing.T) {
	known := map[string]bool{desk.ImportName: true}
	for _, a := range slices.Concat(desk.Acts, identity.Acts) {
		known[a.Name] = true
	}
	got := map[string]string{}
	var walk func(c *cobra.Command, path string)
	walk = func(c *cobra.Command, path string) {
		for _, sub := range c.Commands() {
			walk(sub, strings.TrimSpace(path+" "+sub.Name()))
		}
		act, named := c.Annotations[actName]
		if by := c.Flags().Lookup("by"); by != nil && strings.Contains(by.Usage, "person") && !named && path != begins && by.DefValue == "" {
			t.Errorf("%s asks who acts and names no act", path)
		}
		if named {
			got[path] = act
		}
		if named && !known[act] {
			t.Errorf("%s does %q, which is no act", path, act)
		}
	}
	walk((&app{}).root(), "")
	if !maps.Equal(got, does) {
		for path, act := range got {
			if does[path] != act {
				t.Errorf("%s does %q, want %q", path, act, does[path])
			}
		}
		for path, act := range does {
			if got[path] == "" {
				t.Errorf("%s does not say that it does %q", path, act)
			}
		}
	}
}

// There is one place in which a command gets the desk as somebody, so that none can pose as anything but the
// operator.
func TestCommandsActAsOperator(t *testing.T) {
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	var found []string
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok {
				continue
			}
			ast.Inspect(f, func(n ast.Node) bool {
				if call, ok := n.(*ast.CallExpr); ok {
					if s, ok := call.Fun.(*ast.SelectorExpr); ok && (s.Sel.Name == "As" || s.Sel.Name == "Scribe" || s.Sel.Name == "Recognised") {
						found = append(found, f.Name.Name+" calls "+s.Sel.Name)
					}
				}
				return true
			})
		}
	}
	if want := []string{"on calls As"}; !slices.Equal(found, want) {
		t.Errorf("got %q, want %q", found, want)
	}
}
