package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"time"
)

// stable replaces what is random by construction with something that is the same in each record: ids by
// when their record happened, which stays when ids are derived in another way; secrets, hashes, keys and
// signatures by what they are.
type stable struct {
	// names has the name of each id, short those of the beginnings by which ids are shown; a beginning that
	// several ids share has none. ids is the way back.
	names, short, ids map[string]string
	// people has who is behind the number by which somebody is shown where nobody needs to know.
	people map[string]string
	// places are texts such as the folder of the data, with what stands for them.
	places *strings.Replacer
}

// named is something with an id.
type named struct {
	id string
	at time.Time
}

// shortID is how much of an id is shown where it is short.
const shortID = 13

// newStable names records, given in the order of the ledger. places are pairs of what to replace and what by.
func newStable(records []named, places ...string) *stable {
	s := &stable{
		names:  map[string]string{},
		short:  map[string]string{},
		ids:    map[string]string{},
		people: map[string]string{},
		places: strings.NewReplacer(places...),
	}
	seen := map[string]int{}
	for _, r := range records {
		at := "r-" + r.at.UTC().Format("20060102T150405.999999")
		seen[at]++
		s.name(r.id, fmt.Sprintf("%s-%d", at, seen[at]))
	}
	return s
}

// name gives an id a name.
func (s *stable) name(id, name string) {
	s.names[id], s.ids[name] = name, id
	if _, ok := s.short[id[:shortID]]; ok {
		s.short[id[:shortID]] = ""
		return
	}
	s.short[id[:shortID]] = name
}

// What is random, by its form.
var (
	longForm  = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-[78][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}`)
	shortForm = regexp.MustCompile(`\b[0-9a-f]{8}-[0-9a-f]{4}\b`)
	onceForm  = regexp.MustCompile(`\b[0-9A-HJKMNP-TV-Z]{4}(-[0-9A-HJKMNP-TV-Z]{4}){5}\b`)
	assetForm = regexp.MustCompile(`(/static/[A-Za-z0-9_./-]+?)-[0-9a-f]{12}(\.[a-z0-9]+)`)
	keyForm   = regexp.MustCompile(`\+[0-9a-f]{8}\+[A-Za-z0-9+/]{40,}={0,2}`)
	hexForm   = regexp.MustCompile(`\b([0-9a-f]{12}|[0-9a-f]{32,})\b`) // a session is shown by the beginning of its id
	diskForm  = regexp.MustCompile(`\b[0-9.]+ GB free\b`)
	// base64Form is also a long path, which encoded tells.
	base64Form = regexp.MustCompile(`[A-Za-z0-9+/_-]{40,}={0,2}`)
	upper      = regexp.MustCompile(`[A-Z]`)
	lower      = regexp.MustCompile(`[a-z]`)
	hiddenForm = regexp.MustCompile(`\b[Pp]erson [0-9]+\b`)
)

// text replaces what is random in a text. Ids that no record of the hospital has are numbered in the order
// in which they come.
func (s *stable) text(text string) string {
	text = s.places.Replace(text)
	others := map[string]int{}
	text = longForm.ReplaceAllStringFunc(text, func(id string) string {
		if name, ok := s.names[id]; ok {
			return name
		}
		if others[id] == 0 {
			others[id] = len(others) + 1
		}
		return fmt.Sprintf("‹id %d›", others[id])
	})
	text = shortForm.ReplaceAllStringFunc(text, func(begin string) string {
		return cmp.Or(s.short[begin], "‹id›") + "…"
	})
	text = onceForm.ReplaceAllString(text, "‹one-time code›")
	text = assetForm.ReplaceAllString(text, "$1$2")
	text = keyForm.ReplaceAllString(text, "+‹key›")
	text = hexForm.ReplaceAllString(text, "‹hash›")
	text = diskForm.ReplaceAllString(text, "‹space› GB free")
	text = hiddenForm.ReplaceAllStringFunc(text, func(label string) string { return cmp.Or(s.people[strings.ToLower(label)], label) })
	return base64Form.ReplaceAllStringFunc(text, func(found string) string {
		if encoded(found) {
			return "‹base64›"
		}
		return found
	})
}

// encoded says whether a long text is random bytes in base64: it ends as such, or has letters of both kinds
// and fewer signs than a path has.
func encoded(text string) bool {
	if strings.HasSuffix(text, "=") {
		return true
	}
	signs := strings.Count(text, "-") + strings.Count(text, "/") + strings.Count(text, "_")
	return upper.MatchString(text) && lower.MatchString(text) && signs < len(text)/6
}

// back puts ids in the place of their names.
func (s *stable) back(text string) string {
	return nameForm.ReplaceAllStringFunc(text, func(name string) string { return cmp.Or(s.ids[name], name) })
}

// nameForm is what name is called with.
var nameForm = regexp.MustCompile(`\b(r|signal)-[0-9A-Za-z.-]+-[0-9]+\b`)

// tidyJSON writes a JSON document with its fields in order and each number as it was, ok = false for
// another text. change is applied to every name of a field and every text.
func tidyJSON(text string, change func(string) string) (tidy string, ok bool) {
	trimmed := strings.TrimSpace(text)
	if !strings.HasPrefix(trimmed, "{") && !strings.HasPrefix(trimmed, "[") {
		return "", false
	}
	d := json.NewDecoder(strings.NewReader(trimmed))
	d.UseNumber()
	var v any
	if d.Decode(&v) != nil || d.More() {
		return "", false
	}
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	if e.Encode(changed(v, change)) != nil {
		return "", false
	}
	return b.String(), true
}

// changed applies a change to all texts of a JSON value.
func changed(v any, change func(string) string) any {
	switch v := v.(type) {
	case string:
		return change(v)
	case []any:
		for i, x := range v {
			v[i] = changed(x, change)
		}
	case map[string]any:
		for _, name := range slices.Sorted(maps.Keys(v)) {
			x := changed(v[name], change)
			delete(v, name)
			v[change(name)] = x
		}
	}
	return v
}
