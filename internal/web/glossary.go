package web

import (
	"fmt"
	"html/template"
	"strings"
)

// entry is a word of the trade or of this program, explained.
type entry struct {
	Word, Means string
	// Source is where the meaning comes from; empty for words of our own.
	Source string
}

// glossary explains the words that pages use, in the order of the alphabet.
var glossary = []entry{
	{"action level", "The reading above which a sampling point counts as not clean: clean again and sample again.", ""},
	{"alarm", "A sign that the readings of one point of one scope have moved from what they were. A reason to look, not a verdict on a scope or a person.", ""},
	{"alert level", "The reading from which on a sampling point counts as near the action level: look for the cause.", ""},
	{"attempt", "The first, second, … cleaning with sampling of the same turnaround.", ""},
	{"baseline", "The first readings of a stable time. Later ones are held against it.", ""},
	{"checkpoint", "A short signed text: how many records the ledger held and what they came to as one number. Whoever keeps a copy can show later whether anything before it was changed.", ""},
	{"ledger", "The list of all records of the site, in the order in which they were written. Records are added and never changed or deleted.", ""},
	{"level", "An alert or action level. It holds for one meter system, one kit and one kind of sampling point.", ""},
	{"RLU", "Relative light units: what a meter shows. They count on a scale of their own for each meter system and kit.", ""},
	{"round", "All samples of one scope in one turnaround, of one attempt.", ""},
	{"stream", "The readings of one point of one scope with one meter system and one kit, in the order of time.", ""},
	{"turnaround", "One trip of a scope from the end of a patient use to the next use.", ""},
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

// term shows a word with a dotted underline that explains itself when it is pressed. Each word may be
// shown so once on a page, since a browser finds the explanation by its id. A word that the glossary
// does not have is a mistake.
func term(word string) (template.HTML, error) {
	for _, e := range glossary {
		if e.Word == word {
			id := "term-" + anchor(word)
			return template.HTML(fmt.Sprintf(`<span class="term"><button type="button" popovertarget="%s">%s</button><span id="%s" popover role="note">%s</span></span>`, //nolint:gosec // escaped
				id, template.HTMLEscapeString(word), id, template.HTMLEscapeString(e.Means))), nil
		}
	}
	return "", fmt.Errorf("the glossary does not explain %q", word)
}
