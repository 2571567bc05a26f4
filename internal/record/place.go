package record

import (
	"fmt"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/domain/turnaround"
)

// Placing says into which tables a record goes.
type Placing struct {
	// Entity is the key in the entity table, empty when it is none.
	Entity string
	// Scope, At and Word are the columns of the event table; Scope is empty when it is no event.
	Scope string
	At    unit.Instant
	Word  string
	// Replaces is the record that this one takes the place of.
	Replaces ledger.ID
	Reading  *reading.Reading
	// Lift is the hold that ends, Round the decision that this rests on alone.
	Lift, Round string
	// Rules is the edition of the rule set that a round was decided by.
	Rules string
	Hold  bool
	// Meter and Verdict are columns of the table of checks; Suspect are the readings that the record
	// takes the trust from.
	Meter, Verdict string
	Suspect        []ledger.ID
	// File is what the record attaches, Note whether it is a hand-over note.
	File *dossier.File
	Note bool
	// Alarm is what somebody did about an alarm.
	Alarm *trend.Handling
}

// Place reads from a record where it belongs. It is the one place that knows: appending and
// rebuilding both go through it.
func Place(r ledger.Record) (Placing, error) {
	p := Placing{Replaces: r.Corrects}
	var err error
	switch KindOf(r) {
	case Site, Clock, Import:
	case Model:
		err = with(r, func(m scope.Model) { p.Entity = m.Name })
	case Instrument:
		err = with(r, func(i scope.Instrument) { p.Entity = i.Tag })
	case Meter:
		err = with(r, func(m quality.Meter) { p.Entity = m.Code })
	case Lot:
		err = with(r, func(l quality.Lot) { p.Entity = l.Kit + "|" + l.Lot })
	case Person:
		err = with(r, func(x PersonBody) { p.Entity = x.Code })
	case Access:
		err = with(r, func(x AccessBody) { p.Entity = x.Code })
	case Rules:
		p.Entity = "rules"
	case Level:
		err = with(r, func(l reading.Level) { p.Entity = l.Key() })
	case Draw:
		p.Entity = string(r.ID)
	case Use:
		err = with(r, func(u turnaround.Use) {
			p.Scope, p.At, p.Word = u.Scope, u.Start, u.Procedure
			p.finish(u.Finishes)
		})
	case Step:
		err = with(r, func(s turnaround.Step) {
			p.Scope, p.At, p.Word = s.Scope, s.Start, string(s.Kind)
			p.finish(s.Finishes)
		})
	case Sample:
		err = with(r, func(s sampling.Sample) { p.Scope, p.At, p.Word = s.Scope, s.Collected, string(s.Point) })
	case Moment:
		err = with(r, func(m sampling.Moment) { p.Scope, p.At, p.Word = m.Scope, m.At, string(m.Mark) })
	case Reading:
		err = with(r, func(x reading.Reading) {
			p.Scope, p.At, p.Word, p.Reading = x.Scope, x.With.At, string(x.Judgement.Outcome), &x
		})
	case Round:
		err = with(r, func(d turnaround.Decision) {
			p.Scope, p.At, p.Word, p.Rules = d.Scope, d.Last, string(d.Round.Outcome), d.Rules
			p.finish(d.Supersedes)
		})
	case Hold:
		err = with(r, func(h turnaround.Hold) { p.Scope, p.At, p.Hold = h.Scope, h.At, true })
	case Lift:
		err = with(r, func(l turnaround.Lift) {
			p.Scope, p.At, p.Lift = l.Scope, l.At, l.Hold
			if l.Second == "" || l.Second == l.By {
				p.Round = l.Round
			}
		})
	case Repair:
		err = with(r, func(x RepairBody) {
			p.Scope, p.At = x.Scope, x.Sent
			p.finish(x.Finishes)
		})
	case Request:
		err = with(r, func(q sampling.Request) { p.Scope, p.At = q.Scope, q.At })
	case Target:
		err = with(r, func(t quality.Target) { p.Entity = t.System + "|" + string(t.Kind) + "|" + t.Material })
	case Check:
		err = with(r, func(c CheckBody) { p.Meter, p.At, p.Verdict = c.Meter, c.Verdict.At, string(c.Verdict.Outcome) })
	case Chart:
		err = with(r, func(c ChartBody) { p.Entity = c.Key() })
	case Suspect:
		err = with(r, func(x SuspectBody) { p.Scope, p.At, p.Word, p.Suspect = x.Scope, x.At, string(x.Check), x.Readings })
	case Comparison:
		p.Entity = string(r.ID)
	case Attachment:
		err = with(r, func(a dossier.Attachment) { p.Scope, p.At, p.Word, p.File = a.Scope, a.At, string(a.Kind), &a.File })
	case Handover:
		err = with(r, func(h dossier.Handover) { p.At, p.Note = h.At, true })
	case Alarm:
		err = with(r, func(h trend.Handling) { p.Scope, p.At, p.Word, p.Alarm = h.Stream.Scope, h.At, string(h.Act), &h })
	case Void:
		err = with(r, func(v VoidBody) { p.Scope, p.At = v.Scope, r.At })
	default:
		return p, fmt.Errorf("record %d has the unknown type %q; a newer program wrote it", r.Seq, r.Type)
	}
	return p, err
}

// finish names the record that this one completes. The correction of such a record takes the place
// of the record that it corrects; what that one completed stays replaced.
func (p *Placing) finish(id string) {
	if id != "" && p.Replaces == "" {
		p.Replaces = ledger.ID(id)
	}
}

func with[T any](r ledger.Record, use func(T)) error {
	body, err := Body[T](r)
	if err == nil {
		use(body)
	}
	return err
}
