package record

import (
	"time"

	"rinsate/internal/base/unit"
)

// lateAfter is how long after the event an entry counts as late.
const lateAfter = 15 * time.Minute

// Late says whether an entry was written so long after the event that it is shown as late. What is
// written at the end of a step that took an hour is not late: at is the last instant that it speaks of.
func Late(at, recorded unit.Instant) bool { return recorded.Sub(at) > lateAfter }
