package quality_test

import (
	"fmt"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
)

// A meter is checked each morning with a light source. On the third morning it reads too high, and
// a reading of the day before is in doubt.
func ExampleVerdicts() {
	monday := unit.At(time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC))
	meter := quality.Meter{Code: "M-1", System: "system A"}
	target := quality.Target{
		System: "system A", Kind: quality.Positive, Material: "light source",
		Mean: 3, SD: 0.05, Runs: 24, // 24 own runs around 1000 RLU
		Source: "own runs", Edition: "1", Adopter: "lead", Adopted: monday - 1,
	}
	var controls []quality.Control
	for i, value := range []unit.Number{1_010, 990, 1_450} {
		controls = append(controls, quality.Control{
			ID: ledger.ID(fmt.Sprint("control ", i+1)), Meter: "M-1", Kind: quality.Positive, Material: "light source",
			Value: value, At: monday.AddDays(i, time.UTC), Person: "first shift",
		})
	}
	rules := quality.Rules{Use: quality.MultiRules, WarningFirst: true, AcrossLevels: true}
	verdicts, err := quality.Verdicts(meter, []quality.Target{target}, rules, controls, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, v := range verdicts {
		fmt.Println(v.At.In(time.UTC), v.Outcome, v.Why)
	}

	readings := []quality.Reading{
		{ID: "monday's reading", At: monday.Add(time.Hour)},
		{ID: "tuesday's reading", At: monday.Add(25 * time.Hour)},
	}
	suspects, err := quality.Suspects(verdicts, readings)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range suspects {
		fmt.Println(s.ID, "is suspect")
	}

	state, err := quality.Policy{SameDay: true}.State(verdicts, monday.Add(50*time.Hour), time.UTC)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(state.Condition)
	// Output:
	// 2026-03-02 07:00 +00:00 accepted every control is within its limits
	// 2026-03-03 07:00 +00:00 accepted every control is within its limits
	// 2026-03-04 07:00 +00:00 rejected 1-2s: a control is beyond 2 standard deviations (+3.23); 1-3s: a control is beyond 3 standard deviations (+3.23)
	// tuesday's reading is suspect
	// failed
}

// A new lot of a kit is compared with the old one. How many samples that takes is planned first.
func ExamplePlan_Paired() {
	plan := quality.DefaultPlan()
	n, _, err := plan.Pairs(0.1, 1) // differences of log10 with a standard deviation of 0.1
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("pairs planned:", n)

	meter := quality.Meter{Code: "M-1", System: "system A"}
	oldLot := quality.Setup{Meter: meter, Kit: "rinsate kit", Lot: "L1"}
	newLot := quality.Setup{Meter: meter, Kit: "rinsate kit", Lot: "L2"}
	pairs := []quality.Pair{{Old: 120, New: 131}, {Old: 480, New: 455}, {Old: 950, New: 1_040}, {Old: 2_100, New: 2_080}}
	comparison, err := plan.Paired(oldLot, newLot, pairs)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s, %d more\n", comparison.Answer, comparison.More)
	// Output:
	// pairs planned: 14
	// too few pairs, 16 more
}

// Two people read four samples twice; their log10 shows how much of the spread is the measurement.
func ExampleStudy_Gauge() {
	var measurements []quality.Measurement
	for part, values := range map[string][2][2]unit.Number{
		"sample 1": {{40, 44}, {47, 43}},
		"sample 2": {{150, 139}, {160, 148}},
		"sample 3": {{600, 655}, {640, 660}},
		"sample 4": {{2_100, 1_930}, {2_200, 2_050}},
	} {
		for i, appraiser := range []string{"first shift", "second shift"} {
			for _, v := range values[i] {
				measurements = append(measurements, quality.Measurement{Part: part, Appraiser: appraiser, Value: quality.Log10RLU(v)})
			}
		}
	}
	study, err := quality.NewStudy(measurements)
	if err != nil {
		fmt.Println(err)
		return
	}
	gauge, err := study.Gauge(true, c95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f %% of the study variation, %d categories\n", 100*gauge.GRR.StudyVariation, gauge.Distinct)
	// Output:
	// 3.5 % of the study variation, 40 categories
}
