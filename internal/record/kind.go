package record

import (
	"strings"

	"rinsate/internal/base/ledger"
)

// Kind is what a record is a record of.
type Kind string

// The kinds of records.
const (
	Site         Kind = "site"
	Model        Kind = "model"
	Instrument   Kind = "instrument"
	Meter        Kind = "meter"
	Lot          Kind = "lot"
	Person       Kind = "person"
	Rules        Kind = "rules"
	Level        Kind = "level"
	Use          Kind = "use"
	Step         Kind = "step"
	Sample       Kind = "sample"
	Moment       Kind = "moment"
	Reading      Kind = "reading"
	Verification Kind = "verification"
	Hold         Kind = "hold"
	Lift         Kind = "lift"
	Repair       Kind = "repair"
	Request      Kind = "request"
	Void         Kind = "void"
	Selection    Kind = "selection"
	Import       Kind = "import"
	Target       Kind = "target"
	Check        Kind = "check"
	Suspect      Kind = "suspect"
	Comparison   Kind = "comparison"
	Chart        Kind = "chart"
	Access       Kind = "access"
	Attachment   Kind = "attachment"
	Handover     Kind = "handover"
	Signal       Kind = "signal"
	Erasure      Kind = "erasure"
	Clock        Kind = ledger.TypeClock
)

// KindOf returns the kind of a record.
func KindOf(r ledger.Record) Kind { return Kind(r.Type) }

// Called returns a kind of record with its article, such as "a hold" and "an attachment". All kinds that
// begin with a vowel sound begin with another letter than u.
func Called(k Kind) string {
	switch {
	case k == Verification:
		return "a cleaning verification"
	case k == Selection:
		return "a random selection"
	case strings.ContainsRune("aeio", rune(k[0])):
		return "an " + string(k)
	}
	return "a " + string(k)
}
