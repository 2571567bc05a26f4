package figure

import (
	"fmt"
	"math"
	"strconv"

	"rinsate/internal/domain/attribution"
	"rinsate/internal/present/chart"
)

// Effects draws the effects of one source with their intervals, as ratios of what: readings, or odds.
func Effects(title, what string, effects []attribution.Effect) chart.Forest {
	f := chart.Forest{
		Meta: chart.Meta{
			Title: title,
			Desc:  "Each effect is how many times as high " + what + " are, other things equal, shrunk towards 1 the more the fewer readings speak for it. " + caution,
		},
		X:       chart.Axis{Label: what + ", times as high", Scale: chart.Log},
		Null:    1,
		Columns: []string{"readings", "ratio"},
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

// Parts draws how far readings spread from each source, with what none of them explains.
func Parts(title, scale string, parts []attribution.Part) chart.Forest {
	f := chart.Forest{
		Meta: chart.Meta{Title: title, Desc: "How far levels of each source lie apart, other things equal. " + caution},
		X:    chart.Axis{Label: "standard deviation of " + scale}, Null: math.NaN(), Columns: []string{"of the variance"},
	}
	for _, p := range parts {
		e := chart.Effect{Label: PartName(p), Estimate: p.SD, Lo: p.Lo, Hi: p.Hi, Cells: []string{fmt.Sprintf("%.0f %%", 100*p.Share)}}
		if p.Hi == 0 {
			e.Lo, e.Hi = math.NaN(), math.NaN()
		}
		f.Effects = append(f.Effects, e)
	}
	return f
}

// PartName names a part of the spread for a person.
func PartName(p attribution.Part) string {
	if p.Source == "" {
		return "none of these"
	}
	return string(p.Source)
}
