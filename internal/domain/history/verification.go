// Package history answers what in the past of a scope belongs together: which readings are one cleaning
// verification, which verifications one reprocessing cycle, and which reading of a point is the first of
// its verification. Everything that counts readings, charts, shares of failures, baselines of levels and
// replays, asks here, so that a verification is one everywhere.
//
// The package reads nothing and knows no clock. Start with [Verifications].
package history

import (
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// Reading is what says where a reading belongs.
type Reading struct {
	Scope string
	// Cycle is when its reprocessing cycle began by the records: the last use or return from repair before
	// the reading. It is zero where there is none, as in a file of readings alone.
	Cycle unit.Instant
	// Cleaning is which cleaning of the cycle the sample was taken after, from 1 on.
	Cleaning int
	At       unit.Instant
}

// Covers is how long after its beginning a cycle on record speaks for the readings of its scope: at the
// instant itself it does. Behind it a use is missing from the records, as where readings come as a file and
// uses do not, and hours have to do. Source: common practice, a scope is verified within hours of its use;
// three days leave room for a weekend.
const Covers = 72 * time.Hour

// Within is how long after the first reading of a verification another one still belongs to it where no
// cycle on record speaks for it: at the instant itself it does. Where one does no hours count. Source: common
// practice, a scope is cleaned and verified within one shift and its overtime.
const Within = 12 * time.Hour

// Reach is how long before a time readings have to be shown as well, for those in it to be told apart as if all
// of their scope had been: a cycle on record speaks for that long, and where none does a silence of [Within] ends
// what goes on. [Verifications.Sure] says where it is too short.
const Reach = Covers + Within

// Verification names what a reading belongs to. Both numbers count from 0 over all scopes, in the order in
// which they were begun.
type Verification struct {
	// Cycle is one trip from the end of a use to the next use.
	Cycle int
	// Number is one verification: all samples of a scope after one cleaning.
	Number int
}

// Verifications brings readings together. Show it the readings that count, of every cleaning and point, in
// the order of their time. The zero value is ready.
//
// Readings of one cycle on record and one cleaning are one verification, however often it was interrupted.
// Where no cycle speaks for them ([Covers]), a reading begins another cycle when its
// cleaning is lower than the one before, or when it lies more than [Within] behind the first reading of its
// cleaning. What comes out then depends on all readings of the scope.
type Verifications struct {
	// Since is from when on readings are shown, zero when none is left out.
	Since unit.Instant

	scopes         map[string]*open
	cycles, number int
}

// open is the cycle of a scope that goes on.
type open struct {
	recorded  unit.Instant // the cycle as the records have it, zero where they do not say
	cycle     int
	cleanings map[int]int
	// cleaning is the last one seen, first when its first reading was made.
	cleaning int
	first    unit.Instant
	// last is when the last reading was made.
	last unit.Instant
	// unsure says that readings before Since may decide what this one belongs to.
	unsure bool
}

// Of returns what a reading belongs to.
func (v *Verifications) Of(r Reading) Verification {
	if v.scopes == nil {
		v.scopes = map[string]*open{}
	}
	if r.Cycle.Known() && r.At.Sub(r.Cycle) > Covers {
		r.Cycle = 0
	}
	o := v.scopes[r.Scope]
	unsure := o == nil && v.late(r) || o != nil && o.unsure && o.goesOn(r)
	if o == nil || o.recorded != r.Cycle || !r.Cycle.Known() && o.over(r) {
		o = &open{recorded: r.Cycle, cycle: v.cycles, cleanings: map[int]int{}}
		v.scopes[r.Scope] = o
		v.cycles++
	}
	number, seen := o.cleanings[r.Cleaning]
	if !seen {
		number = v.number
		o.cleanings[r.Cleaning] = number
		v.number++
		o.first = r.At
	}
	o.cleaning, o.last, o.unsure = r.Cleaning, r.At, unsure
	return Verification{o.cycle, number}
}

// late says whether the first reading of a scope that is shown may belong to what began before.
func (v *Verifications) late(r Reading) bool {
	if r.Cycle.Known() {
		return r.Cycle < v.Since
	}
	return r.At.Sub(v.Since) <= Within
}

// goesOn says whether nothing shows that a reading and the one before it are apart from each other.
func (o *open) goesOn(r Reading) bool {
	return o.recorded == r.Cycle && (r.Cycle.Known() || r.Cleaning == o.cleaning && r.At.Sub(o.last) <= Within)
}

// over says whether a reading begins another cycle although no record says so.
func (o *open) over(r Reading) bool {
	return r.Cleaning < o.cleaning || r.Cleaning == o.cleaning && r.At.Sub(o.first) > Within
}

// Sure says whether what was said of the last reading of a scope stays the same with the readings before Since.
// Where it does not, no cycle on record speaks for the readings, and they followed each other within [Within] ever
// since: all of the scope have to be shown.
func (v *Verifications) Sure(tag string) bool {
	o := v.scopes[tag]
	return o == nil || !o.unsure
}

// Series tells readings apart that are never brought together: of one point of one scope, with one meter
// system and kit.
type Series struct {
	Scope       string
	Point       scope.PointKind
	System, Kit string
}

// Firsts tells the readings that count once: the first of each series in the verification after the first
// cleaning of a cycle. Further ones are repeats, those of later cleanings re-tests. The zero value is ready;
// it is shown what [Verifications] is.
type Firsts struct {
	Verifications
	last map[Series]int
}

// Of returns what a reading belongs to, and whether it is the first of its series there.
func (f *Firsts) Of(s Series, r Reading) (v Verification, first bool) {
	v = f.Verifications.Of(r)
	if r.Cleaning != 1 {
		return v, false
	}
	if f.last == nil {
		f.last = map[Series]int{}
	}
	if number, seen := f.last[s]; seen && number == v.Number {
		return v, false
	}
	f.last[s] = v.Number
	return v, true
}
