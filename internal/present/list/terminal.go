package list

import (
	"slices"
	"strings"

	"github.com/charmbracelet/x/ansi"

	"rinsate/internal/base/text"
)

const (
	columnGap = 2
	// narrowest is how narrow a column may become; below that a terminal wraps by itself.
	narrowest = 20
)

// Terminal sets a table in columns, with a rule under its header, and returns its lines. With a width it wraps
// the widest columns so that the table fits; 0 is for a pipe, where every row stays on one line. A cell may have
// lines of its own.
func Terminal(header []string, rows [][]string, width int) []string {
	shown := make([][]string, len(rows))
	for i, row := range rows {
		shown[i] = make([]string, len(row))
		for c, cell := range row {
			lines := strings.Split(cell, "\n")
			for l := range lines {
				lines[l] = text.Line(lines[l])
			}
			shown[i][c] = strings.Join(lines, "\n")
		}
	}
	header = visible(header)
	if width > 0 {
		narrow(header, shown, width)
	}
	return laid(header, shown)
}

// laid sets a table in columns.
func laid(header []string, rows [][]string) []string {
	widths := widthsOf(header, rows)
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
			lines = append(lines, strings.Repeat("─", total(widths)))
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

// total is how wide a table is.
func total(widths []int) int {
	sum := 0
	for _, w := range widths {
		sum += w + columnGap
	}
	return sum
}

// narrow wraps the widest columns, each to the same width, so that the table is no wider than width; no column
// becomes narrower than narrowest for that.
func narrow(header []string, rows [][]string, width int) {
	widths := widthsOf(header, rows)
	room := slices.Clone(widths)
	for total(room) > width {
		widest := slices.Max(room)
		if widest <= narrowest {
			break
		}
		next, share := narrowest, 0 // what the widest may become before others are as wide, and how many there are
		for _, w := range room {
			if w < widest {
				next = max(next, w)
			} else {
				share++
			}
		}
		become := max(next, widest-(total(room)-width+share-1)/share)
		for i, w := range room {
			if w == widest {
				room[i] = become
			}
		}
	}
	for i := range room {
		if room[i] == widths[i] {
			continue
		}
		header[i] = ansi.Wrap(header[i], room[i], "")
		for _, row := range rows {
			row[i] = ansi.Wrap(row[i], room[i], "")
		}
	}
}
