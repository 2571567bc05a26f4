package quality

import (
	"fmt"
	"strings"
	"time"

	"rinsate/internal/base/unit"
)

// Meter is one instrument that reads samples. Meters of one system count on the same scale.
type Meter struct {
	Code   string `json:"code"`
	System string `json:"system"`
	Serial string `json:"serial,omitempty"`
	// Retired is since when it is out of service for good; zero while it is not.
	Retired unit.Instant `json:"retired,omitzero"`
	// Second is who else signed that it is of another system than before.
	Second string `json:"second,omitempty"`
}

// Check refuses a meter without a code or a system.
func (m Meter) Check() error {
	if m.Code == "" || m.System == "" {
		return fmt.Errorf("meter %q: give a code and the meter system %q", m.Code, m.System)
	}
	return nil
}

// Lot is one lot of a kit.
type Lot struct {
	Kit string `json:"kit"`
	Lot string `json:"lot"`
	// Expires is the first instant at which the lot must not be used any more.
	Expires unit.Instant `json:"expires"`
	// Recalled is since when it must not be used although it is in date; zero when it may.
	Recalled unit.Instant `json:"recalled,omitzero"`
	// Cleared is the second person with whom the last recall was taken back; empty when none was.
	Cleared string `json:"cleared,omitempty"`
}

// Key tells a lot from all others.
func (l Lot) Key() string { return l.Kit + "|" + l.Lot }

// Same says whether two lots are one, whatever the case of the letters and the spaces around them.
func (l Lot) Same(other Lot) bool {
	same := func(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) }
	return same(l.Kit, other.Kit) && same(l.Lot, other.Lot)
}

// TakesBack says whether a recall that stands in old would be gone, or begin later, with l in its place.
func (l Lot) TakesBack(old Lot) bool {
	return old.Recalled.Known() && (!l.Recalled.Known() || l.Recalled > old.Recalled)
}

// Check refuses a lot that cannot be told from others or has no expiry.
func (l Lot) Check() error {
	if l.Kit == "" || l.Lot == "" || !l.Expires.Known() {
		return fmt.Errorf("lot %q of kit %q: give kit, lot and expiry", l.Lot, l.Kit)
	}
	return nil
}

// Fault says why the lot must not be used at an instant; empty when it may.
func (l Lot) Fault(at unit.Instant) string {
	switch {
	case l.Recalled.Known() && l.Recalled <= at:
		return fmt.Sprintf("lot %s of kit %s is recalled", l.Lot, l.Kit)
	case l.Expires <= at:
		return fmt.Sprintf("lot %s of kit %s expired at %s", l.Lot, l.Kit, l.Expires)
	}
	return ""
}

// soon is how long before its expiry a lot is told of, so that another can be ordered and compared with it.
// Source: common practice.
const soon = 14 * 24 * time.Hour

// EndsSoon says whether a lot that may be used at an instant expires before long.
func (l Lot) EndsSoon(at unit.Instant) bool {
	return l.Fault(at) == "" && l.Expires < at.Add(soon)
}
