package desk

import (
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// People is a file of codes of people.
const People Kind = "people"

var fileOfPeople = fileKind{
	kind: People, about: "a person's code, without a name",
	columns: []table.Field{required(textColumn("person", "code of the person; no names")), textColumn("role", "what the person does")},
	example: "person,role\nT-01,technician\n",
	anchor:  "person",
	line: func(in *intake, r row) (string, func() (bool, error)) {
		x := r.person()
		return "person " + x.Code, func() (bool, error) {
			return described(in, record.Person, x.Code, x, nil, func(e Entry) error { _, err := in.SettingUp().RegisterPerson(e, in.tx.Now, x); return err })
		}
	},
}

func (r row) person() record.PersonBody {
	return record.PersonBody{Code: r.col["person"].Text(), Role: r.col["role"].Text()}
}
