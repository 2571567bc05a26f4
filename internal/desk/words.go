package desk

import (
	"encoding/json"
	"fmt"
	"strings"

	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/domain/turnaround"
	"rinsate/internal/record"
)

// Words says in a line what a record holds, beyond its type and the scope, without times.
func (l Line) Words() string {
	switch l.Type {
	case record.Use:
		return told(l, func(u turnaround.Use) string {
			return listed(orElse(u.Procedure, "used"), goesOn(u.End.Known()), u.Room)
		})
	case record.Step:
		return told(l, func(s turnaround.Step) string {
			return listed(spaced(string(s.Kind)), goesOn(s.End.Known()), string(s.Result), s.Agent, s.Machine, s.Cabinet, s.Delayed, s.Note)
		})
	case record.Sample:
		return told(l, func(s sampling.Sample) string {
			return listed(spaced(string(s.Point)), fmt.Sprintf("attempt %d", s.Attempt), named("kit", s.Kit), named("lot", s.Lot), s.NotApplicable)
		})
	case record.Moment:
		return told(l, func(m sampling.Moment) string { return string(m.Mark) })
	case record.Reading:
		return told(l, func(r reading.Reading) string {
			return listed(spaced(string(r.With.Point)), r.Value.String(), outcomeWord(r.Judgement.Outcome))
		})
	case record.Round:
		return told(l, func(d turnaround.Decision) string {
			return listed(fmt.Sprintf("attempt %d", d.Round.Attempt), outcomeWord(d.Round.Outcome), d.Round.Why)
		})
	case record.Hold:
		return told(l, func(h turnaround.Hold) string { return h.Reason })
	case record.Lift:
		return told(l, func(x turnaround.Lift) string { return listed(x.Reason, named("with", x.Second)) })
	case record.Repair:
		return told(l, func(r record.RepairBody) string { return listed(r.Fault, r.Work) })
	case record.Request:
		return told(l, func(q sampling.Request) string { return q.Reason })
	case record.Attachment:
		return told(l, func(a dossier.Attachment) string { return string(a.Kind) + ": " + a.Title })
	case record.Handover:
		return told(l, func(h dossier.Handover) string { return h.Text })
	case record.Alarm:
		return told(l, func(h trend.Handling) string {
			return listed(spaced(string(h.Stream.Point)), "alarm "+string(h.Act), h.Cause.Words(), h.Words)
		})
	case record.Suspect:
		return told(l, func(x record.SuspectBody) string { return fmt.Sprintf("%d readings: %s", len(x.Readings), x.Reason) })
	case record.Void:
		return l.Reason
	}
	return l.setUpWords()
}

// setUpWords is Words for what the department is made of.
func (l Line) setUpWords() string {
	switch l.Type {
	case record.Site:
		return told(l, func(s record.SiteBody) string { return s.Name })
	case record.Model:
		return told(l, func(m scope.Model) string { return listed(m.Name, string(m.Kind)) })
	case record.Instrument:
		return told(l, func(i scope.Instrument) string { return listed(i.Model, i.Location) })
	case record.Meter:
		return told(l, func(m quality.Meter) string { return listed(m.Code, named("system", m.System)) })
	case record.Lot:
		return told(l, func(x quality.Lot) string { return listed(named("kit", x.Kit), named("lot", x.Lot)) })
	case record.Person:
		return told(l, func(p record.PersonBody) string { return listed(p.Code, p.Role) })
	case record.Access:
		return told(l, func(a record.AccessBody) string {
			return listed(a.Code, strings.ReplaceAll(string(a.Change), "-", " "), access.Words(a.Roles))
		})
	case record.Rules:
		return told(l, func(r record.RulesBody) string { return listed(r.Name, named("edition", r.Edition)) })
	case record.Level:
		return told(l, func(x reading.Level) string {
			alert := ""
			if x.Alert > 0 {
				alert = "alert " + x.Alert.String()
			}
			return listed(spaced(string(x.Point)), named("system", x.System), named("kit", x.Kit), alert, "action "+x.Action.String()+" "+string(x.Unit))
		})
	case record.Chart:
		return told(l, func(c record.ChartBody) string {
			return listed(spaced(string(c.Stream.Point)), named("system", c.Stream.System), named("kit", c.Stream.Kit))
		})
	case record.Target:
		return told(l, func(t quality.Target) string { return listed(t.Material, string(t.Kind), named("system", t.System)) })
	case record.Check:
		return told(l, func(c record.CheckBody) string {
			return listed(named("meter", c.Meter), string(c.Verdict.Outcome), c.Verdict.Why)
		})
	case record.Comparison:
		return told(l, func(c record.ComparisonBody) string { return listed(string(c.Answer), c.Why) })
	case record.Draw:
		return told(l, func(d record.DrawBody) string { return fmt.Sprintf("%d of %d scopes", len(d.Picks), len(d.Candidates)) })
	case record.Import:
		return told(l, func(i record.ImportBody) string {
			return listed(i.File, i.Kind, fmt.Sprintf("%d of %d rows stored", i.Stored, i.Rows))
		})
	case record.Clock:
		return "the computer's clock was set back"
	}
	return l.Reason
}

func told[T any](l Line, words func(T) string) string {
	var body T
	if err := json.Unmarshal(l.Body, &body); err != nil {
		return "cannot be read: " + err.Error()
	}
	return words(body)
}

// listed joins what there is.
func listed(parts ...string) string {
	var there []string
	for _, p := range parts {
		if p != "" {
			there = append(there, p)
		}
	}
	return strings.Join(there, ", ")
}

func named(what, name string) string {
	if name == "" {
		return ""
	}
	return what + " " + name
}

func goesOn(ended bool) string {
	if ended {
		return ""
	}
	return "no end recorded"
}

func orElse(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

func outcomeWord(o reading.Outcome) string {
	if o == reading.None {
		return "no result"
	}
	return string(o)
}
