package reading

import (
	"fmt"
	"math"
	"slices"

	"rinsate/internal/base/unit"
)

// The ratio to the usual value from which a value is typed twice, and how many earlier values make one
// usual. A digit too many or too few changes a number about tenfold (common practice).
const (
	tenfold    = 10
	fewestUsed = 5
)

// Retype says why a value should be typed a second time before it is believed; empty when it need not
// be. That is so when a level lies within the imprecision of a single reading (Judgement.Near), and when
// the value is ten times more or less than usual. usual are earlier values of the same point of the same
// scope on the same scale, in the unit of j.Judged; fewer than five make nothing usual. Values below 1
// count as 1, so that a 0 after single-digit values is no surprise.
func Retype(j Judgement, usual []unit.Number) string {
	if j.Near {
		return "it is near a level"
	}
	if j.Judged.Word != "" || len(usual) < fewestUsed {
		return ""
	}
	sorted := slices.Sorted(slices.Values(usual))
	middle := sorted[len(sorted)/2]
	ratio := math.Max(1, float64(j.Judged.Number)) / math.Max(1, float64(middle))
	if ratio >= tenfold || ratio <= 1./tenfold {
		return fmt.Sprintf("usual here is about %s", middle)
	}
	return ""
}
