package cli

import (
	"encoding/json"
	"fmt"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
)

// describe says in a few words what a record holds: as the pages do, with the times, marks and reasons
// that a line of a terminal has no other place for.
func (t spoken) describe(l desk.Line, v desk.View) string {
	switch l.Type { //nolint:exhaustive // all others are said as on the pages
	case record.Use:
		return say(l, func(u reprocessing.Use) string { return join(l.Words(), until(u.End, v)) })
	case record.Step:
		return say(l, func(s reprocessing.Step) string { return join(t.Record(l.Type, l.Words()), until(s.End, v)) })
	case record.Reading:
		return say(l, func(r reading.Reading) string {
			return fmt.Sprintf("%s: %s, %s (%s)", r.With.Point.Words(), r.Value, t.outcome(r.Judgement.Outcome), r.Judgement.Why)
		})
	case record.Verification:
		return say(l, func(d reprocessing.Decision) string {
			return fmt.Sprintf(
				"%s: %s. %s. Next: %s",
				reading.Test(d.Verification.Cleaning),
				t.outcome(d.Verification.Outcome),
				d.Verification.Why,
				d.Verification.Next.Words,
			)
		})
	case record.Attachment:
		return say(l, func(x dossier.Attachment) string {
			about := ""
			if x.About != "" {
				about = "about " + short(x.About)
			}
			return join(l.Words(), fileWords(x.File), about)
		})
	case record.Signal:
		return say(l, func(h trend.Handling) string {
			return join(fmt.Sprintf("%s: signal %s", h.Act, short(string(h.Signal))), h.Cause.Words(), h.Words, short(string(h.Record)))
		})
	}
	return l.Words()
}

func say[T any](l desk.Line, text func(T) string) string {
	var body T
	if err := json.Unmarshal(l.Body, &body); err != nil {
		return "cannot be read: " + err.Error()
	}
	return text(body)
}

func until(end unit.Instant, v desk.View) string {
	if !end.Known() {
		return ""
	}
	return "until " + end.In(v.Zone())
}

func join(parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, ", ")
}
