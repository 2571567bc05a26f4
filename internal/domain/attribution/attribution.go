// Package attribution answers where the variation of readings comes from: the scope, the person who
// cleaned it, the lot of the kit, the meter, or none of these, and which of each stand out.
//
// It fits a mixed model to the logarithms of readings, so that a technician who cleans the difficult
// scopes is not blamed for them, and a lot that was used by two people is not blamed for these. Every
// single effect is shrunk towards zero the more the fewer readings speak for it, and has an interval:
// what does not differ by more than chance does not stand out. Readings of different meter systems
// or kits are never brought together. An effect says that readings differ, not why; comparisons of
// people are for training, not for punishment.
//
// To know first: [Row] goes in, [Explain] or [ExplainFailures] fits, [Answer] comes out.
package attribution

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"rinsate/internal/base/mixed"
	"rinsate/internal/base/stats"
	"rinsate/internal/domain/scope"
)

// Source is something that readings may differ by.
type Source string

// The sources.
const (
	Scope  Source = "scope"
	Person Source = "person" // who cleaned
	Lot    Source = "lot"
	Meter  Source = "meter"
)

// Sources lists every source.
var Sources = []Source{Scope, Person, Lot, Meter}

// NotOnRecord is the name of what is missing in the records. It is fitted like any other and never
// ranked.
const NotOnRecord = "not on record"

// Row is one reading with its circumstances. All rows are of one meter system and kit.
type Row struct {
	// Log is log10(RLU+1).
	Log   float64
	Point scope.PointKind
	Kind  scope.Kind
	// Scope, Person, Lot and Meter name the circumstances; empty ones count as not on record.
	Scope, Person, Lot, Meter string
	// Age is the number of uses of the scope since its last repair, or since the records began.
	Age float64
	// Delay is the time between point-of-use treatment and manual cleaning in minutes; NaN when not on record.
	Delay float64
	// Over says that the reading was over the action level.
	Over bool
}

func (r Row) of(s Source) string {
	name := ""
	switch s {
	case Scope:
		name = r.Scope
	case Person:
		name = r.Person
	case Lot:
		name = r.Lot
	case Meter:
		name = r.Meter
	}
	return cmp.Or(name, NotOnRecord)
}

// Question says how the rows are explained.
type Question struct {
	Confidence stats.Confidence
	// Least is how many readings a scope, person, lot or meter needs to be ranked.
	Least int
}

// Usual returns intervals of 95 % and a rank from 20 readings on (common practice).
func Usual() Question {
	return Question{Confidence: stats.MustConfidence("0.95"), Least: 20}
}

// Part is how much of the variation of readings comes from one source.
type Part struct {
	// Source is empty for the rest, which no source explains.
	Source Source `json:"source,omitempty"`
	// SD is the standard deviation between its levels, of log10 RLU or of the log odds. Lo and Hi are
	// its profile-likelihood interval, which [ExplainFailures] does not give: both are 0 there.
	SD float64 `json:"sd"`
	Lo float64 `json:"lo"`
	Hi float64 `json:"hi"`
	// Share is the part of the variance that point, kind, age and delay do not explain.
	Share  float64 `json:"share"`
	Levels int     `json:"levels,omitempty"`
}

// Effect is by how much one scope, person, lot or meter reads higher than the others of its source,
// other things equal.
type Effect struct {
	Source Source `json:"source"`
	Name   string `json:"name"`
	Rows   int    `json:"readings"`
	// Ratio is how many times as high it reads, or how many times as high its odds of a failure are,
	// with its interval: the shrunken effect turned back from the logarithm.
	Ratio float64 `json:"ratio"`
	Lo    float64 `json:"lo"`
	Hi    float64 `json:"hi"`
	// Ranked is false for those with too few readings, and for what is not on record.
	Ranked bool `json:"ranked"`
	// Distinct says that the interval does not hold 1.
	Distinct bool `json:"distinct"`
}

// Coefficient is a fixed part of the model as a ratio: of a point or a kind to the first, or for a
// hundred uses more or an hour of delay more, with its interval.
type Coefficient struct {
	Name  string  `json:"name"`
	Ratio float64 `json:"ratio"`
	Lo    float64 `json:"lo"`
	Hi    float64 `json:"hi"`
}

// Answer is where the variation comes from.
type Answer struct {
	Rows  int           `json:"readings"`
	Parts []Part        `json:"parts"`
	Fixed []Coefficient `json:"fixed"`
	// Effects are in the order of the sources and within these by Ratio, the highest first; those that
	// are not ranked come last.
	Effects []Effect `json:"effects"`
	// Notes say what was left out, and why.
	Notes []string `json:"notes"`
}

// Of returns the effects of a source, in their order.
func (a Answer) Of(s Source) []Effect {
	return slices.DeleteFunc(slices.Clone(a.Effects), func(e Effect) bool { return e.Source != s })
}

// Explain fits
//
//	log10(RLU+1) ~ point + kind + age + delay + (1|scope) + (1|person) + (1|lot) + (1|meter)
//
// by restricted maximum likelihood (package mixed). A source with a single level, or that groups the
// rows as another does, is left out with a note, as are age or delay that do not vary. Rows whose delay is
// not on record are left out with a note when at least as many have one; else the delay is. Intervals of single effects are effect ± z·SE of
// prediction. Errors wrap those of package mixed and stats: rows that no model can be fitted to, a
// question without a confidence. The order of the rows does not matter.
func Explain(rows []Row, q Question) (Answer, error) {
	if !q.Confidence.Known() || q.Least < 1 {
		return Answer{}, fmt.Errorf("a confidence and how many readings a rank needs must be given: %w", stats.ErrArgument)
	}
	a := Answer{Notes: []string{}}
	design, err := a.design(sorted(a.complete(rows)))
	if err != nil {
		return a, err
	}
	fit, err := mixed.FitLinear(design, mixed.REML)
	if err != nil {
		return a, fmt.Errorf("explain %d readings: %w", design.Rows(), err)
	}
	a.found(fit.Rows, fit.Fixed, fit.Dropped, fit.Terms, math.Ln10, q)
	for i := range a.Parts {
		interval, err := fit.Profile(string(a.Parts[i].Source), q.Confidence)
		if err != nil {
			return a, fmt.Errorf("interval of the spread between levels of %s: %w", a.Parts[i].Source, err)
		}
		a.Parts[i].Lo, a.Parts[i].Hi = interval.Lo, interval.Hi
	}
	interval, err := fit.Profile(mixed.ResidualName, q.Confidence)
	if err != nil {
		return a, fmt.Errorf("interval of the rest: %w", err)
	}
	a.Parts = append(a.Parts, Part{SD: fit.Residual.SD, Lo: interval.Lo, Hi: interval.Hi, Share: fit.Residual.Share})
	return a, nil
}

// ExplainFailures asks the same of whether a reading was over the action level: a logistic mixed model
// with the same terms, by the Laplace approximation. Ratios are of odds. Readings of a point or a kind
// of which none, or all, were over are left out with a note: they say nothing about the other terms.
// The rest is what chance alone adds to yes and no, π²/3 of the log odds. Failures are fewer than
// readings and carry less; where both are asked, the readings usually tell more.
func ExplainFailures(rows []Row, q Question) (Answer, error) {
	if !q.Confidence.Known() || q.Least < 1 {
		return Answer{}, fmt.Errorf("a confidence and how many readings a rank needs must be given: %w", stats.ErrArgument)
	}
	a := Answer{Notes: []string{}}
	rows = sorted(a.mixedAnswers(a.complete(rows)))
	design, err := a.design(rows)
	if err != nil {
		return a, err
	}
	for i, r := range rows {
		design.Response[i] = 0
		if r.Over {
			design.Response[i] = 1
		}
	}
	fit, err := mixed.FitLogistic(design)
	if err != nil {
		return a, fmt.Errorf("explain which of %d readings were over the action level: %w", design.Rows(), err)
	}
	a.found(fit.Rows, fit.Fixed, fit.Dropped, fit.Terms, 1, q)
	rest := 1.0
	for _, p := range a.Parts {
		rest -= p.Share
	}
	a.Parts = append(a.Parts, Part{SD: math.Sqrt(mixed.LogisticVariance), Share: rest})
	return a, nil
}

// mixedAnswers leaves out the readings of a point or a kind that all have the same answer, until none
// is left.
func (a *Answer) mixedAnswers(rows []Row) []Row {
	for left := -1; left != len(rows); {
		left = len(rows)
		rows = a.mixedBy("point", rows, func(r Row) string { return string(r.Point) })
		rows = a.mixedBy("kind", rows, func(r Row) string { return string(r.Kind) })
	}
	return rows
}

func (a *Answer) mixedBy(what string, rows []Row, of func(Row) string) []Row {
	over, all := map[string]int{}, map[string]int{}
	for _, r := range rows {
		all[of(r)]++
		if r.Over {
			over[of(r)]++
		}
	}
	for _, name := range slices.Sorted(maps.Keys(all)) {
		if over[name] > 0 && over[name] < all[name] {
			continue
		}
		a.note("%d readings of %s %s left out: %d of them were over the action level", all[name], what, name, over[name])
		rows = slices.DeleteFunc(rows, func(r Row) bool { return of(r) == name })
	}
	return rows
}

// design makes what is fitted; the response is log10(RLU+1).
func (a *Answer) design(rows []Row) (mixed.Design, error) {
	d := mixed.Design{Response: make([]float64, len(rows))}
	for i, r := range rows {
		d.Response[i] = r.Log
	}
	a.fixed(rows, &d)
	a.random(rows, &d)
	if len(d.Random) == 0 {
		return d, fmt.Errorf("no scope, person, lot or meter differs from another in these %d readings: choose a longer time: %w", len(rows), mixed.ErrData)
	}
	return d, nil
}

// sorted returns the rows in one order, so that sums do not depend on the caller's.
func sorted(rows []Row) []Row {
	rows = slices.Clone(rows)
	slices.SortFunc(rows, func(a, b Row) int {
		return cmp.Or(cmp.Compare(a.Scope, b.Scope), cmp.Compare(a.Point, b.Point), cmp.Compare(a.Kind, b.Kind),
			cmp.Compare(a.Person, b.Person), cmp.Compare(a.Lot, b.Lot), cmp.Compare(a.Meter, b.Meter),
			cmp.Compare(a.Age, b.Age), cmp.Compare(a.Delay, b.Delay), cmp.Compare(a.Log, b.Log), compareBool(a.Over, b.Over))
	})
	return rows
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

// complete leaves out the rows without a delay, unless they are more than half of all: then it leaves the
// delay out, since an answer about a small part of the readings would pass for one about all.
func (a *Answer) complete(rows []Row) []Row {
	kept := slices.DeleteFunc(slices.Clone(rows), func(r Row) bool { return math.IsNaN(r.Delay) })
	switch missing := len(rows) - len(kept); {
	case len(kept) > 0 && missing > len(kept):
		a.note("the delay before cleaning is not taken into account: it is on record for %d of %d readings only", len(kept), len(rows))
		rows = slices.Clone(rows)
		for i := range rows {
			rows[i].Delay = math.NaN()
		}
		return rows
	case len(kept) == 0:
		if len(rows) > 0 {
			a.note("no delay before cleaning is on record")
		}
		return rows
	case missing > 0:
		a.note("%d readings left out: their delay before cleaning is not on record", missing)
	}
	return kept
}

func (a *Answer) note(format string, args ...any) {
	a.Notes = append(a.Notes, fmt.Sprintf(format, args...))
}

// The units of the covariates.
const (
	agePer   = 100 // uses
	delayPer = 60  // minutes
)

// fixed adds what is no sample of anything: the kind of point and of scope, age and delay.
func (a *Answer) fixed(rows []Row, d *mixed.Design) {
	d.Fixed = []mixed.Factor{
		mixed.NewFactor("point", names(rows, func(r Row) string { return string(r.Point) })),
		mixed.NewFactor("kind", names(rows, func(r Row) string { return string(r.Kind) })),
	}
	for _, c := range []struct {
		name string
		of   func(Row) float64
	}{
		{"age, a hundred uses", func(r Row) float64 { return r.Age / agePer }},
		{"delay, an hour", func(r Row) float64 { return r.Delay / delayPer }},
	} {
		values := make([]float64, len(rows))
		varies := false
		for i, r := range rows {
			values[i] = c.of(r)
			varies = varies || values[i] != values[0]
		}
		if len(rows) > 0 && math.IsNaN(values[0]) {
			continue // said already
		}
		if !varies {
			a.note("%s does not vary", c.name)
			continue
		}
		d.Covariates = append(d.Covariates, mixed.Covariate{Name: c.name, Values: values})
	}
}

func names(rows []Row, of func(Row) string) []string {
	list := make([]string, len(rows))
	for i, r := range rows {
		list[i] = of(r)
	}
	return list
}

// random adds the sources that can be told apart.
func (a *Answer) random(rows []Row, d *mixed.Design) {
	for _, s := range Sources {
		f := mixed.NewFactor(string(s), names(rows, func(r Row) string { return r.of(s) }))
		if len(f.Levels) < 2 {
			a.note("there is one %s only, or none on record", s)
			continue
		}
		if i := slices.IndexFunc(d.Random, func(g mixed.Factor) bool { return alike(f, g) }); i >= 0 {
			a.note("%s and %s group the readings in the same way and cannot be told apart: %s stands for both", d.Random[i].Name, s, d.Random[i].Name)
			continue
		}
		d.Random = append(d.Random, f)
	}
}

// alike says whether two factors put the rows into the same groups.
func alike(f, g mixed.Factor) bool {
	if len(f.Levels) != len(g.Levels) {
		return false
	}
	to := map[int32]int32{}
	for i, x := range f.Index {
		y, seen := to[x]
		if seen && y != g.Index[i] {
			return false
		}
		to[x] = g.Index[i]
	}
	return true
}

// found fills in what a fit says. scale is the natural logarithm of the base of the response.
func (a *Answer) found(rows int, fixed []mixed.Coefficient, dropped []mixed.Dropped, terms []mixed.Term, scale float64, q Question) {
	a.Rows = rows
	z := -stats.NormalQuantile((1 - q.Confidence.Float()) / 2)
	ratio := func(x float64) float64 { return math.Exp(scale * x) }
	for _, c := range fixed {
		if c.Term != mixed.InterceptName {
			a.Fixed = append(a.Fixed, Coefficient{Name: column(c.Column), Ratio: ratio(c.Estimate), Lo: ratio(c.Estimate - z*c.SE), Hi: ratio(c.Estimate + z*c.SE)})
		}
	}
	for _, c := range dropped {
		a.note("%s cannot be told apart: %s", column(c.Column), c.Reason)
	}
	for _, t := range terms {
		a.Parts = append(a.Parts, Part{Source: Source(t.Name), SD: t.SD, Share: t.Share, Levels: t.Levels})
		var list []Effect
		for _, e := range t.Effects {
			x := Effect{
				Source: Source(t.Name), Name: e.Level, Rows: e.Rows, Ratio: ratio(e.Mode), Lo: ratio(e.Mode - z*e.SE), Hi: ratio(e.Mode + z*e.SE),
				Ranked: e.Rows >= q.Least && e.Level != NotOnRecord,
			}
			x.Distinct = x.Lo > 1 || x.Hi < 1
			list = append(list, x)
		}
		rank(list)
		a.Effects = append(a.Effects, list...)
	}
}

// column names a fixed column.
func column(c mixed.Column) string {
	if c.Level == "" {
		return c.Term
	}
	return c.Term + " " + c.Level
}

// rank orders the effects of one source.
func rank(list []Effect) {
	slices.SortStableFunc(list, func(a, b Effect) int {
		switch {
		case a.Ranked != b.Ranked && a.Ranked:
			return -1
		case a.Ranked != b.Ranked:
			return 1
		}
		return cmp.Or(cmp.Compare(b.Ratio, a.Ratio), cmp.Compare(a.Name, b.Name))
	})
}

// Without returns the rows but those of one scope, person, lot or meter: to see what would change if
// it were left out.
func Without(rows []Row, s Source, name string) []Row {
	return slices.DeleteFunc(slices.Clone(rows), func(r Row) bool { return r.of(s) == name })
}
