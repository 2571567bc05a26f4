package record

import (
	"strings"

	"rinsate/internal/base/ledger"
)

// Kind is what a record is a record of.
type Kind string

// The kinds of records.
const (
	Site       Kind = "site"
	Model      Kind = "model"
	Instrument Kind = "instrument"
	Meter      Kind = "meter"
	Lot        Kind = "lot"
	Person     Kind = "person"
	Rules      Kind = "rules"
	Level      Kind = "level"
	Use        Kind = "use"
	Step       Kind = "step"
	Sample     Kind = "sample"
	Moment     Kind = "moment"
	Reading    Kind = "reading"
	Round      Kind = "round"
	Hold       Kind = "hold"
	Lift       Kind = "lift"
	Repair     Kind = "repair"
	Request    Kind = "request"
	Void       Kind = "void"
	Draw       Kind = "draw"
	Import     Kind = "import"
	Target     Kind = "target"
	Check      Kind = "check"
	Suspect    Kind = "suspect"
	Comparison Kind = "comparison"
	Chart      Kind = "chart"
	Access     Kind = "access"
	Attachment Kind = "attachment"
	Handover   Kind = "handover"
	Alarm      Kind = "alarm"
	Erasure    Kind = "erasure"
	Clock      Kind = ledger.TypeClock
)

// KindOf returns the kind of a record.
func KindOf(r ledger.Record) Kind { return Kind(r.Type) }

// Called returns a kind of record with its article, such as "a hold" and "an attachment". All kinds that
// begin with a vowel sound begin with another letter than u.
func Called(k Kind) string {
	if strings.HasPrefix(string(k), "a") || strings.HasPrefix(string(k), "e") || strings.HasPrefix(string(k), "i") || strings.HasPrefix(string(k), "o") {
		return "an " + string(k)
	}
	return "a " + string(k)
}
