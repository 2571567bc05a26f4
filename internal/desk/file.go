package desk

import (
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/wire/table"
)

// Kind is a kind of file that can be read in.
type Kind string

// fileKind describes a kind of file.
type fileKind struct {
	kind Kind
	// about says what one row is.
	about string
	// needs is what reading it in takes beyond managing the fleet; signed says that it is a signature.
	//
	// What describes the facility is the fleet's business. A level or a target judges, so that it is adopted
	// by whoever may adopt. A file of events writes what others did, at any time, in their names: that is for
	// whoever may record such events and also answers for records that turn out wrong, by voiding them.
	needs  []access.Permission
	signed bool
	// columns are all that it may have.
	columns []table.Field
	// example is a file with a header of every column and a row or two. Examples build on each other in the
	// order of files.
	example string
	// line reads one row: it says what the row is, and returns what stores it unless exactly that is stored
	// already. That is not called when a cell is wrong.
	line func(in *intake, r row) (what string, store func() (fresh bool, err error))
	// anchor is the column that an error of storing is told of.
	anchor string
	// whole reads a file whose rows hang together, in place of line.
	whole func(in *intake, t *table.Table) error
}

func textColumn(name, help string) table.Field {
	return table.Field{Name: name, Kind: table.KindText, Help: help}
}

func numberColumn(name, help string) table.Field {
	return table.Field{Name: name, Kind: table.KindNumber, Help: help}
}

func timeColumn(name, help string) table.Field {
	return table.Field{Name: name, Kind: table.KindTime, Help: help}
}

func yesColumn(name, help string) table.Field {
	return table.Field{Name: name, Kind: table.KindBool, Help: help}
}

func wordColumn(name string, allowed []string, help string) table.Field {
	return table.Field{Name: name, Kind: table.KindWord, Allowed: allowed, Help: help}
}

func required(f table.Field) table.Field {
	f.Required = true
	return f
}

func words[T ~string](values []T) []string {
	texts := make([]string, len(values))
	for i, v := range values {
		texts[i] = string(v)
	}
	return texts
}

// results are the words for a step's or a check's result.
var results = []string{"pass", "fail"}

// row reads the rows of one kind of file. Cells that are wrong are collected in the table.
type row struct {
	t   *table.Table
	col map[string]table.Column
}

func newRow(t *table.Table, columns []table.Field) row {
	r := row{t, map[string]table.Column{}}
	for _, f := range columns {
		r.col[f.Name] = t.Field(f.Name)
	}
	return r
}

// usual fills in ATP where no analyte is given and the analyte's usual unit where none is.
func usual(analyte, inUnit string) (reading.Analyte, reading.Unit) {
	a, u := reading.Analyte(analyte), reading.Unit(inUnit)
	if a == "" {
		a = reading.ATP
	}
	if units := reading.UnitsOf(a); u == "" && len(units) > 0 {
		u = units[0]
	}
	return a, u
}
