package reprocessing

import (
	"fmt"
	"slices"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
)

// A site begins on trial: people record what they do, the answer is computed as ever, and paper decides whether a scope
// is used. That ends when a lead and infection prevention sign the start, together and once. Until then no answer is a
// plain yes, and a use of a scope of which nothing is on record says nothing about what was done on paper. What speaks
// against a scope counts from the first day on.
//
// Records that were begun before there was such a signature are not on trial, since they were relied on, and have not
// been started either: their uses are weighed as those of any site, and no answer is a plain yes until the start is
// signed.

// StartNote is the start of a site: that from now on the records decide, as two people have signed.
type StartNote struct {
	Stamp `json:"-"`
	At    unit.Instant `json:"at"`
	// By and Second are a lead and somebody of infection prevention, in either order, ByRoles and SecondRoles what they
	// were at that moment.
	By          string        `json:"by"`
	Second      string        `json:"second"`
	ByRoles     []access.Role `json:"by_roles"`
	SecondRoles []access.Role `json:"second_roles"`
	// Founders are those who had roles then that nobody granted, as the two have seen them.
	Founders []Founder `json:"founders"`
}

// Founder is somebody with roles of the time before the start.
type Founder struct {
	Code  string        `json:"code"`
	Roles []access.Role `json:"roles"`
}

// Words says in a line what it is.
func (n StartNote) Words() string {
	return fmt.Sprintf("the start, signed by %s and %s", n.By, n.Second)
}

// Check refuses a start that is not signed by a lead and infection prevention.
func (n StartNote) Check() error {
	switch {
	case !n.At.Known():
		return fmt.Errorf("start: when is it signed?")
	case !signedByBoth(n.By, n.Second, n.ByRoles, n.SecondRoles):
		return fmt.Errorf("start: it takes a lead and infection prevention, who are two people")
	}
	return nil
}

// Opening is how far a site has come: whether it began on trial, and its start once that is signed.
type Opening struct {
	Trial bool
	Start *StartNote
}

// Decides says whether the records decide at an instant, and not paper.
func (o Opening) Decides(at unit.Instant) bool { return o.Start != nil && o.Start.At <= at }

// OnTrial says whether the site is on trial at an instant.
func (o Opening) OnTrial(at unit.Instant) bool { return o.Trial && !o.Decides(at) }

// Why says why paper decides, empty where the records do.
func (o Opening) Why(at unit.Instant) string {
	switch {
	case o.Decides(at):
		return ""
	case o.Trial:
		return "on trial: paper decides until a lead and infection prevention sign the start"
	}
	return "the start is not signed: paper decides until a lead and infection prevention sign it"
}

// Said returns an answer as it may be given: while paper decides it is never a plain yes, and says so.
func (o Opening) Said(a Answer, zone *time.Location) Answer {
	why := o.Why(a.At)
	if why == "" {
		return a
	}
	a.Paper = &Paper{Why: why, Here: a.State, Until: a.Until}
	if a.State != Ready {
		return a
	}
	here := why + "; here: ready"
	if a.Until.Known() {
		here += " until " + a.Until.In(zone)
	}
	a.State, a.Until = PaperDecides, 0
	a.Reasons = slices.Insert(slices.Clone(a.Reasons), 0, Reason{Text: here, Blocks: true})
	a.Next = append(slices.Clone(a.Next), "go by the paper; a lead and infection prevention sign the start once the records can be relied on")
	return a
}
