package web

import (
	"fmt"
	"math"
	"math/rand/v2"
	"net/url"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

// levelScopes is how many scopes the readings for levels are of.
const levelScopes = 12

func levelScope(i int) string { return fmt.Sprintf("LV-%02d", i%levelScopes) }

// levelQuery is what they are read at, as the addresses of the workshop have it.
var levelQuery = url.Values{"system": {"A"}, "kit": {"K"}, "point": {string(scope.InstrumentLumen)}}.Encode()

// levelDays is how many days ago the first of them was made.
const levelDays = 40

// levelled writes a past of log-normal readings, about a hundred at each of three points, if it is not
// there yet.
func (b *site) levelled() {
	b.Helper()
	there := false
	b.look(func(v desk.View) error {
		fleet, err := v.Registry().Instruments()
		for _, i := range fleet {
			there = there || i.Tag == levelScope(0)
		}
		return err
	})
	if there {
		return
	}
	begin := b.at().Add(-levelDays * 24 * time.Hour)
	b.do("L-01", func(w *desk.Work, e desk.Entry) (r desk.Receipt, err error) {
		for i := range levelScopes {
			if r, err = w.SettingUp().
				RegisterInstrument(e, begin, scope.Instrument{Tag: levelScope(i), Model: duodenoscope.Name, Owner: scope.Own, InService: begin}); err != nil {
				return r, err
			}
		}
		return r, nil
	})
	rng := rand.New(rand.NewPCG(7, 7))
	drawn := map[int]int{}
	past := storetest.Past{At: begin, Every: 9 * time.Hour, RLU: func(n int) int {
		if _, ok := drawn[n]; !ok {
			drawn[n] = int(math.Round(math.Exp(3.5 + 0.7*rng.NormFloat64())))
		}
		return drawn[n]
	}}
	err := b.desk.DB.Write(b.Context(), func(tx *store.Tx) error {
		for i := range 8 * levelScopes {
			if err := past.Cycle(tx, levelScope(i)); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	b.clock.Move(time.Minute)
}

// someCultures are cultures of the scopes for levels, some of them positive, as a person would paste them.
func (b *site) someCultures() string {
	b.Helper()
	text := []string{"scope,taken,positive"}
	at := b.at().Add(-2 * 24 * time.Hour)
	for i := range levelScopes {
		text = append(text, fmt.Sprintf("%s,%s,%s", levelScope(i), at.Time().Format(time.RFC3339), map[bool]string{true: "yes", false: "no"}[i%3 == 0]))
	}
	return strings.Join(text, "\n") + "\n"
}

// adoptedLevel returns the record of a level that was adopted with its grounds; it is made the first time.
func (b *site) adoptedLevel() (id string) {
	b.Helper()
	b.levelled()
	const edition = "derived here"
	b.look(func(v desk.View) error {
		all, err := v.Studies().LevelTargets()
		for _, t := range all {
			if t.InForce != nil && t.InForce.Edition == edition {
				id = string(t.InForce.Record)
			}
		}
		return err
	})
	if id != "" {
		return id
	}
	study := desk.Study{From: b.at().Add(-levelDays * 24 * time.Hour), To: b.at()}
	q := asked{"system": {"A"}, "kit": {"K"}, "point": {string(scope.OuterDistalEnd)}, "kind": {string(scope.Duodenoscope)}}
	t, _, err := q.target()
	if err == nil {
		study.Plan, err = q.plan(t)
	}
	if err != nil {
		b.Fatal(err)
	}
	l := reading.Level{
		System:     "A",
		Kit:        "K",
		Point:      t.Point,
		Kind:       t.Kind,
		Analyte:    reading.ATP,
		Unit:       reading.RLU,
		Alert:      70,
		Action:     unit.Number(110),
		Comparison: reading.Over,
		Source:     ownSource,
		Edition:    edition,
		Adopter:    "L-01",
		Adopted:    b.at(),
	}
	r := b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		g, err := w.Studies().Grounds(l, study, desk.Costs{SampleMinutes: 8, CleaningMinutes: 16}, nil)
		if err != nil {
			return desk.Receipt{}, err
		}
		g.Note = "a trial for a quarter"
		return w.OnSignals().AdoptDerived(e, l, g)
	})
	b.clock.Move(time.Second)
	return string(r.Record.ID)
}
