package words

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

// body is a record of a kind as the ledger holds it.
type body struct {
	terms  Terms
	kind   record.Kind
	reason string
	text   []byte
}

// Record says in a line what a record of a kind holds, beyond its kind and the scope, without times; reason
// is what the record itself gives.
func (t Terms) Record(kind record.Kind, reason string, text []byte) string {
	return body{t, kind, reason, text}.words()
}

func (l body) words() string {
	switch l.kind {
	case record.Use:
		return told(l, func(u turnaround.Use) string {
			return listed(orElse(u.Procedure, "used"), goesOn(u.End.Known()), u.Room)
		})
	case record.Step:
		return told(l, func(s turnaround.Step) string {
			return listed(Spaced(string(s.Kind)), goesOn(s.End.Known()), string(s.Result), s.Agent, s.Machine, s.Cabinet, s.Delayed, s.Note)
		})
	case record.Sample:
		return told(l, func(s sampling.Sample) string {
			return listed(Spaced(string(s.Point)), fmt.Sprintf("attempt %d", s.Attempt), named("kit", s.Kit), named("lot", s.Lot), s.NotApplicable)
		})
	case record.Moment:
		return told(l, func(m sampling.Moment) string { return string(m.Mark) })
	case record.Reading:
		return told(l, func(r reading.Reading) string {
			return listed(Spaced(string(r.With.Point)), r.Value.String(), l.terms.outcome(r.Judgement.Outcome))
		})
	case record.Round:
		return told(l, func(d turnaround.Decision) string {
			return listed(fmt.Sprintf("attempt %d", d.Round.Attempt), l.terms.outcome(d.Round.Outcome), d.Round.Why)
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
			return listed(Spaced(string(h.Stream.Point)), "alarm "+string(h.Act), h.Cause.Words(), h.Words)
		})
	case record.Suspect:
		return told(l, func(x record.SuspectBody) string { return fmt.Sprintf("%d readings: %s", len(x.Readings), x.Reason) })
	case record.Void:
		return l.reason
	}
	return l.setUpWords()
}

// setUpWords is words for what the department is made of.
func (l body) setUpWords() string {
	switch l.kind {
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
			return listed(Spaced(string(x.Point)), named("system", x.System), named("kit", x.Kit), alert, "action "+x.Action.String()+" "+string(x.Unit))
		})
	case record.Chart:
		return told(l, func(c record.ChartBody) string {
			return listed(Spaced(string(c.Stream.Point)), named("system", c.Stream.System), named("kit", c.Stream.Kit))
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
	return l.reason
}

func told[T any](l body, words func(T) string) string {
	var b T
	if err := json.Unmarshal(l.text, &b); err != nil {
		return "cannot be read: " + err.Error()
	}
	return words(b)
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

// outcome is the word of an outcome alone.
func (t Terms) outcome(o reading.Outcome) string { return t.Outcome(o).Word }
