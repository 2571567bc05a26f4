package web

import (
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/turnaround"
	"rinsate/internal/present/words"
)

// tripLine is one turnaround as it went.
type tripLine struct {
	// Began says since when and after what, Ended how it ended; Mark is what the gate said at its end.
	Since, Began, BeganHref, Ended string
	Mark                           words.Mark
	// Wrong says that the scope was used although the gate did not let it.
	Wrong bool
	// Why is what kept it from use at the end.
	Why    []string
	Steps  []stepLine
	Rounds []roundLine
	Holds  []holdLine
}

// roundLine is one attempt: the decision, if there is one, and the samples.
type roundLine struct {
	Attempt   int
	Mark      words.Mark
	At, Why   string
	Href      string
	Readings  []readingLine
	Undecided bool
}

type readingLine struct {
	Point, By, Doubt, NotApplicable, Href string
	Values                                []valueLine
}

type valueLine struct {
	Value string
	Mark  words.Mark
}

type holdLine struct{ At, By, What, Reason, Href string }

type repairLine struct{ ID, Sent, Returned, Fault, Work, Href string }

// tripLine tells a turnaround in lines for a page.
func (s scopePages) tripLine(t desk.Turnaround, clock words.Clock) tripLine {
	line := tripLine{
		Since: clock(t.Start), Began: began(t.Trip, clock), BeganHref: s.RecordHref(t.Record), Ended: ending(t), Mark: terms.State(t.Answer.State),
		Wrong: t.Ended == turnaround.AfterUse && t.Answer.State != turnaround.Ready,
	}
	for _, r := range t.Answer.Reasons {
		if r.Blocks {
			line.Why = append(line.Why, r.Text)
		}
	}
	for _, step := range t.Steps {
		line.Steps = append(line.Steps, stepLine{
			Step: string(step.Kind), Start: clock(step.Start), End: clock(step.End), By: step.By, Result: string(step.Result), Note: stepNote(step), Href: s.RecordHref(step.ID),
		})
	}
	line.Rounds = s.roundLines(t.Trip, clock)
	for _, h := range t.Holds {
		line.Holds = append(line.Holds, holdLine{At: clock(h.At), By: h.By, What: "held", Reason: h.Reason, Href: s.RecordHref(h.ID)})
	}
	for _, l := range t.Lifts {
		by := l.By
		if l.Second != "" && l.Second != l.By {
			by += " and " + l.Second
		}
		line.Holds = append(line.Holds, holdLine{At: clock(l.At), By: by, What: "hold lifted", Reason: l.Reason, Href: s.RecordHref(l.ID)})
	}
	return line
}

func (s scopePages) repairLine(r turnaround.Repair, clock words.Clock) repairLine {
	return repairLine{ID: r.ID, Sent: clock(r.Sent), Returned: clock(r.Returned), Fault: r.Fault, Work: r.Work, Href: s.RecordHref(r.ID)}
}

// began says what a turnaround follows; never which patient.
func began(t turnaround.Trip, clock words.Clock) string {
	switch t.Cause {
	case turnaround.AfterRepair:
		return "back from repair"
	case turnaround.AfterUse:
		for _, u := range t.Uses {
			if u.ID != t.Record {
				continue
			}
			var about []string
			if u.Procedure != "" {
				about = append(about, u.Procedure)
			}
			if u.Room != "" {
				about = append(about, "room "+u.Room)
			}
			words := strings.Join(append(about, "begun "+clock(u.Start)), ", ")
			if !u.End.Known() {
				return "in use: " + words
			}
			return "after use: " + words
		}
	case turnaround.OnArrival:
	}
	return "came into service"
}

// ending says how a turnaround ended.
func ending(t desk.Turnaround) string {
	switch {
	case t.Ended == turnaround.AfterRepair:
		return "sent for repair"
	case t.Ended == turnaround.AfterUse && t.Answer.State == turnaround.Ready:
		return "used again"
	case t.Ended == turnaround.AfterUse:
		return "used all the same"
	}
	return "goes on"
}

// stepNote says in words what else is on record of a step.
func stepNote(step turnaround.Step) string {
	var parts []string
	add := func(before, text string) {
		if text != "" {
			parts = append(parts, before+text)
		}
	}
	add("", step.Note)
	add("delayed: ", step.Delayed)
	add("", step.Agent)
	add("lot ", step.AgentLot)
	add("machine ", step.Machine)
	add("cycle ", step.Cycle)
	add("", step.Cabinet)
	return strings.Join(parts, ", ")
}

// roundLines puts the samples of a turnaround beside the decisions on them, the first attempt first.
func (s scopePages) roundLines(t turnaround.Trip, clock words.Clock) []roundLine {
	var lines []roundLine
	at := func(attempt int) *roundLine {
		for i := range lines {
			if lines[i].Attempt == attempt {
				return &lines[i]
			}
		}
		lines = append(lines, roundLine{Attempt: attempt, Mark: terms.Outcome(reading.None), Undecided: true})
		return &lines[len(lines)-1]
	}
	for _, taken := range t.Samples {
		l := at(taken.Attempt)
		l.Readings = append(l.Readings, s.readingLine(taken))
	}
	for _, d := range t.Decisions {
		l := at(d.Round.Attempt)
		l.Mark, l.At, l.Why, l.Href, l.Undecided = terms.Outcome(d.Round.Outcome), clock(d.Last), d.Round.Why, s.RecordHref(d.ID), false
	}
	return lines
}

// readingLine is a sample with each of its readings.
func (s scopePages) readingLine(t turnaround.Taken) readingLine {
	line := readingLine{Point: string(t.Point), By: t.By, Doubt: t.Doubt, Href: s.RecordHref(t.ID), NotApplicable: t.NotApplicable}
	for _, j := range t.Judgements {
		line.Values = append(line.Values, valueLine{j.Judged.String(), terms.Outcome(j.Outcome)})
	}
	return line
}
