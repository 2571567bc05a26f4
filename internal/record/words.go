package record

import (
	"strings"

	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/reading"
)

// Words says in a line what a record holds, beyond its kind and its scope and without times.
func Words(r ledger.Record) (string, error) {
	r, d, err := current(r)
	if err != nil {
		return "", err
	}
	words, err := d.typed.sayWords(r)
	if words == "" && err == nil {
		words = r.Reason
	}
	return words, err
}

// About says in a word what a record is about: which step, which point, which file; empty where no word
// helps.
func About(r ledger.Record) (string, error) {
	r, d, err := current(r)
	if err != nil {
		return "", err
	}
	return d.typed.sayAbout(r)
}

// listed joins what there is.
func listed(parts ...string) string {
	var there []string
	for _, p := range parts {
		if p != "" {
			there = append(there, p)
		}
	}
	return strings.Join(there, ", ")
}

func named(what, name string) string {
	if name == "" {
		return ""
	}
	return what + " " + name
}

func goesOn(ended bool) string {
	if ended {
		return ""
	}
	return "no end recorded"
}

func orElse(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

func outcomeWord(o reading.Outcome) string {
	if o == reading.None {
		return "no result"
	}
	return string(o)
}

// spaced writes a name of the code as words.
func spaced(name string) string { return strings.ReplaceAll(name, "-", " ") }
