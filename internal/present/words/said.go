package words

import (
	"regexp"
	"slices"
	"strings"

	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/record"
)

// told finds, in sentences of the program, the terms of the United States that are others in the United
// Kingdom. A term within an address or a longer name is left alone.
var told, tellings = sentences()

// sentences lists the names that differ, the longest first, so that none hides a longer one.
func sentences() (*regexp.Regexp, map[string]string) {
	other := map[string]string{}
	for _, e := range table {
		if e.uk != "" {
			other[e.us] = e.uk
		}
	}
	var all []string
	for us := range other {
		all = append(all, us)
	}
	slices.SortFunc(all, func(a, b string) int {
		if len(a) != len(b) {
			return len(b) - len(a)
		}
		return strings.Compare(a, b)
	})
	for i, us := range all {
		all[i] = regexp.QuoteMeta(us)
	}
	return regexp.MustCompile(`(?i)\b(` + strings.Join(all, "|") + `)(s?)`), other
}

// Sentence says a sentence of the program, which is written in the terms of the United States, in these ones.
// It is not for what a person wrote.
func (t Terms) Sentence(s string) string {
	if t == US {
		return s
	}
	var b strings.Builder
	done := 0
	for _, m := range told.FindAllStringSubmatchIndex(s, -1) {
		if !apart(s[:m[0]], s[m[1]:]) {
			continue
		}
		us := s[m[2]:m[3]]
		said := tellings[strings.ToLower(us)]
		if said == "" { // a term with capitals of its own
			said = tellings[us]
		}
		if us[0] >= 'A' && us[0] <= 'Z' {
			said = strings.ToUpper(said[:1]) + said[1:]
		}
		b.WriteString(s[done:m[0]])
		b.WriteString(said)
		b.WriteString(s[m[4]:m[5]])
		done = m[1]
	}
	return b.String() + s[done:]
}

// apart says whether what lies between two texts stands for itself, and is no part of an address, a file's name
// or a longer word.
func apart(before, after string) bool {
	part := func(c byte) bool {
		return c == '_' || c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z'
	}
	if before != "" && strings.ContainsRune("#/-_", rune(before[len(before)-1])) {
		return false
	}
	switch {
	case after == "":
		return true
	case after[0] == '.':
		return len(after) == 1 || !part(after[1])
	}
	return after[0] != '-' && after[0] != '/' && !part(after[0])
}

// Answer says an answer of the release check in these terms. What a person wrote stays as it is.
func (t Terms) Answer(a reprocessing.Answer) reprocessing.Answer {
	if t == US {
		return a
	}
	a.Reasons = slices.Clone(a.Reasons)
	for i, r := range a.Reasons {
		a.Reasons[i].Text = t.Sentence(r.Text)
	}
	a.Next = slices.Clone(a.Next)
	for i, next := range a.Next {
		a.Next[i] = t.Sentence(next)
	}
	a.Due = slices.Clone(a.Due)
	for i, d := range a.Due {
		a.Due[i] = t.Due(d)
	}
	return a
}

// Due says why a scope is due in these terms. What a person asks for stays as it is.
func (t Terms) Due(d sampling.Due) sampling.Due {
	d.Why = t.Sentence(d.Why)
	return d
}

// Record says what a record holds, in these terms: the words of its kind begin with the step that it is of.
func (t Terms) Record(k record.Kind, said string) string {
	if t == US || k != record.Step {
		return said
	}
	for _, step := range reprocessing.StepKinds {
		if rest, ok := strings.CutPrefix(said, US.Step(step)); ok {
			return t.Step(step) + rest
		}
	}
	return said
}
