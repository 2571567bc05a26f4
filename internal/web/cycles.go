package web

import (
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/present/words"
)

// cycleLine is one cycle as it went.
type cycleLine struct {
	// Began says since when and after what, Ended how it ended; Mark is what the release check said at its end.
	Since, Began, BeganHref, Ended string
	Mark                           words.Mark
	// Wrong says that the scope was used although the release check did not let it.
	Wrong bool
	// Why is what kept it from use at the end.
	Why           []string
	Steps         []stepLine
	Verifications []verificationLine
	Holds         []holdLine
}

// verificationLine is what was done after one cleaning: the decision, if there is one, and the samples.
type verificationLine struct {
	Cleaning  int
	Mark      words.Mark
	At, Why   string
	Href      string
	Readings  []readingLine
	Undecided bool
}

// Test says which test it is.
func (l verificationLine) Test() string { return reading.Test(l.Cleaning) }

type readingLine struct {
	Point, By, Doubt, NotApplicable, Href string
	Values                                []valueLine
}

type valueLine struct {
	Value string
	Mark  words.Mark
}

// holdPlaced is what a line says of a hold that was placed.
const holdPlaced = "hold placed"

type holdLine struct{ At, By, What, Reason, Href string }

type repairLine struct{ ID, Sent, Returned, Fault, Work, Href string }

// cycleLine tells a cycle in lines for a page.
func (s scopePages) cycleLine(t desk.Cycle, clock words.Clock) cycleLine {
	line := cycleLine{
		Since: clock(t.Start), Began: began(t.Cycle, clock), BeganHref: s.RecordHref(t.Record), Ended: ending(t), Mark: s.Terms.State(t.Answer.State),
		Wrong: t.Ended == reprocessing.AfterUse && !t.Answer.State.Clear(),
	}
	for _, r := range clock.Answer(s.Terms.Answer(t.Answer)).Reasons {
		if r.Blocks {
			line.Why = append(line.Why, r.Whole())
		}
	}
	for _, step := range t.Steps {
		line.Steps = append(line.Steps, stepLine{
			Step: s.Terms.Step(
				step.Kind,
			),
			Start:  clock(step.Start),
			End:    clock(step.End),
			By:     step.By,
			Result: string(step.Result),
			Note:   stepNote(step),
			Href:   s.RecordHref(step.ID),
		})
	}
	line.Verifications = s.verificationLines(t.Cycle, clock)
	for _, h := range t.Holds {
		line.Holds = append(line.Holds, holdLine{At: clock(h.At), By: h.By, What: holdPlaced, Reason: h.Reason, Href: s.RecordHref(h.ID)})
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

func (s scopePages) repairLine(r reprocessing.Repair, clock words.Clock) repairLine {
	return repairLine{ID: r.ID, Sent: clock(r.Sent), Returned: clock(r.Returned), Fault: r.Fault, Work: r.Work, Href: s.RecordHref(r.ID)}
}

// began says what a cycle follows; never which patient.
func began(t reprocessing.Cycle, clock words.Clock) string {
	switch t.Cause {
	case reprocessing.AfterRepair:
		return "back from repair"
	case reprocessing.AfterUse:
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
			if !u.Over() {
				return "in use: " + words
			}
			return "after use: " + words
		}
	case reprocessing.OnArrival:
	}
	return "came into service"
}

// ending says how a cycle ended.
func ending(t desk.Cycle) string {
	switch {
	case t.Ended == reprocessing.AfterRepair:
		return "sent for repair"
	case t.Ended == reprocessing.AfterUse && t.Answer.State.Clear():
		return "used again"
	case t.Ended == reprocessing.AfterUse:
		return "used all the same"
	}
	return "goes on"
}

// stepNote says in words what else is on record of a step.
func stepNote(step reprocessing.Step) string {
	var parts []string
	add := func(before, text string) {
		if text != "" {
			parts = append(parts, before+text)
		}
	}
	add("", step.Note)
	add("", step.Disinfectant)
	add("lot ", step.DisinfectantLot)
	add("reprocessor ", step.Reprocessor)
	add("its cycle ", step.CycleNumber)
	add("", step.Cabinet)
	return strings.Join(parts, ", ")
}

// verificationLines puts the samples of a cycle beside the decisions on them, the first cleaning first.
func (s scopePages) verificationLines(t reprocessing.Cycle, clock words.Clock) []verificationLine {
	var lines []verificationLine
	at := func(cleaning int) *verificationLine {
		for i := range lines {
			if lines[i].Cleaning == cleaning {
				return &lines[i]
			}
		}
		lines = append(lines, verificationLine{Cleaning: cleaning, Mark: s.Terms.Outcome(reading.None), Undecided: true})
		return &lines[len(lines)-1]
	}
	for _, taken := range t.Samples {
		l := at(taken.Cleaning)
		l.Readings = append(l.Readings, s.readingLine(taken))
	}
	for _, d := range t.Decisions {
		l := at(d.Verification.Cleaning)
		l.Mark, l.At, l.Why, l.Href, l.Undecided = s.Terms.Outcome(d.Verification.Outcome), clock(d.Last), d.Verification.Why, s.RecordHref(d.ID), false
	}
	return lines
}

// readingLine is a sample with each of its readings.
func (s scopePages) readingLine(t reprocessing.Taken) readingLine {
	line := readingLine{Point: t.Point.Words(), By: t.By, Doubt: t.Doubt, Href: s.RecordHref(t.ID), NotApplicable: t.NotApplicable}
	for _, j := range t.Judgements {
		line.Values = append(line.Values, valueLine{j.Judged.String(), s.Terms.Outcome(j.Outcome)})
	}
	return line
}
