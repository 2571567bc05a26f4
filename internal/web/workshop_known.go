package web

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/reading"
	"rinsate/internal/present/figure"
	"rinsate/internal/store"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// knownView shows what a level does to scopes of known cleanliness.
type knownView struct {
	// Spread is what was taken, Source where from; Points and Cleanings are what was tried.
	Spread, Source, Points, Cleanings string
	Picture                           kit.Picture
	Lines                             [][]string
	Exports                           kit.Exports
}

// mostCurves is how many curves can be told apart.
const mostCurves = 6

// knownHeader are the columns of the table of a curve.
var knownHeader = []string{"points", "cleanings at most", "true median RLU", "cleaned again", "alert", "on hold", "cleanings", "samples", "minutes"}

// Header are the columns of Lines.
func (*knownView) Header() []string { return knownHeader }

func (s levelPages) fillKnown(x *kit.Exchange, page *workshopPage, d desk.Studied, l reading.Level) error {
	k := &knownView{Exports: page.exports(x, knownStep), Points: page.Value("points"), Cleanings: page.Value("cleanings"), Spread: page.Value("spread")}
	page.Known = k
	o, source, err := s.operating(x, page.q, d, 1, 3)
	if err != nil {
		return err
	}
	o.Level = l
	k.Source, k.Spread, k.Points, k.Cleanings = source, threePlaces(o.Spread), numberList(o.Points), numberList(o.Cleanings)
	lines, err := o.Lines()
	if err != nil {
		return err
	}
	for _, n := range lines {
		k.Lines = append(k.Lines, []string{
			strconv.Itoa(n.Points), strconv.Itoa(n.Cleanings), fmt.Sprintf("%.0f", n.Median), chanceText(n.Over), chanceText(n.Alert), chanceText(n.Hold),
			fmt.Sprintf("%.2f", n.Operation.Cleanings), fmt.Sprintf("%.1f", n.Samples), fmt.Sprintf("%.0f", n.Minutes),
		})
	}
	curves, err := figure.OperatingCurves(o, "", float64(l.Action))
	if err != nil {
		return err
	}
	if len(curves) > mostCurves {
		return mistyped("These are %d curves, and more than %d cannot be told apart. Ask for fewer points or cleanings.", len(curves), mostCurves)
	}
	title := fmt.Sprintf("What an action level of %s RLU does", l.Action)
	k.Picture = kit.Pictured("known", figure.Operation(title, spreadWords(o), curves, l))
	return nil
}

// operating reads what a level is asked about scopes of known cleanliness; points are what is usual. The
// spread is that of the readings when nothing else is said, which source then tells.
func (s levelPages) operating(x *kit.Exchange, q asked, d desk.Studied, points ...int) (o desk.Operating, source string, err error) {
	if o.Costs, err = q.costs(); err != nil {
		return o, "", err
	}
	if o.Points, err = q.wholes("points", "Points in a cleaning verification", points...); err != nil {
		return o, "", err
	}
	err = s.View(x.R.Context(), func(v desk.View) error {
		rules, err := v.Registry().Rules(v.Now(), store.Forever)
		if err != nil {
			return err
		}
		o.Retest = rules.Reading.Retest
		usual := []int{1, rules.Reading.Cleanings}
		if rules.Reading.Cleanings == 1 || len(points) == 1 {
			usual = usual[1:]
		}
		o.Cleanings, err = q.wholes("cleanings", "Cleanings", usual...)
		return err
	})
	if err != nil {
		return o, "", err
	}
	own, n := desk.SpreadOf(d.Samples)
	if o.Spread, err = q.number("spread", "The spread of single samples", own); err != nil {
		return o, "", err
	}
	if o.Shared, err = q.number("shared", "The spread between cleanings", 0); err != nil {
		return o, "", err
	}
	switch {
	case o.Spread == 0 || math.IsNaN(o.Spread):
		return o, "", mistyped("%d readings do not show how they spread. Say how much single samples vary.", n)
	case o.Shared > 5*o.Spread:
		return o, "", mistyped("The spread between cleanings may be at most five times that of single samples.")
	case q.get("spread") == "":
		source = fmt.Sprintf("The spread of %.2f is that of %d stored readings, differences between scopes included.", o.Spread, n)
	}
	return o, source, nil
}

func spreadWords(o desk.Operating) string {
	return fmt.Sprintf("Single samples vary with a standard deviation of %.2f of ln RLU, cleanings with %.2f.", o.Spread, o.Shared)
}

// chanceText writes a probability.
func chanceText(p float64) string { return fmt.Sprintf("%.1f %%", 100*p) }

// threePlaces writes a number with at most three places.
func threePlaces(x float64) string { return strconv.FormatFloat(math.Round(1000*x)/1000, 'f', -1, 64) }

func numberList(all []int) string {
	words := make([]string, len(all))
	for i, n := range all {
		words[i] = strconv.Itoa(n)
	}
	return strings.Join(words, ", ")
}

func (k *knownView) listing() kit.Listing {
	l := kit.Listing{Name: "known-cleanliness", Rows: k.Lines}
	for _, name := range knownHeader {
		l.Columns = append(l.Columns, table.SheetColumn{Name: name, Number: true})
	}
	return l
}
