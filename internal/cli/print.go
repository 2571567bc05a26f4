package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/term"

	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/turnaround"
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
	// On a terminal the widest column wraps to fit; a pipe gets every row on one line.
	if a.screen != nil && term.IsTerminal(a.screen.Fd()) {
		if width, _, err := term.GetSize(a.screen.Fd()); err == nil {
			rows = narrow(header, rows, width)
		}
	}
	for _, line := range laid(header, rows) {
		fmt.Fprintln(a.Out, line)
	}
}

// laid sets a table in columns, with a rule under its header. A cell may have several lines.
func laid(header []string, rows [][]string) []string {
	widths := widthsOf(header, rows)
	total := 0
	for _, w := range widths {
		total += w + columnGap
	}
	var lines []string
	for n, row := range append([][]string{header}, rows...) {
		for i := 0; ; i++ {
			line, more := "", false
			for c, cell := range row {
				parts := strings.Split(cell, "\n")
				part := ""
				if i < len(parts) {
					part = parts[i]
				}
				more = more || i+1 < len(parts)
				line += part + strings.Repeat(" ", widths[c]-ansi.StringWidth(part)+columnGap)
			}
			lines = append(lines, strings.TrimRight(line, " "))
			if !more {
				break
			}
		}
		if n == 0 {
			lines = append(lines, strings.Repeat("─", total))
		}
	}
	return lines
}

// widthsOf returns how many places of a terminal the longest line of each column takes.
func widthsOf(header []string, rows [][]string) []int {
	widths := make([]int, len(header))
	for _, row := range append([][]string{header}, rows...) {
		for i, cell := range row {
			for line := range strings.SplitSeq(cell, "\n") {
				widths[i] = max(widths[i], ansi.StringWidth(line))
			}
		}
	}
	return widths
}

const (
	columnGap = 2
	// narrowest is how narrow the widest column may become; below that a terminal wraps by itself.
	narrowest = 20
)

// narrow wraps the widest column so that the table is no wider than width.
func narrow(header []string, rows [][]string, width int) [][]string {
	widths := widthsOf(header, rows)
	total, widest := 0, 0
	for i, w := range widths {
		total += w + columnGap
		if w > widths[widest] {
			widest = i
		}
	}
	room := max(narrowest, widths[widest]-(total-width))
	if total <= width || room >= widths[widest] {
		return rows
	}
	wrapped := make([][]string, len(rows))
	for i, row := range rows {
		wrapped[i] = slices.Clone(row)
		wrapped[i][widest] = ansi.Wrap(row[widest], room, "")
	}
	return wrapped
}

// heading prints a title between two lists.
func (a *app) heading(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	fmt.Fprintf(a.Out, "\n%s\n%s\n", text, strings.Repeat("=", len([]rune(text))))
}

func (a *app) printCaution() { fmt.Fprintf(a.Out, "\n%s\n", caution) }
