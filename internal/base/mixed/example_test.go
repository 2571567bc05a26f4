package mixed_test

import (
	"fmt"

	"rinsate/internal/base/mixed"
	"rinsate/internal/base/stats"
)

// How much of the scatter between yields comes from the batch? Davies & Goldsmith's dyestuff data.
func ExampleFitLinear() {
	batch := mixed.Factor{Name: "batch", Levels: []string{"A", "B", "C", "D", "E", "F"}}
	yields := []float64{
		1545, 1440, 1440, 1520, 1580,
		1540, 1555, 1490, 1560, 1495,
		1595, 1550, 1605, 1510, 1560,
		1445, 1440, 1595, 1465, 1545,
		1595, 1630, 1515, 1635, 1625,
		1520, 1455, 1450, 1480, 1445,
	}
	for row := range yields {
		batch.Index = append(batch.Index, int32(row/5))
	}
	fit, err := mixed.FitLinear(mixed.Design{Response: yields, Random: []mixed.Factor{batch}}, mixed.REML)
	if err != nil {
		fmt.Println(err)
		return
	}
	term := fit.Terms[0]
	interval, err := fit.Profile(term.Name, stats.MustConfidence("0.95"))
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("mean %.1f ± %.1f\n", fit.Fixed[0].Estimate, fit.Fixed[0].SE)
	fmt.Printf("%s: SD %.1f (95 %% %.1f to %.1f), %.0f %% of the variance\n",
		term.Name, term.SD, interval.Lo, interval.Hi, 100*term.Share)
	fmt.Printf("within: SD %.1f\n", fit.Residual.SD)
	e := term.Effects[4]
	fmt.Printf("batch %s: %+.1f ± %.1f\n", e.Level, e.Mode, e.SE)
	// Output:
	// mean 1527.5 ± 19.4
	// batch: SD 42.0 (95 % 15.7 to 101.1), 42 % of the variance
	// within: SD 49.5
	// batch E: +56.7 ± 24.8
}
