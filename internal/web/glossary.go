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
	{"check", "What a meter reads of something known: a light source, an unused device. It says whether the meter may be trusted, and until when.", ""},
	{"control rule", "A rule by which controls refuse a check, such as 1-3s (one control beyond 3 standard deviations) or 2-2s (two in a row beyond 2 on the same side). The limits that the maker states judge always.", "J. O. Westgard and others, Clin Chem 1981;27:493-501"},
	{"in doubt", "Read with a meter that was not shown to be in order: its check failed, and this was read after the last good check before or before the next good one.", ""},
	{"level", "An alert or action level. It holds for one meter system, one kit and one kind of sampling point.", ""},
	{"margin", "The largest ratio of new to old readings that a level can bear. The facility decides it before anything is read.", ""},
	{"RLU", "Relative light units: what a meter shows. They count on a scale of their own for each meter system and kit.", ""},
	{"round", "All samples of one scope in one turnaround, of one attempt.", ""},
	{"shrunk", "Drawn towards no difference, the more the fewer readings speak for it, so that few readings alone make nothing stand out.", ""},
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
