package record

import (
	"strings"

	"rinsate/internal/base/ledger"
)

// Kind is what a record is a record of. Each has its constant beside its descriptor.
type Kind string

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
