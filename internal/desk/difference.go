package desk

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/unit"
)

// Fact is one thing that an edition says, in words.
type Fact struct {
	// Of is the part of the thing that it is about, such as "instrument channel"; empty for the thing
	// itself.
	Of string `json:"of,omitempty"`
	// Field is what is said, Value how; a value that is not given is left out.
	Field string `json:"field"`
	Value string `json:"value"`
}

// Mark says how one edition differs from another in a field.
type Mark string

// The marks.
const (
	Added   Mark = "added"
	Removed Mark = "removed"
	Altered Mark = "changed"
)

// Difference is one field in which two editions differ, in words.
type Difference struct {
	Fact
	Mark Mark   `json:"mark"`
	Old  string `json:"old,omitempty"`
	New  string `json:"new,omitempty"`
}

// Facts returns what a value says, field by field, in the order of its fields; v is a struct as records
// hold it or a rule set.
func Facts(v any, zone *time.Location) []Fact {
	f := flattener{zone: zone}
	f.walk(reflect.ValueOf(v), "", "")
	facts := make([]Fact, len(f.leaves))
	for i, l := range f.leaves {
		facts[i] = l.Fact
	}
	return facts
}

// Differences returns the fields in which two values of one type differ, in the order of the fields, those
// that only the old one has at the place where they were. A part that is new, or gone, as a whole is one
// difference that sums it up. Parts of a list are told apart by what they are called, not by their place;
// where only the order of a list has changed, that is one difference of its own.
func Differences(old, new any, zone *time.Location) []Difference {
	a, b := flattener{zone: zone}, flattener{zone: zone}
	a.walk(reflect.ValueOf(old), "", "")
	b.walk(reflect.ValueOf(new), "", "")
	var all []Difference
	told := map[string]bool{}
	was, is := byKey(a.leaves), byKey(b.leaves)
	for _, l := range merged(a.leaves, b.leaves) {
		before, had := was[l.key()]
		after, has := is[l.key()]
		switch {
		case had && has && before.Value == after.Value:
		case had && has:
			all = append(all, Difference{Fact: Fact{l.Of, l.Field, after.Value}, Mark: Altered, Old: before.Value, New: after.Value})
		case l.Of != "" && a.parts[l.Of] != b.parts[l.Of]: // the whole part came or went
			if told[l.Of] {
				continue
			}
			told[l.Of] = true
			if has {
				all = append(all, Difference{Fact: Fact{Of: l.Of}, Mark: Added, New: summary(b.leaves, l.Of)})
			} else {
				all = append(all, Difference{Fact: Fact{Of: l.Of}, Mark: Removed, Old: summary(a.leaves, l.Of)})
			}
		case has:
			all = append(all, Difference{Fact: after.Fact, Mark: Added, New: after.Value})
		default:
			all = append(all, Difference{Fact: before.Fact, Mark: Removed, Old: before.Value})
		}
	}
	return append(all, reordered(a, b)...)
}

// reordered tells the lists whose parts are the same ones in another order.
func reordered(a, b flattener) []Difference {
	var all []Difference
	for _, name := range a.lists {
		before, after := a.orders[name], b.orders[name]
		if slices.Equal(before, after) || !slices.Equal(slices.Sorted(slices.Values(before)), slices.Sorted(slices.Values(after))) {
			continue
		}
		all = append(all, Difference{Fact: Fact{Of: name, Field: "order"}, Mark: Altered, Old: strings.Join(before, ", "), New: strings.Join(after, ", ")})
	}
	return all
}

// leaf is a fact with what tells it from others.
type leaf struct{ Fact }

func (l leaf) key() string { return l.Of + "\x00" + l.Field }

func byKey(leaves []leaf) map[string]leaf {
	m := make(map[string]leaf, len(leaves))
	for _, l := range leaves {
		m[l.key()] = l
	}
	return m
}

// merged returns the leaves of both, each once: those of b, and those of a alone behind what they followed.
func merged(a, b []leaf) []leaf {
	all := slices.Clone(b)
	in := byKey(b)
	last := -1
	for _, l := range a {
		if _, ok := in[l.key()]; ok {
			last = slices.IndexFunc(all, func(x leaf) bool { return x.key() == l.key() })
			continue
		}
		last++
		all = slices.Insert(all, last, l)
	}
	return all
}

// summary says in one text what a part says.
func summary(leaves []leaf, of string) string {
	var parts []string
	for _, l := range leaves {
		if l.Of == of {
			parts = append(parts, l.Field+" "+l.Value)
		}
	}
	return strings.Join(parts, "; ")
}

// flattener turns a value into facts.
type flattener struct {
	zone   *time.Location
	leaves []leaf
	// parts are the named parts that there are, lists the names of the lists in their order and orders the
	// names of their parts.
	parts  map[string]bool
	lists  []string
	orders map[string][]string
}

// walk adds what v says. of is the part that it belongs to and name what it is called there.
func (f *flattener) walk(v reflect.Value, of, name string) {
	for v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return
		}
		v = v.Elem()
	}
	if text, ok := f.scalar(v); ok {
		if text != "" {
			f.leaves = append(f.leaves, leaf{Fact{of, name, text}})
		}
		return
	}
	switch v.Kind() { //nolint:exhaustive // everything else is a scalar
	case reflect.Struct:
		f.members(v, of)
	case reflect.Slice:
		f.list(v, of, name)
	case reflect.Map: // texts to lists: what a rule set replaces for single models
		for _, k := range slices.SortedFunc(slices.Values(v.MapKeys()), func(a, b reflect.Value) int { return strings.Compare(a.String(), b.String()) }) {
			f.walk(v.MapIndex(k), joined(of, "model "+k.String()), name)
		}
	}
}

// members walks through the fields of a struct by the names that they have in JSON.
func (f *flattener) members(v reflect.Value, of string) {
	for i := range v.NumField() {
		field := v.Type().Field(i)
		name, _, _ := strings.Cut(field.Tag.Get("json"), ",")
		switch {
		case !field.IsExported() || name == "-" || silent[v.Type().Name()+"."+name]:
		case field.Anonymous && name == "":
			f.members(v.Field(i), of)
		default:
			part := of
			if t := field.Type; t.Kind() == reflect.Struct || t.Kind() == reflect.Pointer { // a part of its own
				part = joined(of, labelOf(v.Type().Name(), name))
				f.part(part)
			}
			f.walk(v.Field(i), part, labelOf(v.Type().Name(), name))
		}
	}
}

// list walks through the parts of a list.
func (f *flattener) list(v reflect.Value, of, name string) {
	if v.Len() == 0 {
		return
	}
	if text, ok := f.texts(v); ok {
		f.leaves = append(f.leaves, leaf{Fact{of, name, text}})
		return
	}
	list := joined(of, name)
	for i := range v.Len() {
		part := partName(v.Index(i), i)
		if n := countOf(f.orders[list], part); n > 0 {
			part = fmt.Sprintf("%s (%d)", part, n+1)
		}
		if f.orders == nil {
			f.orders = map[string][]string{}
		}
		if f.orders[list] == nil {
			f.lists = append(f.lists, list)
		}
		f.orders[list] = append(f.orders[list], part)
		whole := joined(of, part)
		f.part(whole)
		f.walk(v.Index(i), whole, "")
	}
}

func countOf(names []string, name string) int {
	n := 0
	for _, x := range names {
		if x == name || strings.HasPrefix(x, name+" (") {
			n++
		}
	}
	return n
}

func (f *flattener) part(name string) {
	if f.parts == nil {
		f.parts = map[string]bool{}
	}
	f.parts[name] = true
}

// texts writes a list of plain values as one text.
func (f *flattener) texts(v reflect.Value) (string, bool) {
	parts := make([]string, v.Len())
	for i := range v.Len() {
		text, ok := f.scalar(v.Index(i))
		if !ok {
			return "", false
		}
		parts[i] = text
	}
	return strings.Join(parts, ", "), true
}

// scalar writes a plain value with its unit; a value that is not given is empty.
func (f *flattener) scalar(v reflect.Value) (text string, ok bool) {
	if v.Kind() == reflect.Struct || v.Kind() == reflect.Slice || v.Kind() == reflect.Map {
		return "", false
	}
	if v.Kind() == reflect.Bool {
		return map[bool]string{true: "yes", false: "no"}[v.Bool()], true
	}
	if v.IsZero() {
		return "", true
	}
	switch x := v.Interface().(type) {
	case unit.Instant:
		if t := x.Time().In(f.zone); t.Hour() == 0 && t.Minute() == 0 && t.Second() == 0 {
			return t.Format(time.DateOnly), true
		}
		return x.In(f.zone), true
	case unit.Span:
		return x.String(), true
	case unit.Millimetres:
		return x.String() + " mm", true
	case unit.Millilitres:
		return x.String() + " mL", true
	case unit.Celsius:
		return x.String() + " °C", true
	case fmt.Stringer:
		return x.String(), true
	}
	return fmt.Sprint(v.Interface()), true
}

func joined(of, name string) string {
	switch {
	case of == "":
		return name
	case name == "":
		return of
	}
	return of + ", " + name
}
