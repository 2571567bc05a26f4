package record

import (
	"fmt"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// SuspectBody takes the trust from readings of one scope, because a check of their meter failed, or because the lot of
// their kit must not have been used. They stay on record; a reading that passed does not count any more.
type SuspectBody struct {
	Scope string `json:"scope"`
	Meter string `json:"meter,omitempty"`
	// Check is the record of the failed check, At when it was made.
	Check ledger.ID `json:"check,omitempty"`
	// Kit and Lot are what must not have been used since At, Edition the record that says so; empty where it is a meter.
	Kit     string       `json:"kit,omitempty"`
	Lot     string       `json:"lot,omitempty"`
	Edition ledger.ID    `json:"edition,omitempty"`
	At      unit.Instant `json:"at"`
	// Since is the last good check before, zero when there was none.
	Since    unit.Instant `json:"since,omitzero"`
	Reason   string       `json:"reason"`
	Readings []ledger.ID  `json:"readings"`
}

// Suspect records that readings are not relied on any more, because a check of their meter failed or their lot must not
// have been used.
const Suspect Kind = "suspect"

var suspect = describe(kind[SuspectBody]{
	kind: Suspect, means: "that readings are not relied on any more, because a check of their meter failed or their lot must not have been used",
	scope: "scope", time: "at", word: "check",
	fields: []Field{
		found("scope", "", ByScope), found("meter", "", ByMeter), names("check", "failed check", "the check that failed"),
		found("kit", "", ByKit), found("lot", "", ByLot), names("edition", "recall or expiry", "what says that the lot must not have been used"), plain("at", ""),
		plain("since", "last good check before"), plain("reason", "reason"), plain("readings", "readings"),
		names("readings[]", "reading", "a reading that it is about"),
	},
	tables:   func(x SuspectBody, p *Placing) { p.Suspect = x.Readings },
	words:    func(x SuspectBody) string { return doubted(len(x.Readings)) + ": " + x.Reason },
	kept:     fromOthers,
	followed: "Readings are not relied on any more",
	example: SuspectBody{
		Scope: "D-01", Meter: "M-1", Check: ledger.ID(exampleID("check")), At: exampleAt, Reason: "a check of meter M-1 failed",
		Readings: []ledger.ID{ledger.ID(exampleID("reading"))},
	},
})

func doubted(n int) string {
	if n == 1 {
		return "1 reading"
	}
	return fmt.Sprintf("%d readings", n)
}
