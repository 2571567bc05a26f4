package record

// PersonBody is somebody who works with scopes. Names do not belong in the ledger; the code stands for
// the person.
type PersonBody struct {
	Code string `json:"code"`
	Role string `json:"role,omitempty"`
}

// Person records a person who works with scopes, by code.
const Person Kind = "person"

var person = describe(kind[PersonBody]{
	kind: Person, means: "a person who works with scopes, by code",
	key:     "code",
	fields:  []Field{found("code", "", ByPerson), plain("role", "role")},
	words:   func(p PersonBody) string { return listed(p.Code, p.Role) },
	file:    "people",
	example: PersonBody{Code: "T-01", Role: "technician"},
})
