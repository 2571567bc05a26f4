package record

// SiteBody is who keeps the records.
type SiteBody struct {
	// Code is short and never changes: it is part of every record.
	Code string `json:"code"`
	Name string `json:"name"`
	// Zone is the IANA time zone in which days are counted and times are shown.
	Zone string `json:"zone"`
	// Origin names the ledger in its signed checkpoints.
	Origin string `json:"origin"`
	// VKey is the public key that checks them.
	VKey string `json:"vkey"`
}
