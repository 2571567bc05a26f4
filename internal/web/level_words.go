package web

import (
	"fmt"
	"net/url"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
)

func sayYes(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}

// limitText writes a limit; empty when there is none.
func limitText(n unit.Number) string {
	if n == 0 {
		return ""
	}
	return n.String()
}

// actionWords writes the action level, of a strip the words that count as over it.
func actionWords(l reading.Level) string {
	if l.Analyte == reading.Strip {
		return strings.Join(l.Dirty, ", ")
	}
	return limitText(l.Action)
}

// comparisonWords says which values exceed the action level.
func comparisonWords(c reading.Comparison) string {
	switch c {
	case reading.Over:
		return "over it"
	case reading.AtOrOver:
		return "at or over it"
	}
	return ""
}

func kindWords(k scope.Kind) string {
	if k == "" {
		return "every kind"
	}
	return k.Words()
}

// targetWords names a target in a line.
func targetWords(t level.Target) string {
	return fmt.Sprintf(
		"%s, meter system %s with kit %s, %s",
		t.Point.Words(),
		t.System,
		t.Kit,
		map[bool]string{true: "every kind of scope", false: t.Kind.Words()}[t.Kind == ""],
	)
}

// targetQuery is a target as the addresses of the workshop have it.
func targetQuery(t level.Target) string {
	q := url.Values{"system": {t.System}, "kit": {t.Kit}, "point": {string(t.Point)}}
	if t.Kind != "" {
		q.Set("kind", string(t.Kind))
	}
	return q.Encode()
}
