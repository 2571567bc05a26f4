package cli

import (
	"encoding/json"
	"fmt"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/dossier"
	"rinsate/internal/reading"
	"rinsate/internal/sampling"
	"rinsate/internal/store"
	"rinsate/internal/trend"
	"rinsate/internal/turnaround"
	"rinsate/internal/unit"
)

// describe says in a few words what a record holds.
func describe(l desk.Line, v desk.View) string {
	switch l.Type {
	case store.TypeUse:
		return say(l, func(u turnaround.Use) string {
			return join(u.Procedure, until(u.End, v, "goes on"), u.Room)
		})
	case store.TypeStep:
		return say(l, func(s turnaround.Step) string {
			return join(string(s.Kind), until(s.End, v, ""), string(s.Result), s.Agent, s.Machine, s.Cabinet, s.Delayed, s.Note)
		})
	case store.TypeSample:
		return say(l, func(s sampling.Sample) string {
			return join(string(s.Point), fmt.Sprintf("attempt %d", s.Attempt), "kit "+s.Kit+" lot "+s.Lot, s.NotApplicable)
		})
	case store.TypeMoment:
		return say(l, func(m sampling.Moment) string { return string(m.Mark) })
	case store.TypeReading:
		return say(l, func(r reading.Reading) string {
			return fmt.Sprintf("%s: %s, %s (%s)", r.With.Point, r.Value, outcomeMark(r.Judgement.Outcome), r.Judgement.Why)
		})
	case store.TypeRound:
		return say(l, func(d turnaround.Decision) string {
			return fmt.Sprintf("attempt %d: %s. %s. Next: %s", d.Round.Attempt, outcomeMark(d.Round.Outcome), d.Round.Why, d.Round.Next.Words)
		})
	case store.TypeHold:
		return say(l, func(h turnaround.Hold) string { return h.Reason })
	case store.TypeLift:
		return say(l, func(x turnaround.Lift) string {
			second := ""
			if x.Second != "" {
				second = "with " + x.Second
			}
			return join(x.Reason, second)
		})
	case store.TypeRepair:
		return say(l, func(r store.Repair) string { return join(r.Fault, r.Work) })
	case store.TypeAttachment:
		return say(l, func(x dossier.Attachment) string {
			about := ""
			if x.About != "" {
				about = "about " + short(x.About)
			}
			return join(string(x.Kind)+": "+x.Title, fileWords(x.File), about)
		})
	case store.TypeHandover:
		return say(l, func(h dossier.Handover) string { return join(h.Text, strings.Join(h.Scopes, ", ")) })
	case store.TypeAlarm:
		return say(l, func(h trend.Handling) string {
			return join(fmt.Sprintf("%s: alarm %s", h.Act, short(string(h.Alarm))), h.Cause.Words(), h.Words, short(string(h.Record)))
		})
	case store.TypeRequest:
		return say(l, func(q sampling.Request) string { return q.Reason })
	}
	return l.Reason
}

func say[T any](l desk.Line, text func(T) string) string {
	var body T
	if err := json.Unmarshal(l.Body, &body); err != nil {
		return "cannot be read: " + err.Error()
	}
	return text(body)
}

func until(end unit.Instant, v desk.View, otherwise string) string {
	if !end.Known() {
		return otherwise
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
