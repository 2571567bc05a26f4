package desk

import (
	"fmt"

	"rinsate/internal/domain/access"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// People is a file of codes of people.
const People Kind = "people"

var fileOfPeople = fileKind{
	kind: People, about: "a person's code, without a name",
	columns: []table.Field{
		required(textColumn("person", "code of the person; no names")),
		textColumn("role", "what the person does here, one of: "+access.Words(access.Roles)),
	},
	example: "person,role\nT-01,technician\n",
	anchor:  "person",
	line: func(in *intake, r row) (string, func() (bool, error)) {
		x := r.person()
		return "person " + x.Code, func() (bool, error) {
			if len(access.RolesOf(x.Role)) == 0 {
				in.out.Warnings = append(in.out.Warnings, fmt.Sprintf(
					"person %s: %q is no role here, so that what %s does proves nothing by itself and has to be attested; roles are: %s",
					x.Code, x.Role, x.Code, access.Words(access.Roles)))
			}
			return described(in, record.Person, x.Code, x, nil, func(e Entry) error { _, err := in.SettingUp().RegisterPerson(e, in.tx.Now, x); return err })
		}
	},
}

func (r row) person() record.PersonBody {
	return record.PersonBody{Code: r.col["person"].Text(), Role: r.col["role"].Text()}
}
