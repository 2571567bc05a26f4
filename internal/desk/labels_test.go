package desk

import (
	"reflect"
	"strings"
	"testing"

	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
)

// Every field of everything that has editions has words of its own, so that no page shows a name of the
// code.
func TestEveryFieldHasALabel(t *testing.T) {
	t.Parallel()
	seen := map[reflect.Type]bool{}
	fields := 0
	var visit func(reflect.Type)
	visit = func(typ reflect.Type) {
		for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice || typ.Kind() == reflect.Map {
			typ = typ.Elem()
		}
		if typ.Kind() != reflect.Struct || seen[typ] {
			return
		}
		seen[typ] = true
		for f := range typ.Fields() {
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			if name == "-" {
				continue
			}
			visit(f.Type)
			if name == "" || silent[typ.Name()+"."+name] {
				continue
			}
			fields++
			if _, ok := record.Label(typ.Name(), name); !ok {
				t.Errorf("%s.%s has no words", typ.Name(), name)
			}
			if l := labelOf(typ.Name(), name); strings.ContainsAny(l, "_") {
				t.Errorf("%s.%s is called %q", typ.Name(), name, l)
			}
		}
	}
	for _, v := range []any{scope.Model{}, scope.Instrument{}, quality.Meter{}, quality.Lot{}, quality.Target{}, reading.Level{}, policy.RuleSet{}} {
		visit(reflect.TypeOf(v))
	}
	if fields < 90 {
		t.Errorf("only %d fields were looked at", fields)
	}
}
