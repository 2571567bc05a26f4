package figure

import (
	"fmt"
	"strconv"

	"rinsate/internal/attribution"
	"rinsate/internal/chart"
)

// Effects draws the effects of one source with their intervals, as ratios of what: readings, or odds.
func Effects(title, what string, effects []attribution.Effect) chart.Forest {
	f := chart.Forest{
		Meta: chart.Meta{Title: title, Desc: "Each effect is how many times as high " + what + " are, other things equal, shrunk towards 1 the more the fewer readings speak for it. " + caution},
		X:    chart.Axis{Label: what + ", times as high", Scale: chart.Log}, Null: 1, Columns: []string{"readings", "ratio"},
	}
	for _, e := range effects {
		if !e.Ranked {
			continue
		}
		f.Effects = append(f.Effects, chart.Effect{
			Label: e.Name, Estimate: e.Ratio, Lo: e.Lo, Hi: e.Hi,
			Cells: []string{strconv.Itoa(e.Rows), fmt.Sprintf("%.2f", e.Ratio)},
		})
	}
	return f
}
