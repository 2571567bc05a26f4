package record

import "encoding/json"

// Terms is whose terms of the trade a site reads.
type Terms string

// The terms that there are.
const (
	TermsUS Terms = "us"
	TermsUK Terms = "uk"
)

// AllTerms lists the terms that there are, those of a site that says nothing first.
var AllTerms = []Terms{TermsUS, TermsUK}

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
	// Terms is whose terms people read; empty stands for the first of AllTerms.
	Terms Terms `json:"terms,omitempty"`
	// Trial says that the site begins on trial, as every new one does: paper decides until its start is signed. Records
	// that were begun before there was such a signature do not say so.
	Trial bool `json:"trial,omitempty"`
}

// Site records who keeps the records.
const Site Kind = "site"

var site = describe(kind[SiteBody]{
	kind: Site, means: "who keeps the records",
	version: 2, older: []Reader{siteInUse},
	fields: []Field{
		plain("code", "code"), plain("name", "name"), plain("zone", "time zone"), plain("origin", "name of the ledger"),
		plain("vkey", "public key"), plain("terms", "terms of the trade"),
		plain("trial", "begins on trial"),
	},
	words: func(s SiteBody) string { return s.Name },
	kept:  fromOthers,
	example: SiteBody{
		Code: "S1", Name: "Example hospital", Zone: "Europe/Berlin", Origin: "example.org/s1", VKey: "example.org/s1+00000000+AA", Terms: TermsUK, Trial: true,
	},
})

// siteInUse reads version 1, whose sites did not begin on trial.
func siteInUse(body json.RawMessage) (json.RawMessage, error) { return body, nil }
