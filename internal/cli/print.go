package cli

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/x/term"

	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/present/list"
	"rinsate/internal/present/words"
)

// caution stands under everything that shows a decision.
const caution = `Caution: ATP and residue tests show organic residue, not sterility. They do not replace
disinfection, inspection, culture, the manufacturer's instructions, local policy or a
licensed person's judgement.`

// spoken says what is printed in the terms of the site.
type spoken struct{ words.Terms }

// state puts a shape before the word, so that neither colour nor sight of colour is needed.
func (t spoken) state(s reprocessing.State) string { return t.Brief(words.StateKey(s)) }

// outcome does the same for outcomes.
func (t spoken) outcome(o reading.Outcome) string { return t.Brief(words.OutcomeKey(o)) }

// printTable prints rows under a header.
func (a *app) printTable(header []string, rows [][]string) {
	if len(rows) == 0 {
		fmt.Fprintln(a.Out, "nothing")
		return
	}
	width := 0 // a pipe gets every row on one line
	if a.screen != nil && term.IsTerminal(a.screen.Fd()) {
		if w, _, err := term.GetSize(a.screen.Fd()); err == nil {
			width = w
		}
	}
	for _, line := range list.Terminal(header, rows, width) {
		fmt.Fprintln(a.Out, line)
	}
}

// heading prints a title between two lists.
func (a *app) heading(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	fmt.Fprintf(a.Out, "\n%s\n%s\n", text, strings.Repeat("=", len([]rune(text))))
}

func (a *app) printCaution() { fmt.Fprintf(a.Out, "\n%s\n", caution) }
