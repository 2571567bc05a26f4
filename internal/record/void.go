package record

// VoidBody is the body of a record that voids another; the envelope names it and says why.
type VoidBody struct {
	Scope string `json:"scope,omitempty"`
}
