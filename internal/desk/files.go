package desk

import (
	"encoding/csv"
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/domain/access"
	"rinsate/internal/wire/table"
)

//go:generate go test -run TestTableOfFiles -update .

// files lists every kind of file in the order in which they have to be read in: what others refer to comes
// first. It is the one list: what is not in it cannot be read in.
var files = []fileKind{
	fileOfModels, fileOfFleet, fileOfPeople, fileOfMeters, fileOfLots, fileOfLevels, fileOfTargets, fileOfUses, fileOfRepairs,
	fileOfSteps, fileOfReadings, fileOfChecks,
}

// Kinds lists every kind in the order in which files have to be read in.
var Kinds = kindsOf(files)

func kindsOf(all []fileKind) []Kind {
	kinds := make([]Kind, len(all))
	for i, f := range all {
		kinds[i] = f.kind
	}
	return kinds
}

// fileOf returns what describes a kind of file, and nothing for what is none.
func fileOf(kind Kind) *fileKind {
	for i := range files {
		if files[i].kind == kind {
			return &files[i]
		}
	}
	return &fileKind{kind: kind}
}

// Columns describes the columns of a kind of file.
func Columns(kind Kind) []table.Field { return slices.Clone(fileOf(kind).columns) }

// About says what one row of a kind of file is.
func About(kind Kind) string { return fileOf(kind).about }

// Example returns a file of a kind as text: its header with every column, and a row or two.
func Example(kind Kind) string { return fileOf(kind).example }

// ExampleCells returns what each column of a kind holds in the example, by its name.
func ExampleCells(kind Kind) (map[string]string, error) {
	rows, err := csv.NewReader(strings.NewReader(Example(kind))).ReadAll()
	if err != nil || len(rows) < 2 {
		return nil, fmt.Errorf("the example of %s: %w", kind, err)
	}
	cells := map[string]string{}
	for i, name := range rows[0] {
		cells[name] = rows[1][i]
	}
	return cells, nil
}

// ImportOf is the act of reading a kind of file in.
func ImportOf(kind Kind) access.Act {
	f := fileOf(kind)
	return access.Act{Name: ImportName, What: "read " + string(kind) + " in", Needs: slices.Concat(needs(access.ManageFleet), f.needs), Signed: f.signed}
}
