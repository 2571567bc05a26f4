package desk

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/wire/table"
)

// Proposal is how a file seems to be written. A person confirms it: nothing of it is used unasked.
type Proposal struct {
	Profile table.Profile
	// Notes say what was guessed, and what could not be told.
	Notes []string
}

// dayFirst and monthFirst read the same texts until a day over 12 comes.
const (
	dayFirst   = "DD/MM/YYYY HH:mm"
	monthFirst = "MM/DD/YYYY HH:mm"
)

// TimeFormats are the notations of moments that are looked for in a file, besides RFC 3339.
var TimeFormats = []string{
	"YYYY-MM-DD HH:mm:ss", "YYYY-MM-DD HH:mm", "YYYY-MM-DDTHH:mm:ss", "YYYY-MM-DDTHH:mm", "DD.MM.YYYY HH:mm:ss", "DD.MM.YYYY HH:mm", "D.M.YYYY H:mm",
	dayFirst, monthFirst, "D/M/YYYY H:mm", "M/D/YYYY H:mm", "M/D/YYYY h:mm A", "YYYY/MM/DD HH:mm",
}

// Propose says how a file of a kind seems to be written, from its header and first rows. What the given
// profile says stays as it is; zone is the one of times without an offset where it names none.
func Propose(kind Kind, p table.Peeked, given table.Profile, zone string) Proposal {
	out := Proposal{Profile: given}
	out.Profile.Delimiter, out.Profile.Encoding = p.Delimiter, p.Encoding
	out.Profile.Time.Zone = cmp.Or(given.Time.Zone, zone)
	out.Profile.Columns = maps.Clone(given.Columns)
	out.note("The delimiter is %s and the encoding %s.", p.Delimiter, p.Encoding)
	if given.Columns == nil {
		out.columns(kind, p)
	}
	if given.Decimal == "" {
		out.numbers(kind, p)
	}
	if len(given.Time.Format) == 0 {
		out.times(kind, p)
	}
	return out
}

// columns takes columns that the file has under no name of ours from headers that are close.
func (o *Proposal) columns(kind Kind, p table.Peeked) {
	o.Profile.Columns = map[string]string{}
	free := slices.DeleteFunc(slices.Clone(p.Headers), func(h string) bool {
		return h == "" || slices.ContainsFunc(Columns(kind), func(f table.Field) bool { return table.SameName(h, f.Name) })
	})
	for _, f := range Columns(kind) {
		if slices.ContainsFunc(p.Headers, func(h string) bool { return table.SameName(h, f.Name) }) {
			continue
		}
		if near := table.Nearest(f.Name, free); near != "" {
			o.Profile.Columns[f.Name] = near
			free = slices.DeleteFunc(free, func(h string) bool { return h == near })
			o.note("The column %s is taken from %q, whose name is close.", f.Name, near)
		}
	}
}

func (o *Proposal) note(format string, args ...any) {
	o.Notes = append(o.Notes, fmt.Sprintf(format, args...))
}

// Cells returns what the columns of a kind of cells hold in the first rows of a file, by the headers of a
// profile. Empty cells are left out.
func Cells(p table.Peeked, profile table.Profile, fields []table.Field) []string {
	var cells []string
	for _, f := range fields {
		header, ok := profile.Columns[f.Name]
		if !ok {
			header = f.Name
		}
		place := slices.IndexFunc(p.Headers, func(h string) bool { return table.SameName(h, header) })
		for _, row := range p.Rows {
			if place >= 0 && place < len(row) && row[place] != "" {
				cells = append(cells, row[place])
			}
		}
	}
	return cells
}

// fieldsOf returns the columns of a kind that hold one kind of cells.
func fieldsOf(kind Kind, holds table.Kind) []table.Field {
	return slices.DeleteFunc(Columns(kind), func(f table.Field) bool { return f.Kind != holds })
}

// numbers looks for a decimal comma. A number that both notations read, such as 1,234, decides nothing.
func (o *Proposal) numbers(kind Kind, p table.Peeked) {
	points, commas := 0, 0
	for _, cell := range Cells(p, o.Profile, fieldsOf(kind, table.KindNumber)) {
		before, after, found := strings.Cut(cell, ",")
		_, whole := unit.ParseNumber(before + "." + after)
		switch {
		case strings.Contains(cell, "."):
			points++
		case found && whole == nil && len(after) != 3:
			commas++
		}
	}
	switch {
	case commas > 0 && points == 0:
		o.Profile.Decimal = "comma"
		o.note("Numbers have a decimal comma.")
	case commas > 0:
		o.note("Some numbers have a comma and some a point: say below which begins the decimals.")
	}
}

// times looks for the notation of moments that reads every one of them.
func (o *Proposal) times(kind Kind, p table.Peeked) {
	cells := Cells(p, o.Profile, fieldsOf(kind, table.KindTime))
	reads := func(format ...string) bool {
		c := table.Clock{Zone: o.Profile.Time.Zone, Format: format, Ambiguous: "first"}
		return !slices.ContainsFunc(cells, func(cell string) bool { return !c.Reads(cell) })
	}
	if len(cells) == 0 || reads() {
		return
	}
	var fit []string
	for _, f := range TimeFormats {
		if reads(f) {
			fit = append(fit, f)
		}
	}
	switch {
	case len(fit) == 0:
		odd := slices.IndexFunc(cells, func(cell string) bool { return !(table.Clock{}).Reads(cell) })
		o.note("How times are written could not be told: %q is one of them.", cells[odd])
	case slices.ContainsFunc(fit, monthBefore) && slices.ContainsFunc(fit, func(f string) bool { return !monthBefore(f) }):
		o.note("Times such as %q can be read with the day or the month first: say below which.", cells[0])
	default:
		o.Profile.Time.Format = fit[:1]
		o.note("Times are written %s, in the zone %s.", fit[0], o.Profile.Time.Zone)
	}
}

// monthBefore says whether a notation has the month before the day and the year last.
func monthBefore(format string) bool { return strings.HasPrefix(format, "M") }
