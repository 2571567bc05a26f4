package reprocessing

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
)

// On the first day nothing is on record of scopes that hang in cabinets, reprocessed on paper. Two people may list them
// once, a lead and infection prevention, over photographs of that paper. The list makes a scope ready until its next use
// or the end of the storage that its paper shows. It lifts no hold and stands for nothing else: as soon as anything is
// on record of the scope, the list says nothing of it any more. After a restore the same holds of what the copy lacks.

// StockTake is one scope of a list that two people signed over photographed paper.
type StockTake struct {
	Stamp `json:"-"`
	Scope string `json:"scope"`
	// At is when the list was signed.
	At unit.Instant `json:"at"`
	// By and Second are a lead and somebody of infection prevention, in either order, ByRoles and SecondRoles what they
	// were at that moment.
	By          string        `json:"by"`
	Second      string        `json:"second"`
	ByRoles     []access.Role `json:"by_roles"`
	SecondRoles []access.Role `json:"second_roles"`
	// Cabinet is where it hangs, Until when its storage ends, as its paper shows.
	Cabinet string       `json:"cabinet"`
	Until   unit.Instant `json:"until"`
	// Papers are the records of the photographs.
	Papers []string `json:"papers"`
	// List is the record of the first scope of the same list; empty on that itself.
	List string `json:"list,omitempty"`
}

// Words says in a line what it is.
func (t StockTake) Words() string {
	return fmt.Sprintf("in %s, by %s and %s over %d photographs", t.Cabinet, t.By, t.Second, len(t.Papers))
}

// Check refuses what no list shows.
func (t StockTake) Check() error {
	switch {
	case t.Scope == "" || !t.At.Known():
		return fmt.Errorf("stock-take: the scope or the time is missing")
	case !signedByBoth(t.By, t.Second, t.ByRoles, t.SecondRoles):
		return fmt.Errorf("stock-take of %s: it takes a lead and infection prevention, who are two people", t.Scope)
	case strings.TrimSpace(t.Cabinet) == "":
		return fmt.Errorf("stock-take of %s: in which cabinet does it hang?", t.Scope)
	case !t.Until.Known():
		return fmt.Errorf("stock-take of %s: when does its storage end, by its paper?", t.Scope)
	case t.Until <= t.At:
		return fmt.Errorf("stock-take of %s: its storage is over; reprocess it", t.Scope)
	case len(t.Papers) == 0 || slices.Contains(t.Papers, ""):
		return fmt.Errorf("stock-take of %s: the photograph of its paper is missing", t.Scope)
	}
	return nil
}

// Allowed refuses a stock-take that the rules of its time do not allow: a cabinet that nobody has validated, or a storage
// that is longer than the cabinet keeps a scope.
func (t StockTake) Allowed(rules Rules, zone *time.Location) error {
	c, ok := rules.cabinet(t.Cabinet)
	if !ok {
		names := make([]string, len(rules.Cabinets))
		for i, x := range rules.Cabinets {
			names[i] = x.Name
		}
		return fmt.Errorf("stock-take of %s: cabinet %q is not in the rule set; it has: %s", t.Scope, t.Cabinet, strings.Join(names, ", "))
	}
	most := t.At.Add(time.Duration(c.Hours) * time.Hour)
	if c.Days > 0 {
		most = t.At.AddDays(c.Days, zone)
	}
	if t.Until > most {
		return fmt.Errorf("stock-take of %s: stored until %s would be longer than %s keeps a scope, which is to %s at most",
			t.Scope, t.Until.In(zone), c.Name, most.In(zone))
	}
	return nil
}

// signedByBoth says whether two people signed of whom one is a lead and the other of infection prevention.
func signedByBoth(by, second string, byRoles, secondRoles []access.Role) bool {
	is := func(lead, prevention []access.Role) bool {
		return slices.Contains(lead, access.Lead) && slices.Contains(prevention, access.InfectionPrevention)
	}
	return by != "" && second != "" && access.Key(by) != access.Key(second) && (is(byRoles, secondRoles) || is(secondRoles, byRoles))
}
