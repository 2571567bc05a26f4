package reprocessing

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// Emergency says of a use that somebody decided for it whatever the release check said. It changes nothing about what
// the use means: a scope that was not ready is put on hold by it as by any other use.
type Emergency struct {
	Reason EmergencyReason `json:"why"`
	Words  string          `json:"words,omitempty"`
	// Decided names who decided for it, by code or name, as whoever recorded it wrote.
	Decided string `json:"decided"`
	// Unsigned says that nobody had signed in where it was recorded, so that nothing shows who did.
	Unsigned bool `json:"unsigned,omitempty"`
	// State and Short are what the release check said when it was recorded, and how far from ready that was.
	State string `json:"state,omitempty"`
	Short string `json:"short,omitempty"`
	// First is the record that first said so, where another took its place.
	First string `json:"first,omitempty"`
}

// EmergencyReason is why a patient could not wait.
type EmergencyReason string

// The reasons. They are stored with uses.
const (
	LifeInDanger EmergencyReason = "life"
	CannotWait   EmergencyReason = "cannot-wait"
	HasBegun     EmergencyReason = "begun"
	NoneReady    EmergencyReason = "none-ready"
	OtherReason  EmergencyReason = "other"
)

// EmergencyReasons lists every reason, the gravest first.
var EmergencyReasons = []EmergencyReason{LifeInDanger, CannotWait, HasBegun, NoneReady, OtherReason}

// Words says a reason as people do.
func (r EmergencyReason) Words() string {
	switch r {
	case LifeInDanger:
		return "the patient's life is in danger"
	case CannotWait:
		return "the patient cannot wait until another scope is ready"
	case HasBegun:
		return "the procedure has begun already"
	case NoneReady:
		return "no other scope that fits is ready"
	case OtherReason:
		return "another reason, said in words"
	}
	return string(r)
}

// explainedReasons lists the reasons as they are typed, each with what it means.
func explainedReasons() string {
	all := make([]string, len(EmergencyReasons))
	for i, r := range EmergencyReasons {
		all[i] = fmt.Sprintf("%s (%s)", r, r.Words())
	}
	return strings.Join(all, ", ")
}

// Says says whether a text says anything: it has a letter or a digit.
func Says(s string) bool {
	return strings.ContainsFunc(s, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) })
}

// Known says whether there was an emergency at all.
func (m Emergency) Known() bool { return m != Emergency{} }

// check refuses an emergency that nobody could look into afterwards.
func (m Emergency) check(tag string) error {
	switch {
	case !m.Known():
		return nil
	case !slices.Contains(EmergencyReasons, m.Reason):
		return fmt.Errorf("emergency use of %s: why could the patient not wait? One of: %s", tag, explainedReasons())
	case m.Reason == OtherReason && !Says(m.Words):
		return fmt.Errorf("emergency use of %s: say in words what the reason was, or choose one of: %s", tag, explainedReasons())
	case !Says(m.Decided):
		return fmt.Errorf("emergency use of %s: who decided? Give a name or a code", tag)
	}
	return nil
}
