package web

import (
	"strings"
	"time"

	"rinsate/internal/base/unit"
)

// field is one field of a form.
type field struct {
	Name, ID, Label, Type, Value string
	// Hint says what is wanted, Unit stands behind the value, Problem is what is wrong with what was typed.
	Hint, Unit, Problem string
	Options             []option
	Required            bool
}

// Checked says whether a box is ticked.
func (f field) Checked() bool { return f.Value == ticked }

// ticked is what a box that is ticked sends.
const ticked = "yes"

// option is one choice of a field.
type option struct {
	Value, Text string
	Chosen      bool
}

// group are fields that belong together. Folded ones are opened by who wants to see them.
type group struct {
	// Section is the heading before the group, empty where it goes on under the last one.
	Section      string
	Legend, Note string
	Fields       []field
	Folded, Open bool
}

// sheet builds the fields of a form around what was typed into them.
type sheet struct {
	typed  map[string]string
	wrong  map[string]string
	groups []group
}

// part begins a group of fields.
func (s *sheet) part(legend, note string) *group {
	s.groups = append(s.groups, group{Legend: legend, Note: note})
	return &s.groups[len(s.groups)-1]
}

func (s *sheet) add(f field) {
	f.ID, f.Value, f.Problem = "f-"+anchor(f.Name), s.typed[f.Name], s.wrong[f.Name]
	for i := range f.Options {
		f.Options[i].Chosen = f.Options[i].Value == f.Value
	}
	g := &s.groups[len(s.groups)-1]
	g.Fields = append(g.Fields, f)
	g.Open = g.Open || f.Problem != ""
}

func (s *sheet) text(name, label, hint string, required bool) {
	s.add(field{Name: name, Label: label, Type: "text", Hint: hint, Required: required})
}

func (s *sheet) number(name, label, unit string, required bool) {
	s.add(field{Name: name, Label: label, Type: "number", Unit: unit, Required: required})
}

func (s *sheet) moment(name, label, hint string, required bool) {
	s.add(field{Name: name, Label: label, Type: "datetime-local", Hint: hint, Required: required})
}

func (s *sheet) box(name, label string) { s.add(field{Name: name, Label: label, Type: "checkbox"}) }

func (s *sheet) choose(name, label, hint string, options ...option) {
	s.add(field{Name: name, Label: label, Type: "select", Hint: hint, Options: options, Required: len(options) > 0 && options[0].Value != ""})
}

// names are those of all fields.
func (s *sheet) names() []string {
	var all []string
	for _, g := range s.groups {
		for _, f := range g.Fields {
			all = append(all, f.Name)
		}
	}
	return all
}

// label is that of a field by its name.
func (s *sheet) label(name string) string {
	for _, g := range s.groups {
		for _, f := range g.Fields {
			if f.Name == name && g.Legend != "" {
				return g.Legend + ", " + f.Label
			} else if f.Name == name {
				return f.Label
			}
		}
	}
	return name
}

// choices makes options of words of the domain.
func choices[T ~string](words []T) []option {
	all := make([]option, len(words))
	for i, w := range words {
		all[i] = option{Value: string(w), Text: strings.ReplaceAll(string(w), "-", " ")}
	}
	return all
}

// reply reads what was typed. What cannot be read is kept by the name of its field.
type reply struct {
	typed map[string]string
	wrong map[string]string
	zone  *time.Location
}

func (a *reply) text(name string) string { return strings.TrimSpace(a.typed[name]) }

func (a *reply) yes(name string) bool { return a.typed[name] == ticked }

func (a *reply) fail(name, problem string) {
	if a.wrong == nil {
		a.wrong = map[string]string{}
	}
	a.wrong[name] = problem
}

// number reads a decimal number, 0 when nothing was typed.
func (a *reply) number(name string) unit.Number {
	text := strings.Replace(a.text(name), ",", ".", 1)
	if text == "" {
		return 0
	}
	v, err := unit.ParseNumber(text)
	if err != nil {
		a.fail(name, "This is no number: "+a.text(name)+".")
	}
	return v
}

// moment reads a date and time of the facility's zone, zero when nothing was typed. Browsers send whole
// minutes: an instant that was not changed keeps its seconds.
func (a *reply) moment(name string, before unit.Instant) unit.Instant {
	text := a.text(name)
	if text == "" {
		return 0
	}
	if before.Known() && momentText(before, a.zone) == text {
		return before
	}
	t, err := time.ParseInLocation(formTime, text, a.zone)
	if err != nil {
		a.fail(name, "This is no date and time: "+text+". Write it like 2026-03-31T14:30.")
		return 0
	}
	return unit.At(t)
}

// dayText and momentText write instants as fields show them.
func dayText(i unit.Instant, zone *time.Location) string {
	if !i.Known() {
		return ""
	}
	return i.Time().In(zone).Format(time.DateOnly)
}

func momentText(i unit.Instant, zone *time.Location) string {
	if !i.Known() {
		return ""
	}
	return i.Time().In(zone).Format(formTime)
}

func boxText(yes bool) string {
	if yes {
		return ticked
	}
	return ""
}

// clash is a field that two people have changed in different ways.
type clash struct{ Label, Theirs, Mine string }

// mingled puts what somebody typed into a form onto what somebody else has stored meanwhile: fields that
// were left as they were in the edition that the form was made from take the new value. Those that both
// have changed keep what was typed, and are told.
func mingled(base, typed, now map[string]string, names []string) (all map[string]string, both []string) {
	all = map[string]string{}
	for _, n := range names {
		mine, was, is := strings.TrimSpace(typed[n]), base[n], now[n]
		if mine == was {
			all[n] = is
			continue
		}
		all[n] = mine
		if is != was && is != mine {
			both = append(both, n)
		}
	}
	return all, both
}

// anchor is the name of a word's place in the glossary.
func anchor(word string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, strings.ToLower(word))
}
