package record

// PersonBody is somebody who works with scopes. Names do not belong in the ledger; the code stands for
// the person.
type PersonBody struct {
	Code string `json:"code"`
	Role string `json:"role,omitempty"`
}
