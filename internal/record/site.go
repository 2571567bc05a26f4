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

var site = describe(kind[SiteBody]{
	kind: Site, means: "who keeps the records",
	fields: []Field{
		plain("code", "code"), plain("name", "name"), plain("zone", "time zone"), plain("origin", "name of the ledger"),
		plain("vkey", "public key"),
	},
	words:   func(s SiteBody) string { return s.Name },
	kept:    fromOthers,
	example: SiteBody{Code: "S1", Name: "Example hospital", Zone: "Europe/Berlin", Origin: "example.org/s1", VKey: "example.org/s1+00000000+AA"},
})
