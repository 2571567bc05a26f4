package level

import (
	"fmt"
	"math"
	"strconv"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
)

// Assumes says what a method takes for granted.
func (m Method) Assumes() string {
	switch m {
	case LogNormal:
		return "Takes the logarithms of the readings as normally distributed, by maximum likelihood, and all readings as independent."
	case Free:
		return "Takes no distribution at all, only that all readings are independent."
	case FreeEffective:
		return "Takes no distribution, and counts readings of the same scope as the number of independent ones that they are worth."
	case ScopeBootstrap:
		return "Takes whole scopes anew at random many times, so that readings of one scope stay together; wants many scopes."
	}
	return ""
}

// Sentence says what the candidate for a percentile means, for a person. level names it: alert or action.
func (c Candidate) Sentence(level string, p stats.Probability, plan Plan) string {
	if c.Refused != "" {
		return fmt.Sprintf("No %s level by this method: %s.", level, c.Refused)
	}
	share := percentOf(p.String())
	text := fmt.Sprintf("About %s %% of such readings are at or below %s RLU", share, whole(c.Estimate))
	if c.Interval != nil {
		text += fmt.Sprintf(" (with %s %% confidence the true limit lies from %s to %s)", percent(plan.Confidence), whole(c.Interval.Lo), whole(c.Interval.Hi))
	}
	if plan.Take == Estimate {
		return text + fmt.Sprintf("; that estimate itself becomes the %s level: %s RLU.", level, c.Level)
	}
	return text + fmt.Sprintf("; with %s %% confidence at least %s %% are at or below %s RLU, which makes the %s level %s RLU.",
		strconv.FormatFloat(math.Round(1000*float64(c.Achieved))/10, 'f', -1, 64), share, whole(c.Upper), level, c.Level)
}

func whole(n unit.Number) string { return fmt.Sprintf("%.0f", float64(n)) }
