package record

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
)

// path leads from a body to one of its fields: in steps, each into a struct and, where it says so, on into
// every element of the list that it finds there.
type path []step

type step struct {
	index []int
	list  bool
}

// pathTo finds a field by its name in JSON: "with.kit", "controls[].lot".
func pathTo(t reflect.Type, name string) (path, error) {
	var p path
	for part := range strings.SplitSeq(name, ".") {
		part, list := strings.CutSuffix(part, "[]")
		f, ok := fieldNamed(t, part)
		if !ok {
			return nil, fmt.Errorf("%s: %s has no field %q", name, t, part)
		}
		p = append(p, step{f.Index, list})
		if t = f.Type; t == reflect.TypeFor[json.RawMessage]() {
			return p, nil // what is in there has no type
		}
		if list {
			if t.Kind() != reflect.Slice {
				return nil, fmt.Errorf("%s: %s is no list", name, part)
			}
			t = t.Elem()
		}
	}
	return p, nil
}

// fieldNamed finds a field of a struct by its name in JSON, those of embedded structs as well.
func fieldNamed(t reflect.Type, name string) (reflect.StructField, bool) {
	for _, f := range fieldsOf(t) {
		if jsonName(f) == name {
			return f, true
		}
	}
	return reflect.StructField{}, false
}

// fieldsOf lists the fields of a struct that JSON has, those of embedded structs in their place.
func fieldsOf(t reflect.Type) (all []reflect.StructField) {
	if t.Kind() != reflect.Struct {
		return nil
	}
	for f := range t.Fields() {
		tag := f.Tag.Get("json")
		switch {
		case tag == "-":
		case f.Anonymous && tag == "":
			for _, inner := range fieldsOf(f.Type) {
				inner.Index = slices.Concat(f.Index, inner.Index)
				all = append(all, inner)
			}
		case f.IsExported():
			all = append(all, f)
		}
	}
	return all
}

func jsonName(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	if name == "" {
		return f.Name
	}
	return name
}

// each calls visit for every value that the path leads to.
func (p path) each(v reflect.Value, visit func(reflect.Value)) {
	for i, s := range p {
		v = v.FieldByIndex(s.index)
		if !s.list {
			continue
		}
		for j := range v.Len() {
			p[i+1:].each(v.Index(j), visit)
		}
		return
	}
	visit(v)
}

// text returns the text that the path leads to, empty when there is no path.
func (p path) text(v reflect.Value) string {
	if p == nil {
		return ""
	}
	for _, s := range p {
		v = v.FieldByIndex(s.index)
	}
	return v.String()
}

// instant returns the instant that the path leads to.
func (p path) instant(v reflect.Value) unit.Instant {
	for _, s := range p {
		v = v.FieldByIndex(s.index)
	}
	return unit.Instant(v.Int())
}
