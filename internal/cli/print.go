package cli

import (
	"fmt"
	"os"
	"strings"

	"charm.land/lipgloss/v2"
	"charm.land/lipgloss/v2/table"
	"github.com/charmbracelet/x/term"

	"rinsate/internal/reading"
	"rinsate/internal/turnaround"
)

// caution stands under everything that shows a decision.
const caution = `Caution: ATP and residue tests show organic residue, not sterility. They do not replace
disinfection, inspection, culture, the manufacturer's instructions, local policy or a
licensed person's judgement.`

// stateMark puts a shape before the word, so that neither colour nor sight of colour is needed.
func stateMark(s turnaround.State) string {
	switch s {
	case turnaround.Ready:
		return "✓ ready"
	case turnaround.InWork:
		return "… in work"
	case turnaround.Held:
		return "■ held"
	case turnaround.Out:
		return "− out"
	case turnaround.Unknown:
		return "○ unknown"
	}
	return string(s)
}

// outcomeMark does the same for outcomes.
func outcomeMark(o reading.Outcome) string {
	switch o {
	case reading.Below:
		return "✓ below"
	case reading.Alert:
		return "▲ alert"
	case reading.Action:
		return "✗ action"
	case reading.Void:
		return "/ void"
	case reading.None:
		return "○ none"
	}
	return string(o)
}

// printTable prints rows under a header.
func (a *app) printTable(header []string, rows [][]string) {
	if len(rows) == 0 {
		fmt.Fprintln(a.Out, "nothing")
		return
	}
	t := table.New().Border(lipgloss.NormalBorder()).
		BorderTop(false).BorderBottom(false).BorderLeft(false).BorderRight(false).BorderColumn(false).BorderHeader(true).
		Headers(header...).Rows(rows...).Wrap(true).
		StyleFunc(func(int, int) lipgloss.Style { return lipgloss.NewStyle().PaddingRight(2) })
	// On a terminal long cells wrap within its width; a pipe gets every row on one line.
	if f, ok := a.Out.(*os.File); ok && term.IsTerminal(f.Fd()) {
		if width, _, err := term.GetSize(f.Fd()); err == nil && lipgloss.Width(t.Render()) > width {
			t.Width(width)
		}
	}
	for line := range strings.Lines(t.Render() + "\n") {
		fmt.Fprintln(a.Out, strings.TrimRight(line, " \n"))
	}
}

// heading prints a title between two lists.
func (a *app) heading(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	fmt.Fprintf(a.Out, "\n%s\n%s\n", text, strings.Repeat("=", len([]rune(text))))
}

func (a *app) printCaution() { fmt.Fprintf(a.Out, "\n%s\n", caution) }
