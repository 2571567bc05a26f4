package web

import (
	"net/http"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/wire/table"
)

// levelsMayOpen is about levels; see mayOpen.
var levelsMayOpen = map[string]string{
	"GET /levels":                    "LIQV",
	"GET /levels/workshop":           "LIQV",
	"GET /levels/compare":            "LIQV",
	"GET /levels/{level}":            "LIQV",
	"POST /levels/workshop/cultures": "LIQV",
	"POST /levels/workshop":          "LI",
}

// levelExamples are the pages about levels; see examples.
func (b *site) levelExamples() []example {
	b.Helper()
	b.levelled()
	adopted := b.adoptedLevel()
	table, err := table.Open("cultures", strings.NewReader(b.someCultures()), table.Profile{}, desk.CultureColumns())
	if err != nil {
		b.Fatal(err)
	}
	all, err := desk.ReadCultures(table)
	if err != nil {
		b.Fatal(err)
	}
	step := func(name, more string) string { return workshopPath + "?" + levelQuery + "&step=" + name + more }
	chosen := "&method=typed&alert=70&action=110"
	cultures := "&cultures=" + packCultures(all)
	return []example{
		{"levels", "/levels", "levels", http.StatusOK, access.Lead},
		{"level with grounds", "/levels/" + adopted + "?done=adopted", "level", http.StatusOK, access.Lead},
		{"workshop", workshopPath, "workshop", http.StatusOK, access.Lead},
		{"workshop, baseline", step(baselineStep, "&doubt=LV-03&why=was+away+for+repair"), "workshop", http.StatusOK, access.Analyst},
		{"workshop, candidates", step(candidatesStep, ""), "workshop", http.StatusOK, access.Lead},
		{"workshop, cultures", step(culturesStep, chosen+cultures+"&prevalence=0.05"), "workshop", http.StatusOK, access.Lead},
		{"workshop, known cleanliness", step(knownStep, chosen), "workshop", http.StatusOK, access.Lead},
		{"workshop, replay", step(replayStep, chosen+cultures), "workshop", http.StatusOK, access.Lead},
		{"workshop, adopt", step(adoptStep, chosen+cultures), "workshop", http.StatusOK, access.Lead},
		{
			"compare, two",
			comparePath + "?" + levelQuery + "&second=typed&second-alert=40&second-action=80" + cultures,
			"compare",
			http.StatusOK,
			access.Auditor,
		},
	}
}

// anyLevel returns the record of a level that was adopted without grounds.
func (b *site) anyLevel() (id string) {
	b.Helper()
	b.look(func(v desk.View) error {
		all, err := v.Studies().LevelTargets()
		for _, t := range all {
			if t.InForce != nil && !t.InForce.Derived {
				id = string(t.InForce.Record)
			}
		}
		return err
	})
	return id
}
