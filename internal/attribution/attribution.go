// Package attribution answers where the scatter of readings comes from: the scope, the person who
// cleaned it, the lot of the kit, the meter, or none of these, and which of each stand out.
//
// It fits a mixed model to the logarithms of readings, so that a technician who cleans the difficult
// scopes is not blamed for them, and a lot that was used by two people is not blamed for these. Every
// single effect is shrunk towards zero the more the fewer readings speak for it, and has an interval:
// what does not differ by more than chance does not stand out. Readings of different meter systems
// or kits are never brought together. An effect says that readings differ, not why; comparisons of
// people are for training, not for punishment.
//
// To know first: [Row] goes in, [Explain] fits, [Answer] comes out.
package attribution

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"rinsate/internal/mixed"
	"rinsate/internal/scope"
	"rinsate/internal/stats"
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
	// Delay is the time between pre-cleaning and manual cleaning in minutes; NaN when not on record.
	Delay float64
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

// Part is how much of the scatter of readings comes from one source.
type Part struct {
	// Source is empty for the rest, which no source explains.
	Source Source `json:"source,omitempty"`
	// SD is the standard deviation between its levels, of log10 RLU, with its profile-likelihood
	// interval; the interval is that of the rest too.
	SD float64 `json:"sd_log10"`
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
	// Log is the shrunken effect on log10 RLU with its interval.
	Log float64 `json:"log10"`
	Lo  float64 `json:"lo"`
	Hi  float64 `json:"hi"`
	// Fold is the same as a ratio: 1.5 reads half as much again.
	Fold float64 `json:"fold"`
	// Ranked is false for those with too few readings, and for what is not on record.
	Ranked bool `json:"ranked"`
	// Distinct says that the interval does not hold zero.
	Distinct bool `json:"distinct"`
}

// Coefficient is a fixed part of the model: the difference of a point or a kind from the first, or
// the change for a hundred uses or for an hour of delay, in log10 RLU.
type Coefficient struct {
	Name     string  `json:"name"`
	Estimate float64 `json:"estimate"`
	SE       float64 `json:"se"`
}

// Answer is where the scatter comes from.
type Answer struct {
	Rows  int           `json:"readings"`
	Parts []Part        `json:"parts"`
	Fixed []Coefficient `json:"fixed"`
	// Effects are in the order of the sources and within these by Log, the highest first; those that
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
// rows as another does, is left out with a note, as are age or delay that do not vary, and rows whose
// delay is not on record when others have one. Intervals of single effects are effect ± z·SE of
// prediction. Errors wrap those of package mixed and stats: rows that no model can be fitted to, a
// question without a confidence. The order of the rows does not matter.
func Explain(rows []Row, q Question) (Answer, error) {
	if !q.Confidence.Known() || q.Least < 1 {
		return Answer{}, fmt.Errorf("a confidence and how many readings a rank needs must be given: %w", stats.ErrArgument)
	}
	a := Answer{Notes: []string{}}
	rows = sorted(a.complete(rows))
	design := mixed.Design{Response: make([]float64, len(rows))}
	for i, r := range rows {
		design.Response[i] = r.Log
	}
	a.fixed(rows, &design)
	a.random(rows, &design)
	if len(design.Random) == 0 {
		return a, fmt.Errorf("no scope, person, lot or meter differs from another in these %d readings: choose a longer time: %w", len(rows), mixed.ErrData)
	}
	fit, err := mixed.FitLinear(design, mixed.REML)
	if err != nil {
		return a, fmt.Errorf("explain %d readings: %w", len(rows), err)
	}
	a.Rows = len(rows)
	if err := a.report(fit, q); err != nil {
		return a, err
	}
	return a, nil
}

// sorted returns the rows in one order, so that sums do not depend on the caller's.
func sorted(rows []Row) []Row {
	rows = slices.Clone(rows)
	slices.SortFunc(rows, func(a, b Row) int {
		return cmp.Or(cmp.Compare(a.Scope, b.Scope), cmp.Compare(a.Point, b.Point), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Person, b.Person), cmp.Compare(a.Lot, b.Lot),
			cmp.Compare(a.Meter, b.Meter), cmp.Compare(a.Age, b.Age), cmp.Compare(a.Delay, b.Delay), cmp.Compare(a.Log, b.Log))
	})
	return rows
}

// complete leaves out the rows without a delay, unless no row has one.
func (a *Answer) complete(rows []Row) []Row {
	kept := slices.DeleteFunc(slices.Clone(rows), func(r Row) bool { return math.IsNaN(r.Delay) })
	switch missing := len(rows) - len(kept); {
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

// report fills in what the fit says.
func (a *Answer) report(fit *mixed.Linear, q Question) error {
	for _, c := range fit.Fixed {
		a.Fixed = append(a.Fixed, Coefficient{Name: column(c.Column), Estimate: c.Estimate, SE: c.SE})
	}
	for _, c := range fit.Dropped {
		a.note("%s cannot be told apart: %s", column(c.Column), c.Reason)
	}
	z := -stats.NormalQuantile((1 - q.Confidence.Float()) / 2)
	for _, t := range fit.Terms {
		interval, err := fit.Profile(t.Name, q.Confidence)
		if err != nil {
			return fmt.Errorf("interval of the spread between levels of %s: %w", t.Name, err)
		}
		a.Parts = append(a.Parts, Part{Source: Source(t.Name), SD: t.SD, Lo: interval.Lo, Hi: interval.Hi, Share: t.Share, Levels: t.Levels})
		a.Effects = append(a.Effects, effects(t, q, z)...)
	}
	interval, err := fit.Profile(mixed.ResidualName, q.Confidence)
	if err != nil {
		return fmt.Errorf("interval of the rest: %w", err)
	}
	a.Parts = append(a.Parts, Part{SD: fit.Residual.SD, Lo: interval.Lo, Hi: interval.Hi, Share: fit.Residual.Share})
	return nil
}

// column names a fixed column.
func column(c mixed.Column) string {
	if c.Level == "" {
		return c.Term
	}
	return c.Term + " " + c.Level
}

// effects returns the effects of one source in their order.
func effects(t mixed.Term, q Question, z float64) []Effect {
	var list []Effect
	for _, e := range t.Effects {
		x := Effect{
			Source: Source(t.Name), Name: e.Level, Rows: e.Rows, Log: e.Mode, Lo: e.Mode - z*e.SE, Hi: e.Mode + z*e.SE, Fold: math.Pow(10, e.Mode),
			Ranked: e.Rows >= q.Least && e.Level != NotOnRecord,
		}
		x.Distinct = x.Lo > 0 || x.Hi < 0
		list = append(list, x)
	}
	slices.SortStableFunc(list, func(a, b Effect) int {
		switch {
		case a.Ranked != b.Ranked && a.Ranked:
			return -1
		case a.Ranked != b.Ranked:
			return 1
		}
		return cmp.Or(cmp.Compare(b.Log, a.Log), cmp.Compare(a.Name, b.Name))
	})
	return list
}

// Without returns the rows but those of one scope, person, lot or meter: to see what would change if
// it were left out.
func Without(rows []Row, s Source, name string) []Row {
	return slices.DeleteFunc(slices.Clone(rows), func(r Row) bool { return r.of(s) == name })
}
