package scope

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
)

// Owner says whose an instrument is. What is not the facility's own starts its stay unproven.
type Owner string

// The owners.
const (
	Own   Owner = "own"
	Loan  Owner = "loan"
	Trial Owner = "trial"
)

// Words says whose a scope is.
func (o Owner) Words() string {
	switch o {
	case Own:
		return "own scope"
	case Loan:
		return "loaner"
	case Trial:
		return "trial scope"
	}
	return string(o)
}

// Owners lists every owner.
var Owners = []Owner{Own, Loan, Trial}

// Instrument is one endoscope of the fleet.
type Instrument struct {
	// Tag is the facility's own asset tag: the name by which people and records call the scope.
	Tag    string `json:"tag"`
	Serial string `json:"serial,omitempty"`
	// Barcode is the text of the device's own barcode (UDI) as scanned.
	Barcode  string `json:"barcode,omitempty"`
	Model    string `json:"model"`
	Owner    Owner  `json:"owner"`
	Location string `json:"location,omitempty"`
	// InService is when the scope came (or came back) into the facility's hands.
	InService unit.Instant `json:"in_service"`
	// Retired is when it left them for good; zero while it has not.
	Retired unit.Instant `json:"retired,omitzero"`
	// Second is who else signed; empty where one was enough.
	Second string `json:"second,omitempty"`
}

// Check refuses an instrument that records could not be hung on.
func (i Instrument) Check() error {
	switch {
	case i.Tag == "" || strings.TrimSpace(i.Tag) != i.Tag:
		return fmt.Errorf("instrument %q: the asset tag must not be empty nor begin or end with a space", i.Tag)
	case i.Model == "":
		return fmt.Errorf("instrument %q: the model is missing", i.Tag)
	case !slices.Contains(Owners, i.Owner):
		return fmt.Errorf("instrument %q: owner %q is not known; allowed: %s", i.Tag, i.Owner, Words(Owners))
	case !i.InService.Known():
		return fmt.Errorf("instrument %q: since when is it in service?", i.Tag)
	case i.Retired.Known() && i.Retired < i.InService:
		return fmt.Errorf("instrument %q: it would be retired before it came into service", i.Tag)
	}
	return nil
}

// TakesBack says whether a retirement that stands in old would be gone, or begin later, with i in its place.
func (i Instrument) TakesBack(old Instrument) bool {
	return old.Retired.Known() && (!i.Retired.Known() || i.Retired > old.Retired)
}

// Repair is one trip of an instrument to a workshop.
type Repair struct {
	Scope string       `json:"scope"`
	Sent  unit.Instant `json:"sent"`
	// Returned is zero while the scope is away.
	Returned unit.Instant `json:"returned,omitzero"`
	Fault    string       `json:"fault,omitempty"`
	Work     string       `json:"work,omitempty"`
}

// Check refuses a repair that ends before it began.
func (r Repair) Check() error {
	switch {
	case r.Scope == "":
		return fmt.Errorf("repair: the scope is missing")
	case !r.Sent.Known():
		return fmt.Errorf("repair of %s: when was it sent?", r.Scope)
	case r.Returned.Known() && r.Returned < r.Sent:
		return fmt.Errorf("repair of %s: it would be back before it was sent", r.Scope)
	}
	return nil
}
