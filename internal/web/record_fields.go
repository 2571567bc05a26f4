package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/ledger"
	"rinsate/internal/unit"
)

// fieldLine is one field of a record with its name in words.
type fieldLine struct{ Label, Value, Href string }

// mostFields is how many fields a page shows; the text below them has all.
const mostFields = 300

// labels are the words for fields whose names do not say it themselves.
var labels = map[string]string{
	"at": "at", "by": "by", "with": "read with", "sha256": "SHA-256", "mec": "check of the minimum concentration", "coldest_cel": "coldest, °C", "agent_lot": "lot of the agent",
	"agent_expires": "agent expires", "has_temperature": "temperature was recorded", "value": "value", "why": "why", "kind": "kind", "recovered_ml": "recovered, mL",
	"flushed_ml": "flushed, mL", "area_cm2": "area, cm²", "supersedes": "decides again", "finishes": "begins with", "judgement": "judged", "cv": "coefficient of variation",
	"origin": "origin", "vkey": "public key", "size": "bytes", "tag": "scope", "in_service": "in service since", "second": "second person",
}

// unshown are fields that a page leaves out: a commitment to a patient's number says nothing to anybody.
var unshown = []string{"patient"}

// spans are the fields that hold a length of time.
var spans = []string{"contact", "shaken", "within"}

// leading are the fields that come first, in this order; the others follow in that of the alphabet.
var leading = []string{
	"scope", "tag", "name", "code", "kind", "point", "mark", "typed", "value", "unit", "analyte", "outcome", "result", "title", "reason", "text", "attempt", "kit", "lot", "meter",
	"start", "end", "collected", "activated", "read", "sent", "returned",
}

// firstYear is the smallest number that can only be an instant in microseconds: 1973.
const firstInstant = 100_000_000_000_000

// fields tells a record's body in lines. Instants are those of the facility's zone.
func (x *exchange) fields(body []byte) ([]fieldLine, error) {
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	var whole map[string]any
	if err := d.Decode(&whole); err != nil {
		return nil, err
	}
	t := teller{x: x, zone: x.s.desk.DB.Zone()}
	t.object(nil, whole)
	return t.lines, nil
}

type teller struct {
	x     *exchange
	zone  *time.Location
	lines []fieldLine
}

func (t *teller) object(path []string, object map[string]any) {
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
	slices.SortFunc(names, func(a, b string) int {
		if d := rank(a) - rank(b); d != 0 {
			return d
		}
		return strings.Compare(a, b)
	})
	for _, name := range names {
		t.value(append(slices.Clone(path), name), object[name])
	}
}

func (t *teller) value(path []string, value any) {
	if len(t.lines) >= mostFields {
		return
	}
	name := path[len(path)-1]
	switch v := value.(type) {
	case map[string]any:
		t.object(path, v)
	case []any:
		t.list(path, v)
	case nil:
	default:
		line := fieldLine{Label: label(path), Value: t.text(name, v)}
		if s, ok := v.(string); ok {
			line.Href = t.x.fieldHref(name, s)
		}
		if line.Value != "" {
			t.lines = append(t.lines, line)
		}
	}
}

// list tells a list of plain values in one line, and of others one after the other.
func (t *teller) list(path []string, list []any) {
	var plain []string
	for i, v := range list {
		switch v := v.(type) {
		case map[string]any, []any:
			t.value(append(slices.Clone(path), fmt.Sprint(i+1)), v)
		default:
			if s, ok := v.(string); ok && t.x.fieldHref("", s) != "" && len(list) <= 20 {
				t.lines = append(t.lines, fieldLine{Label: label(path), Value: s, Href: t.x.fieldHref("", s)})
				continue
			}
			plain = append(plain, t.text(path[len(path)-1], v))
		}
	}
	if len(plain) > 0 {
		t.lines = append(t.lines, fieldLine{Label: label(path), Value: strings.Join(plain, ", ")})
	}
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
func (x *exchange) fieldHref(name, value string) string {
	if _, err := ledger.ParseID(value); err == nil {
		return x.s.recordHref(value)
	}
	switch name {
	case "scope", "tag":
		return x.s.scopeHref(value)
	case "kit", "lot", "meter":
		return x.searchHref(name, value)
	case "by", "second", "person", "adopted_by":
		return x.searchHref("person", value)
	}
	return ""
}
