package desk

import (
	"encoding/csv"
	"fmt"
	"strings"

	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// About says what one row of a kind of file is.
func About(kind Kind) string {
	switch kind {
	case Models:
		return "a channel of a model; rows of one model agree on everything else"
	case Fleet:
		return "an instrument"
	case People:
		return "a person's code, without a name"
	case Meters:
		return "a meter and its system; all meters of a system count on one scale"
	case Lots:
		return "a lot of a kit with its expiry; a later row with recalled recalls it"
	case Levels:
		return "a level, for one meter system, kit, point and analyte"
	case Targets:
		return "what a control of a meter should read"
	case Uses:
		return "a patient use; the patient's number is kept outside the ledger"
	case Repairs:
		return "a repair; without returned the scope is away"
	case Steps:
		return "a step of a cycle"
	case Readings:
		return "a sample and, when it has a value, its reading"
	case Checks:
		return "a check of a meter; a failed one takes the trust from readings"
	}
	return ""
}

// examples are files with one row or two of each kind. They build on each other in the order of Kinds.
func examples(kind Kind) string {
	switch kind {
	case Models:
		return `model,kind,risk,elevator,outer_diameter_mm,sampled_length_mm,channel,diameter_mm,length_mm,port,brushable,flushable,sealed,cleaning,instructions
Example D,duodenoscope,,yes,13.5,100,instrument,4.2,1350,biopsy port,yes,yes,no,brush and flush,example instructions 1
Example D,duodenoscope,,yes,13.5,100,air,1.0,2800,umbilical,no,yes,no,flush,example instructions 1
`
	case Fleet:
		return `tag,serial,barcode,model,owner,location,in_service,retired
D-01,X1001,,Example D,own,room 1,2026-01-05T07:00:00+01:00,
`
	case People:
		return "person,role\nT-01,technician\n"
	case Meters:
		return "meter,system,serial\nM-1,example-system,55-1\n"
	case Lots:
		return "kit,lot,expires,recalled\nexample-kit,A17,2026-12-31T00:00:00+01:00,\n"
	case Levels:
		return `system,kit,point,kind,analyte,unit,alert,action,comparison,cv,clean,dirty,source,edition,adopted_by,adopted
example-system,example-kit,outer-distal-end,,atp,RLU,100,200,over,,,,facility baseline,1,L-01,2026-01-05T07:00:00+01:00
`
	case Targets:
		return `system,meter,kind,material,lot,low,high,source,edition,adopted_by,adopted
example-system,,positive,light cell,,300,3000,meter instructions,1,L-01,2026-01-05T07:00:00+01:00
example-system,,blank,empty chamber,,,10,meter instructions,1,L-01,2026-01-05T07:00:00+01:00
`
	case Uses:
		return `id,scope,start,end,procedure,room,patient,person
,D-01,2026-03-02T08:00:00+01:00,2026-03-02T08:45:00+01:00,ERCP,1,P-4711,N-01
`
	case Repairs:
		return `id,scope,sent,returned,fault,work,person
,D-01,2026-02-02T08:00:00+01:00,2026-02-20T10:00:00+01:00,leak at the bending section,sheath replaced,L-01
`
	case Steps:
		return `id,scope,step,start,end,person,result,note,delayed,disinfectant,disinfectant_lot,disinfectant_expires,` +
			`mec,coldest_cel,contact_min,reprocessor,cycle_number,cabinet,procedure
,D-01,leak-test,2026-03-02T08:58:00+01:00,2026-03-02T09:00:00+01:00,T-01,pass,,,,,,,,,,,,
,D-01,manual-cleaning,2026-03-02T09:01:00+01:00,2026-03-02T09:19:00+01:00,T-01,,,,,,,,,,,,,
`
	case Readings:
		return `id,scope,point,cleaning,not_applicable,kit,lot,person,collected,capped,uncapped,dipped,activated,shaken_s,read,` +
			`flushed_ml,recovered_ml,meter,system,analyte,unit,value
,D-01,outer-distal-end,,,example-kit,A17,T-01,2026-03-02T09:23:00+01:00,,,,2026-03-02T09:24:00+01:00,6,2026-03-02T09:24:20+01:00,,,M-1,,,,41
`
	case Checks:
		return `id,meter,at,person,serviced,positive,positive_material,negative,negative_material,blank,blank_material
,M-1,2026-03-02T06:00:00+01:00,T-01,,1012,light cell,,,1,empty chamber
`
	}
	return ""
}

// Example returns a file of a kind as text: its header with every column, and a row or two.
func Example(kind Kind) string { return examples(kind) }

// ExampleCells returns what each column of a kind holds in the example, by its name.
func ExampleCells(kind Kind) (map[string]string, error) {
	rows, err := csv.NewReader(strings.NewReader(examples(kind))).ReadAll()
	if err != nil || len(rows) < 2 {
		return nil, fmt.Errorf("the example of %s: %w", kind, err)
	}
	cells := map[string]string{}
	for i, name := range rows[0] {
		cells[name] = rows[1][i]
	}
	return cells, nil
}

// LevelTemplate returns rows of a file of levels for every kind of sampling point, to be filled in: one
// scale is given, the levels themselves are not.
func LevelTemplate(system, kit, analyte, inUnit string) [][]string {
	rows := make([][]string, len(scope.PointKinds))
	for i, point := range scope.PointKinds {
		for _, f := range Columns(Levels) {
			cell := map[string]string{"system": system, "kit": kit, "point": string(point), "analyte": analyte, "unit": inUnit}[f.Name]
			rows[i] = append(rows[i], cell)
		}
	}
	return rows
}

// Stock says how much of a kind there is.
type Stock struct {
	// Names counts what is registered: each thing once, however many editions it has. It is 0 for events.
	Names int
	// Any says that there is something.
	Any bool
}

// Stock returns how much of a kind is recorded.
func (v DayView) Stock(kind Kind) (Stock, error) {
	kinds := record.FromFile(string(kind))
	if len(kinds) == 0 {
		return Stock{}, fmt.Errorf("no kind of record is read from files of %s", kind)
	}
	typ := kinds[len(kinds)-1]
	switch d, _ := record.Of(typ); {
	case d.Key != "":
		n, err := v.tx.CountEntities(typ)
		return Stock{Names: n, Any: n > 0}, err
	case d.Scope != "":
		return v.any(typ)
	}
	return v.anyCheck()
}

func (v DayView) any(typ record.Kind) (s Stock, err error) {
	err = v.tx.Lately(typ, 1, func(store.Kept) error {
		s.Any = true
		return nil
	})
	return s, err
}

// anyCheck looks at the meters, since checks belong to no scope.
func (v DayView) anyCheck() (s Stock, err error) {
	meters, err := v.Measuring().Meters()
	if err != nil {
		return s, err
	}
	for _, m := range meters {
		if err := v.tx.Numbers().LastChecks(m.Code, v.tx.Now+1, 1, func(store.Kept) error {
			s.Any = true
			return nil
		}); err != nil {
			return s, err
		}
	}
	return s, nil
}
