package record

// ImportBody is the trace of a file that was read in.
type ImportBody struct {
	File    string `json:"file"`
	Kind    string `json:"kind"`
	Digest  string `json:"sha256"`
	Rows    int    `json:"rows"`
	Stored  int    `json:"stored"`
	Profile string `json:"profile_sha256,omitempty"`
}
