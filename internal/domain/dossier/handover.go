package dossier

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"rinsate/internal/base/unit"
)

// MaxNote is the longest hand-over note, in characters.
const MaxNote = 2000

// Handover is the note of one shift for the next. A later note adds to it and does not end it.
type Handover struct {
	At unit.Instant `json:"at"`
	By string       `json:"by"`
	// Text is kept in the ledger for ever: no patient's name belongs in it.
	Text string `json:"text"`
	// Scopes are the asset tags that the note is about, empty when it is about none in particular.
	Scopes []string `json:"scopes,omitempty"`
}

// Check refuses a note that says nothing, is too long, or holds other control characters than line
// feed and tab.
func (h Handover) Check() error {
	switch n := utf8.RuneCountInString(h.Text); {
	case strings.TrimSpace(h.Text) == "":
		return fmt.Errorf("hand-over note: the text is missing")
	case n > MaxNote:
		return fmt.Errorf("hand-over note: the text has %d characters, at most %d are kept", n, MaxNote)
	case !utf8.ValidString(h.Text) || strings.ContainsFunc(h.Text, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }):
		return fmt.Errorf("hand-over note: the text must be plain text")
	case !h.At.Known():
		return fmt.Errorf("hand-over note: when was it written?")
	case h.By == "":
		return fmt.Errorf("hand-over note: who writes it?")
	}
	for i, tag := range h.Scopes {
		if tag == "" {
			return fmt.Errorf("hand-over note: scope %d has no tag", i+1)
		}
		if slices.Contains(h.Scopes[:i], tag) {
			return fmt.Errorf("hand-over note: scope %q is named twice", tag)
		}
	}
	return nil
}
