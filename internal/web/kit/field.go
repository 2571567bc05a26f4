package kit

import (
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
)

// Field is one field of a form.
type Field struct {
	Name, ID, Label, Type, Value string
	// Hint says what is wanted, Unit stands behind the value, Problem is what is wrong with what was typed.
	Hint, Unit, Problem string
	Options             []Option
	Required            bool
}

// Checked says whether a box is ticked.
func (f Field) Checked() bool { return f.Value == Ticked }

// Ticked is what a box that is ticked sends.
const Ticked = "yes"

// Option is one choice of a field.
type Option struct {
	Value, Text string
	Chosen      bool
}

// Group are fields that belong together. Folded ones are opened by who wants to see them.
type Group struct {
	// Section is the heading before the group, empty where it goes on under the last one.
	Section      string
	Legend, Note string
	Fields       []Field
	Folded, Open bool
}

// Sheet builds the fields of a form around what was typed into them.
type Sheet struct {
	Typed  map[string]string
	Wrong  map[string]string
	Groups []Group
}

// Part begins a group of fields.
func (s *Sheet) Part(legend, note string) *Group {
	s.Groups = append(s.Groups, Group{Legend: legend, Note: note})
	return &s.Groups[len(s.Groups)-1]
}

// Add puts a field into the last part, with what was typed into it.
func (s *Sheet) Add(f Field) {
	f.ID, f.Value, f.Problem = "f-"+Anchor(f.Name), s.Typed[f.Name], s.Wrong[f.Name]
	for i := range f.Options {
		f.Options[i].Chosen = f.Options[i].Value == f.Value
	}
	g := &s.Groups[len(s.Groups)-1]
	g.Fields = append(g.Fields, f)
	g.Open = g.Open || f.Problem != ""
}

// Text adds a field for a line of text.
func (s *Sheet) Text(name, label, hint string, required bool) {
	s.Add(Field{Name: name, Label: label, Type: "text", Hint: hint, Required: required})
}

// Number adds a field for a number in a unit.
func (s *Sheet) Number(name, label, unit string, required bool) {
	s.Add(Field{Name: name, Label: label, Type: "number", Unit: unit, Required: required})
}

// Moment adds a field for a date and time.
func (s *Sheet) Moment(name, label, hint string, required bool) {
	s.Add(Field{Name: name, Label: label, Type: "datetime-local", Hint: hint, Required: required})
}

// Box adds a box to tick.
func (s *Sheet) Box(name, label string) { s.Add(Field{Name: name, Label: label, Type: "checkbox"}) }

// Choose adds a choice; the first option without a value lets it be left open.
func (s *Sheet) Choose(name, label, hint string, options ...Option) {
	s.Add(Field{Name: name, Label: label, Type: "select", Hint: hint, Options: options, Required: len(options) > 0 && options[0].Value != ""})
}

// Names are those of all fields.
func (s *Sheet) Names() []string {
	var all []string
	for _, g := range s.Groups {
		for _, f := range g.Fields {
			all = append(all, f.Name)
		}
	}
	return all
}

// Label is that of a field by its name.
func (s *Sheet) Label(name string) string {
	for _, g := range s.Groups {
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

// Choose makes options of pairs of a value and its text, of which one is chosen.
func Choose(chosen string, pairs ...string) []Option {
	var all []Option
	for pair := range slices.Chunk(pairs, 2) {
		all = append(all, Option{Value: pair[0], Text: pair[1], Chosen: pair[0] == chosen})
	}
	return all
}

// Choices makes options of words of the domain.
func Choices[T ~string](words []T) []Option {
	all := make([]Option, len(words))
	for i, w := range words {
		all[i] = Option{Value: string(w), Text: text.Spaced(w)}
	}
	return all
}

// Reply reads what was typed. What cannot be read is kept by the name of its field.
type Reply struct {
	Typed map[string]string
	Wrong map[string]string
	Zone  *time.Location
}

// Text is what was typed into a field.
func (a *Reply) Text(name string) string { return strings.TrimSpace(a.Typed[name]) }

// Yes says whether a box was ticked.
func (a *Reply) Yes(name string) bool { return a.Typed[name] == Ticked }

func (a *Reply) fail(name, problem string) {
	if a.Wrong == nil {
		a.Wrong = map[string]string{}
	}
	a.Wrong[name] = problem
}

// Number reads a decimal number, 0 when nothing was typed.
func (a *Reply) Number(name string) unit.Number {
	text := strings.Replace(a.Text(name), ",", ".", 1)
	if text == "" {
		return 0
	}
	v, err := unit.ParseNumber(text)
	if err != nil {
		a.fail(name, "This is no number: "+a.Text(name)+".")
	}
	return v
}

// Moment reads a date and time of the facility's zone, zero when nothing was typed. Browsers send whole
// minutes: an instant that was not changed keeps its seconds.
func (a *Reply) Moment(name string, before unit.Instant) unit.Instant {
	text := a.Text(name)
	if text == "" {
		return 0
	}
	if before.Known() && MomentText(before, a.Zone) == text {
		return before
	}
	t, err := time.ParseInLocation(FormTime, text, a.Zone)
	if err != nil {
		a.fail(name, "This is no date and time: "+text+". Write it like 2026-03-31T14:30.")
		return 0
	}
	return unit.At(t)
}

// DayText writes the day of an instant as a field for a day shows it.
func DayText(i unit.Instant, zone *time.Location) string {
	if !i.Known() {
		return ""
	}
	return i.Time().In(zone).Format(time.DateOnly)
}

// MomentText writes an instant as a field for a date and time shows it.
func MomentText(i unit.Instant, zone *time.Location) string {
	if !i.Known() {
		return ""
	}
	return i.Time().In(zone).Format(FormTime)
}

// BoxText is what a box sends that is ticked or not.
func BoxText(yes bool) string {
	if yes {
		return Ticked
	}
	return ""
}

// Clash is a field that two people have changed in different ways.
type Clash struct{ Label, Theirs, Mine string }

// Mingled puts what somebody typed into a form onto what somebody else has stored meanwhile: fields that
// were left as they were in the edition that the form was made from take the new value. Those that both
// have changed keep what was typed, and are told.
func Mingled(base, typed, now map[string]string, names []string) (all map[string]string, both []string) {
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

// Anchor is the name of a word's place in the glossary.
func Anchor(word string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, strings.ToLower(word))
}
