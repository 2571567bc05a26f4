// Package paper says what stands on the sheets that take over while the computer is down: the list of what is ready for
// a shift, and blank forms. A document is the same for a page, which the browser prints, and for a PDF file; [PDF] draws
// it. It decides nothing: read desk.ShiftList for what is on the list, and why.
package paper

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/present/words"
)

// Document is some sheets of paper.
type Document struct {
	Title  string
	Sheets []Sheet
	// Foot stands at the foot of every page.
	Foot string
}

// Sheet is one sheet, which goes on on another page where it has to.
type Sheet struct {
	Title string
	// Lead are the sentences under the title, and Barrier is what nobody may read past; empty where there is nothing.
	Lead    []string
	Barrier string
	// Fields are labels, each with a line to write on.
	Fields []string
	Tables []Table
	Ticks  []Ticks
	// Notes are in small print at the end.
	Notes []string
}

// Table is a table, the rows of which may be blank.
type Table struct {
	Title   string
	Columns []Column
	Rows    [][]string
	// Blank is how many empty rows follow.
	Blank int
}

// All are the rows with the blank ones.
func (t Table) All() [][]string {
	all := append([][]string{}, t.Rows...)
	for i := range t.Blank {
		row := make([]string, len(t.Columns))
		if t.Columns[0].Number {
			row[0] = strconv.Itoa(i + 1)
		}
		all = append(all, row)
	}
	return all
}

// Column is a column of a table. Share is its part of the width.
type Column struct {
	Name  string
	Share float64
	// Box is a box to strike out, Bold what is read from afar; Number counts blank rows.
	Box, Bold, Number bool
}

// Ticks are things to tick.
type Ticks struct {
	Label   string
	Choices []string
}

// caution is the line that every sheet ends with.
const caution = "ATP and residue tests show organic residue, not sterility. This paper does not replace disinfection, inspection, culture, the " +
	"manufacturer's instructions, local policy or a licensed person's judgement."

// place says by which place of the ledger a sheet was true.
func place(size int64, root string) string {
	const short = 16
	if len(root) > short {
		root = root[:short] + "…"
	}
	return fmt.Sprintf("%d records, root %s", size, root)
}

// Shift is the list of what is ready for a shift without the computer.
func Shift(l desk.ShiftList, t words.Terms, zone *time.Location) Document {
	until, printed := l.Until.In(zone), l.Printed.In(zone)
	s := Sheet{
		Title: "Ready at most until " + until,
		Lead: []string{
			fmt.Sprintf("%s: what is ready for use and hangs in a closed cabinet, %s. Printed %s.", l.Site, scopes(l.Count()), printed),
			"Each scope only until the time in its row. Strike its box out when you take it out, and write when and who you are.",
		},
		Barrier: "Do not use: a scope that was taken out, that anybody knows bad news of, or that is not on this list. It is not ready, whatever this list says.",
		Notes: []string{
			"What is used, reprocessed, sampled, stored or put on hold meanwhile goes on the blank forms, and into the records as soon as the computer is back.",
			"True by the ledger of " + place(l.Size, l.Root) + ", under the rule set " + l.Rules + ".",
		},
	}
	if l.Doubt != "" {
		s.Lead = append(s.Lead, "Nothing is on this list: "+l.Doubt+".")
	}
	if len(l.Elsewhere) > 0 {
		s.Lead = append(s.Lead, "Ready when this was printed, but in no closed cabinet, and so not on the list: "+strings.Join(l.Elsewhere, ", ")+".")
	}
	for _, c := range l.Cabinets {
		table := Table{Title: "Cabinet " + c.Cabinet, Columns: []Column{
			{Name: "Out", Share: .6, Box: true},
			{Name: "Scope", Share: 1.4, Bold: true},
			{Name: "What it is", Share: 2.2},
			{Name: "Ready until", Share: 2},
			{Name: "Taken out at", Share: 1.5},
			{Name: "By", Share: 1.5},
		}}
		for _, x := range c.Scopes {
			what := x.Kind.Words() + ", " + x.Model
			if x.Serial != "" {
				what += ", serial " + x.Serial
			}
			table.Rows = append(table.Rows, []string{"", x.Scope, what, x.Until.In(zone), "", ""})
		}
		s.Tables = append(s.Tables, table)
	}
	s.Tables = append(s.Tables, Table{Title: "Bad news in this shift", Blank: 4, Columns: []Column{
		{Name: "Scope", Share: 1}, {Name: "When", Share: 1}, {Name: "What was seen or heard", Share: 4}, {Name: "By", Share: 1},
	}})
	return Document{
		Title: "Ready list", Sheets: []Sheet{s},
		Foot: fmt.Sprintf("%s · printed %s · valid until %s · %s · %s", l.Site, printed, until, place(l.Size, l.Root), t.Sentence(caution)),
	}
}

func scopes(n int) string {
	switch n {
	case 0:
		return "no scope"
	case 1:
		return "1 scope"
	}
	return strconv.Itoa(n) + " scopes"
}

// Forms are blank forms for what is done while the computer is down, in the words of the rule set in force. Their columns
// are those of the files that are read in afterwards.
func Forms(b desk.Blanks, t words.Terms, zone *time.Location) Document {
	sheets := []Sheet{useForm(b), reprocessingForm(b, t), samplingForm(b, t), holdForm(b), storageForm(b)}
	for i := range sheets {
		sheets[i].Notes = append(sheets[i].Notes,
			"Write what you did when you did it. What is not known stays empty, or \"not known\". Never write down what was not done. No patient's name.")
	}
	return Document{
		Title: "Blank forms", Sheets: sheets,
		Foot: fmt.Sprintf("%s · %s · by the rule set %s · %s", b.Site, printedAt(b.Printed, zone), b.Rules, t.Sentence(caution)),
	}
}

func printedAt(at unit.Instant, zone *time.Location) string { return "printed " + at.In(zone) }

// readIn says by which columns of which file a form comes in.
func readIn(file desk.Kind, columns ...string) string {
	return fmt.Sprintf("Comes in late through Import, file of %s: %s.", file, strings.Join(columns, ", "))
}

func columns(names ...string) []Column {
	all := make([]Column, len(names))
	for i, n := range names {
		all[i] = Column{Name: n, Share: 1}
	}
	return all
}

func useForm(b desk.Blanks) Sheet {
	s := Sheet{
		Title: "Uses on patients",
		Lead:  []string{"A line for each use. The patient's number, not the name."},
		Tables: []Table{{Blank: 8, Columns: []Column{
			{Name: "Scope", Share: 1, Bold: true},
			{Name: "Begun (date, time)", Share: 1.4},
			{Name: "Ended", Share: 1},
			{Name: "Procedure", Share: 1.6},
			{Name: "Room", Share: .7},
			{Name: "Patient's number", Share: 1.4},
			{Name: "By", Share: .9},
		}}, {Title: "Emergency uses: why each could not wait", Blank: 3, Columns: []Column{
			{Name: "Scope", Share: 1, Bold: true},
			{Name: "Begun", Share: 1.2},
			{Name: "Why, by its word below", Share: 1.3},
			{Name: "In words", Share: 3},
			{Name: "Decided by", Share: 1.2},
		}}},
		Notes: []string{readIn(desk.Uses, "scope", "start", "end", "procedure", "room", "patient", "person", "emergency", "emergency_words", "decided_by")},
	}
	s.Ticks = append(s.Ticks, listedBy("Why a patient could not wait", b.Emergencies))
	return s
}

// listedBy lists the words of files with what they mean, to write down and not to tick.
func listedBy(label string, choices []desk.BlankChoice) Ticks {
	t := Ticks{Label: label}
	for _, c := range choices {
		t.Choices = append(t.Choices, c.Value+": "+c.Words)
	}
	return t
}

func reprocessingForm(b desk.Blanks, t words.Terms) Sheet {
	table := Table{Columns: []Column{
		{Name: "Step", Share: 2},
		{Name: "What the rule asks", Share: 2.2},
		{Name: "Begun", Share: 1},
		{Name: "Ended", Share: 1},
		{Name: "By", Share: .8},
		{Name: "Result", Share: 1},
	}}
	for _, step := range b.Steps {
		asked, result := t.Sentence(step.Asks), ""
		if !step.Required {
			asked = strings.TrimPrefix(asked+", where it is due", ", ")
		}
		if step.Result {
			result = "pass / fail"
		}
		table.Rows = append(table.Rows, []string{t.Step(step.Step), asked, "", "", "", result})
	}
	return Sheet{
		Title:  "Reprocessing of one scope",
		Lead:   []string{"One form for each scope and each time. Steps in this order. A step that failed is written down as failed, and its repeat on another form."},
		Fields: []string{"Scope", "Date", "The last use ended at"},
		Tables: []Table{table, {Title: "Disinfection or sterilization", Blank: 2, Columns: []Column{
			{Name: "Disinfectant", Share: 1.7},
			{Name: "Lot", Share: 1},
			{Name: "Expires", Share: 1},
			{Name: "Filled", Share: 1},
			{Name: "MEC test", Share: .9},
			{Name: "Coldest, warmest °C", Share: 1.2},
			{Name: "Contact min", Share: .8},
			{Name: "Reprocessor", Share: 1.2},
			{Name: "Cycle no.", Share: .9},
		}}},
		Ticks: []Ticks{{Label: "Names for the disinfectant", Choices: b.Disinfectants}, {Label: "Signed by whoever did the steps", Choices: []string{
			"name and code: ______________________", "signature: ______________________", "at: ______________",
		}}},
		Notes: []string{
			readIn(desk.Steps, "scope", "step", "start", "end", "person", "result", "disinfectant", "disinfectant_lot", "disinfectant_expires",
				"disinfectant_filled", "mec", "coldest_cel", "warmest_cel", "contact_min", "reprocessor", "cycle_number"),
			"Paper proves nothing by itself: photograph this form at the scope, and attest its steps on the page Not proven, " +
				"within a day by whoever did them, or by a lead.",
		},
	}
}

func samplingForm(b desk.Blanks, t words.Terms) Sheet {
	s := Sheet{
		Title:  "Cleaning verification of one scope",
		Lead:   b.Clocks,
		Fields: []string{"Scope", "Date", "Sampled after which cleaning since the use"},
		Tables: []Table{
			{Title: "Samples", Blank: 8, Columns: append([]Column{{Name: "No.", Share: .5, Number: true}, {Name: "Point", Share: 2}},
				columns("Kit", "Lot", "By", "Collected", "Capped", "Uncapped")...)},
			{Title: "Readings of the same numbers", Blank: 8, Columns: append([]Column{{Name: "No.", Share: .5, Number: true}},
				columns("Flushed mL", "Recovered mL", "Dipped", "Activated", "Shaken s", "Read", "Meter", "Value as shown")...)},
		},
		Notes: []string{
			readIn(desk.Readings, "scope", "point", "cleaning", "kit", "lot", "person", "collected", "capped", "uncapped", "dipped", "activated", "shaken_s", "read",
				"flushed_ml", "recovered_ml", "meter", "value"),
			"A value over its action level counts at once, whatever else is wrong with the sample: hold the scope, and write that on the form for holds.",
		},
	}
	for _, m := range b.Models {
		s.Ticks = append(s.Ticks, Ticks{Label: "Points of " + m.Model, Choices: m.Points})
	}
	for i, c := range s.Lead {
		s.Lead[i] = t.Sentence(c) + "."
	}
	return s
}

func holdForm(b desk.Blanks) Sheet {
	return Sheet{
		Title:   "Holds and bad news",
		Lead:    []string{"Anybody writes here, at once, and hangs a note on the scope."},
		Barrier: "From now on nobody uses the scope, whatever a list says.",
		Tables: []Table{{Blank: 10, Columns: []Column{
			{Name: "Scope", Share: 1, Bold: true},
			{Name: "Since (date, time)", Share: 1.3},
			{Name: "What for, by its word below", Share: 1.3},
			{Name: "What was seen or heard", Share: 3.4},
			{Name: "By", Share: 1},
		}}},
		Ticks: []Ticks{listedBy("What a hold is for", b.Holds)},
		Notes: []string{"Placed on the page of the scope, first of all, when the computer is back; from a command: rinsate hold."},
	}
}

func storageForm(b desk.Blanks) Sheet {
	return Sheet{
		Title: "Storage and take-out",
		Lead:  []string{"A line each time that a scope is hung up, and the rest of it when it is taken out."},
		Tables: []Table{{Blank: 16, Columns: []Column{
			{Name: "Scope", Share: 1, Bold: true},
			{Name: "Cabinet", Share: 1.6},
			{Name: "In (date, time)", Share: 1.4},
			{Name: "By", Share: .9},
			{Name: "Out (date, time)", Share: 1.4},
			{Name: "By", Share: .9},
			{Name: "For", Share: 1.2},
		}}},
		Ticks: []Ticks{{Label: "Names of the cabinets", Choices: b.Cabinets}},
		Notes: []string{readIn(desk.Steps, "scope", "step (storage, issue)", "start", "person", "cabinet", "procedure")},
	}
}
