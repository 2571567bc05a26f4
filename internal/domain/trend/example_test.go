package trend_test

import (
	"fmt"
	"math/rand/v2"

	"rinsate/internal/domain/trend"
)

// A series of one reading a day: thirty of them make the baseline, the limits follow from “one false
// signal a month in 1,200 readings”, and from the 16th reading after the baseline on they are higher.
func Example() {
	random := rand.New(rand.NewPCG(7, 1))
	baseline, err := trend.NewBaseline(key(), series(random, 0, 30, 0))
	if err != nil {
		fmt.Println(err)
		return
	}
	design, err := trend.NewDesign(trend.Promise{
		FalseSignals: 1, Readings: 1200, Baseline: baseline.Readings(),
		Charts: trend.Charts{Individuals: true, EWMA: true, CUSUM: true},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	monitor, err := trend.NewMonitor(baseline, design)
	if err != nil {
		fmt.Println(err)
		return
	}
	// 1.5 sigma of the stable series is a factor of 10^0.45 = 2.8 in RLU.
	watched, err := monitor.Run(append(series(random, 30, 15, 0), series(random, 45, 25, 1.5)...))
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range design.Shares {
		fmt.Printf("%s: limit %.2f, finds 2 sigma in %.0f readings\n", s.Chart, float64(s.Limit), float64(s.Delays[2].Readings))
	}
	for _, a := range watched.Signals {
		fmt.Printf("%s since reading %d (%d to %d), first by %s at reading %d\n", a.Direction, a.Since.Index+1, a.Since.Lo+1, a.Since.Hi+1,
			a.First.Chart, a.First.Index+1)
		fmt.Println(a.Words)
	}
	// Output:
	// individuals: limit 4.24, finds 2 sigma in 80 readings
	// ewma: limit 4.52, finds 2 sigma in 7 readings
	// cusum: limit 14.77, finds 2 sigma in 11 readings
	// higher since reading 18 (15 to 19), first by ewma at reading 23
	// The readings are higher than in the baseline: find out what changed in the cleaning of this scope. The weighted mean of the latest readings is 1.6 standard deviations above the baseline (limit 1.5). Most likely since the reading of 2026-02-17T00:00:00Z (95 % confidence: after 2026-02-13T00:00:00Z, not later than 2026-02-18T00:00:00Z), from about 42 to about 150 RLU.
}
