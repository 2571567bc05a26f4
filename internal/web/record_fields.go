package web

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/web/kit"
)

// fieldLine is one field of a record with its name in words.
type fieldLine struct{ Label, Value, Href string }

// fieldGroup are fields that belong together; those of the record itself have no title.
type fieldGroup struct {
	Title string
	Lines []fieldLine
}

// mostFields is how many fields a page shows; the text below them has all.
const mostFields = 300

// labels are the words for fields whose names do not say it themselves.
var labels = map[string]string{
	"at":                   "at",
	"by":                   "by",
	"with":                 "read with",
	"sha256":               "SHA-256",
	"mec":                  "check of the minimum concentration",
	"coldest_cel":          "coldest, °C",
	"disinfectant_lot":     "lot of the disinfectant",
	"disinfectant_expires": "disinfectant expires",
	"disinfectant_filled":  "solution filled",
	"warmest_cel":          "warmest, °C",
	"has_temperature":      "temperature was recorded",
	"value":                "value",
	"why":                  "why",
	"kind":                 "kind",
	"recovered_ml":         "recovered, mL",
	"flushed_ml":           "flushed, mL",
	"area_cm2":             "area, cm²",
	"supersedes":           "decides again",
	"finishes":             "begins with",
	"judgement":            "judged",
	"cv":                   "coefficient of variation",
	"origin":               "origin",
	"vkey":                 "public key",
	"size":                 "bytes",
	"tag":                  "scope",
	"in_service":           "in service since",
	"second":               "second person",
	"level":                "by the level",
}

// unshown are fields that a page leaves out: a commitment to a patient's number says nothing to anybody.
var unshown = []string{"patient"}

// spans are the fields that hold a length of time.
var spans = []string{"contact", "shaken", "within"}

// spacedWords are the fields whose values are words with hyphens in them.
var spacedWords = []string{"point", "points", "missing", "kind", "mark", "act", "change"}

// leading are the fields that come first, in this order; the others follow in that of the alphabet.
var leading = []string{
	"scope",
	"tag",
	"name",
	"code",
	"kind",
	"point",
	"mark",
	"typed",
	"value",
	"unit",
	"analyte",
	"outcome",
	"result",
	"title",
	"reason",
	"text",
	"cleaning",
	"kit",
	"lot",
	"meter",
	"start",
	"end",
	"collected",
	"activated",
	"read",
	"sent",
	"returned",
}

// firstInstant is the smallest number that can only be an instant in microseconds: 1973.
const firstInstant = 100_000_000_000_000

// tellFields tells a record's body in groups of lines. Instants are those of the facility's zone.
func tellFields(x *kit.Exchange, body []byte) ([]fieldGroup, error) {
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	var whole map[string]any
	if err := d.Decode(&whole); err != nil {
		return nil, err
	}
	t := teller{x: x, zone: x.Shell.Desk.DB.Zone()}
	t.object(nil, whole)
	return slices.DeleteFunc(t.groups, func(g fieldGroup) bool { return len(g.Lines) == 0 }), nil
}

// teller tells the fields of a record.
type teller struct {
	x      *kit.Exchange
	zone   *time.Location
	groups []fieldGroup
	told   int
}

// object tells an object as a group, and the objects in it as further ones behind it.
func (t *teller) object(path []string, object map[string]any) {
	if t.told >= mostFields {
		return
	}
	g := fieldGroup{}
	if len(path) > 0 {
		g.Title = label(path)
	}
	at := len(t.groups)
	t.groups = append(t.groups, g)
	var deeper []string
	for _, name := range ordered(object) {
		switch v := object[name].(type) {
		case map[string]any:
			if measured, ok := measurement(v); ok {
				t.line(at, name, measured)
				continue
			}
			deeper = append(deeper, name)
		case []any:
			if t.list(at, name, v) {
				deeper = append(deeper, name)
			}
		default:
			t.line(at, name, v)
		}
	}
	for _, name := range deeper {
		inside := append(slices.Clone(path), name)
		switch v := object[name].(type) {
		case map[string]any:
			t.object(inside, v)
		case []any:
			for i, e := range v {
				if m, ok := e.(map[string]any); ok {
					t.object(append(slices.Clone(inside), fmt.Sprint(i+1)), m)
				}
			}
		}
	}
}

// ordered returns the names of the fields that are shown, in the order in which they are.
func ordered(object map[string]any) []string {
	names := make([]string, 0, len(object))
	for name := range object {
		if !slices.Contains(unshown, name) {
			names = append(names, name)
		}
	}
	rank := func(name string) int {
		if i := slices.Index(leading, name); i >= 0 {
			return i
		}
		return len(leading)
	}
	slices.SortFunc(names, func(a, b string) int { return cmp.Or(rank(a)-rank(b), strings.Compare(a, b)) })
	return names
}

// measurement is a value with its unit and as it was typed, in one text.
func measurement(v map[string]any) (text string, ok bool) {
	typed, ok := v["typed"].(string)
	if !ok {
		return "", false
	}
	word, _ := v["word"].(string)
	measure, _ := v["unit"].(string)
	if word != "" {
		return word, true
	}
	return typed + " " + measure, true
}

// line tells one field.
func (t *teller) line(group int, name string, value any) {
	text := t.text(name, value)
	if text == "" || t.told >= mostFields {
		return
	}
	t.told++
	href := ""
	if s, ok := value.(string); ok {
		href = fieldHref(t.x, name, s)
	}
	t.groups[group].Lines = append(t.groups[group].Lines, fieldLine{label([]string{name}), text, href})
}

// list tells a list of plain values in a line, those that lead somewhere in a line each; deeper says that
// objects are in it.
func (t *teller) list(group int, name string, list []any) (deeper bool) {
	var plain []string
	for _, v := range list {
		switch v := v.(type) {
		case map[string]any:
			deeper = true
		case string:
			if fieldHref(t.x, name, v) == "" {
				plain = append(plain, t.text(name, v))
				continue
			}
			t.line(group, name, v)
		default:
			if text := t.text(name, v); text != "" {
				plain = append(plain, text)
			}
		}
	}
	t.line(group, name, strings.Join(plain, ", "))
	return deeper
}

// text writes one value for a person.
func (t *teller) text(name string, value any) string {
	switch v := value.(type) {
	case bool:
		if v {
			return "yes"
		}
		return "no"
	case json.Number:
		n, err := v.Int64()
		switch {
		case err != nil:
		case slices.Contains(spans, name):
			return unit.Span(n).Duration().String()
		case n >= firstInstant:
			return unit.Instant(n).In(t.zone)
		}
		return v.String()
	case string:
		if slices.Contains(spacedWords, name) {
			return text.Spaced(v)
		}
		return v
	}
	return ""
}

// label is the path of a field in words.
func label(path []string) string {
	words := make([]string, len(path))
	for i, name := range path {
		if words[i] = labels[name]; words[i] == "" {
			words[i] = strings.ReplaceAll(name, "_", " ")
		}
	}
	text := strings.Join(words, ", ")
	return strings.ToUpper(text[:1]) + text[1:]
}

// fieldHref is where the value of a field leads: to the record, to the scope, or to whatever else names it.
func fieldHref(x *kit.Exchange, name, value string) string {
	if _, err := ledger.ParseID(value); err == nil {
		return x.Shell.RecordHref(value)
	}
	switch name {
	case "scope", "tag":
		return x.Shell.ScopeHref(value)
	case "kit", "lot", "meter":
		return x.SearchHref(name, value)
	case "by", "second", "person", "adopted_by":
		return x.SearchHref("person", value)
	}
	return ""
}
