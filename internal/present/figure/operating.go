package figure

import (
	"fmt"
	"math"
	"slices"

	"rinsate/internal/desk"
)

// curveSteps is how many points a drawn curve has.
const curveSteps = 80

// OperatingCurves are what a level does to scopes from a tenth of an action level to ten times of it: for
// each number of points how likely they are cleaned again and, where there is more than one cleaning, how
// likely they are put on hold. name stands before each label; action is that on which the medians are centred.
func OperatingCurves(o desk.Operating, name string, action float64) ([]Curve, error) {
	var curves []Curve
	for _, points := range o.Points {
		for _, cleanings := range o.Cleanings {
			held := Curve{Label: fmt.Sprintf("%s%s, on hold after %d", name, countOf(points, "point"), cleanings)}
			again := Curve{Label: fmt.Sprintf("%s%s, cleaned again", name, countOf(points, "point"))}
			for i := range curveSteps + 1 {
				m := action * math.Pow(10, -1+2*float64(i)/curveSteps)
				x, err := o.At(m, points, cleanings)
				if err != nil {
					return nil, err
				}
				held.X, held.P = append(held.X, m), append(held.P, x.Hold)
				again.X, again.P = append(again.X, m), append(again.P, x.Over)
			}
			if !slices.ContainsFunc(curves, func(c Curve) bool { return c.Label == again.Label }) {
				curves = append(curves, again)
			}
			if cleanings > 1 {
				curves = append(curves, held)
			}
		}
	}
	return curves, nil
}

func countOf(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
