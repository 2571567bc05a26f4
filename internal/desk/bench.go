package desk

import (
	"fmt"
	"slices"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Bench is what somebody at the sink needs before a scope is named; it is enough to go on sampling by
// while nothing more can be asked.
type Bench struct {
	Now    unit.Instant `json:"now"`
	Scopes []BenchScope `json:"scopes"`
	// Which are the scopes that one code may mean, where nobody can say which one; by the code in capitals.
	Which  map[string][]string `json:"which,omitempty"`
	Guides map[string]Guide    `json:"guides"` // by model
	Lots   []LotStanding       `json:"lots"`
	Meters []MeterStanding     `json:"meters"`
	// Disinfectants and Cabinets are the names that the rules in force know.
	Disinfectants []string `json:"disinfectants"`
	Cabinets      []string `json:"cabinets"`
	// Hottest are the disinfectants that must not be too warm, Reused those whose solution is used for some days: of these
	// more is asked.
	Hottest []string `json:"hottest,omitempty"`
	Reused  []string `json:"reused,omitempty"`
}

// BenchScope is how a scope is known by.
type BenchScope struct {
	Tag     string `json:"tag"`
	Barcode string `json:"barcode,omitempty"`
	Serial  string `json:"serial,omitempty"`
	Model   string `json:"model"`
}

// LotStanding is a lot and why it must not be used; Fault is empty when it may.
type LotStanding struct {
	quality.Lot
	Fault string `json:"fault,omitempty"`
}

// MeterStanding is a meter and whether it may be used.
type MeterStanding struct {
	Code   string        `json:"code"`
	System string        `json:"system"`
	State  quality.State `json:"state"`
}

// Bench returns what the bench needs.
func (v DayView) Bench(now unit.Instant) (Bench, error) {
	b := Bench{Now: now, Scopes: []BenchScope{}, Guides: map[string]Guide{}, Lots: []LotStanding{}, Disinfectants: []string{}, Cabinets: []string{}}
	instruments, err := v.Registry().Instruments()
	if err != nil {
		return b, err
	}
	for _, i := range instruments {
		if i.InService > now || i.Retired.Known() && i.Retired <= now {
			continue
		}
		b.Scopes = append(b.Scopes, BenchScope{i.Tag, i.Barcode, i.Serial, i.Model})
		if _, ok := b.Guides[i.Model]; !ok {
			if b.Guides[i.Model], err = v.Guide(i.Tag); err != nil {
				return b, err
			}
		}
	}
	b.Which = ambiguous(instruments, now)
	lots, err := v.Lots()
	if err != nil {
		return b, err
	}
	for _, l := range lots {
		b.Lots = append(b.Lots, LotStanding{l, l.Fault(now)})
	}
	if b.Meters, err = v.MeterStandings(now); err != nil {
		return b, err
	}
	rules, err := v.Registry().Rules(now, store.Forever)
	if err != nil {
		return b, err
	}
	for _, a := range rules.Reprocessing.Disinfectants {
		b.Disinfectants = append(b.Disinfectants, a.Name)
		if a.Warmest != 0 {
			b.Hottest = append(b.Hottest, a.Name)
		}
		if a.ReuseDays > 0 {
			b.Reused = append(b.Reused, a.Name)
		}
	}
	for _, c := range rules.Reprocessing.Cabinets {
		b.Cabinets = append(b.Cabinets, c.Name)
	}
	return b, nil
}

// MeterStandings returns whether each meter that is in service may be used.
func (v DayView) MeterStandings(now unit.Instant) ([]MeterStanding, error) {
	meters, err := v.Measuring().Meters()
	if err != nil {
		return nil, err
	}
	all := []MeterStanding{}
	for _, m := range meters {
		if m.Retired.Known() && m.Retired <= now {
			continue
		}
		state, err := v.Measuring().MeterState(m.Code, now)
		if err != nil {
			return nil, err
		}
		all = append(all, MeterStanding{m.Code, m.System, state})
	}
	return all, nil
}

// Job is the work on one scope: what the release check says, and how far the present verification is.
type Job struct {
	Answer reprocessing.Answer `json:"answer"`
	Model  string              `json:"model"`
	Kind   scope.Kind          `json:"kind"`
	// Verification is what the samples taken so far come to; its Next says what to do.
	Verification reading.Verification `json:"verification"`
	// Test is which test of the cycle that is, as people name it.
	Test   string     `json:"test"`
	Points []JobPoint `json:"points"`
	// Holds are the holds that keep the scope, the oldest first.
	Holds []JobHold `json:"holds,omitempty"`
}

// JobHold is a hold with its record.
type JobHold struct {
	ID string `json:"id"`
	reprocessing.Hold
}

// JobPoint is one sampling point in the present cleaning.
type JobPoint struct {
	reading.PointResult
	// Required says that the verification is not complete without it.
	Required bool        `json:"required"`
	Samples  []JobSample `json:"samples,omitempty"`
}

// JobSample is a sample of the present cleaning with its readings.
type JobSample struct {
	ID ledger.ID `json:"id"`
	sampling.Sample
	Standing sampling.Standing `json:"standing"`
	Readings []JobReading      `json:"readings,omitempty"`
}

// JobReading is a reading that stands.
type JobReading struct {
	ID      ledger.ID       `json:"id"`
	At      unit.Instant    `json:"at"`
	By      string          `json:"by"`
	Meter   string          `json:"meter"`
	Value   string          `json:"value"`
	Outcome reading.Outcome `json:"outcome"`
	Why     string          `json:"why"`
	// Near asks for a duplicate.
	Near bool `json:"near,omitempty"`
}

// Job returns the work on a scope at an instant.
func (v DayView) Job(tag string, now unit.Instant) (Job, error) {
	var j Job
	if _, ok, err := v.tx.Entity(record.Instrument, tag, store.Forever, store.Forever); err != nil {
		return j, err
	} else if !ok {
		return j, notFound("see the fleet with: rinsate fleet", "scope %q is not registered", tag)
	}
	h, rules, err := v.state(tag, now, store.Forever)
	if err != nil {
		return j, err
	}
	start := reprocessing.CycleStart(h, now)
	cleaning := reprocessing.Cleaning(h, now)
	d, _ := reprocessing.Decide(h, rules.Reprocessing, rules.Reading, now, cleaning, v.Zone())
	j = Job{Model: h.Model.Name, Kind: h.Model.Kind, Verification: d.Verification}
	j.Test = reading.Test(d.Verification.Cleaning)
	if j.Answer, err = v.ReleaseNow(tag, now, store.Forever); err != nil {
		return j, err
	}
	holds, err := v.OpenHolds(tag, now)
	if err != nil {
		return j, err
	}
	for _, hold := range holds {
		j.Holds = append(j.Holds, JobHold{hold.ID, hold})
	}
	readings, err := v.readingsSince(tag, start, now)
	if err != nil {
		return j, err
	}
	required := reprocessing.Required(h, rules.Reprocessing, now, v.Zone())
	for _, p := range h.Model.Points() {
		point := JobPoint{PointResult: reading.PointResult{Point: p.Kind, NotApplicable: p.NotApplicable}, Required: slices.Contains(required, p.Kind)}
		if i := slices.IndexFunc(d.Verification.Points, func(r reading.PointResult) bool { return r.Point == p.Kind }); i >= 0 {
			point.PointResult = d.Verification.Points[i]
		}
		for _, t := range h.Samples {
			if t.Cleaning == cleaning && t.Collected >= start && t.Point == p.Kind {
				point.Samples = append(point.Samples, JobSample{
					ID: ledger.ID(t.ID), Sample: t.Sample, Standing: rules.Sample.Clocks.Judge(t.Sample, now), Readings: readings[t.ID],
				})
			}
		}
		j.Points = append(j.Points, point)
	}
	return j, nil
}

// MaySample refuses a sample of a cleaning verification that is taken at an instant, before it can count: while the scope is
// in use, or before the steps that come first. Where paper decides nobody knows them. What was taken before now is refused
// to nobody: it is a fact, and the release check says what it shows.
func (v DayView) MaySample(tag string, at unit.Instant) error {
	now := v.Now()
	if at < now.Add(-time.Minute) {
		return nil
	}
	h, _, err := v.state(tag, now, store.Forever)
	if err != nil {
		return err
	}
	a, err := v.ReleaseNow(tag, now, store.Forever)
	if err != nil || a.Paper != nil {
		return err
	}
	first := a.BeforeSampling().Words()
	if len(h.Unfinished()) > 0 {
		first = "the end of the use"
	}
	if first == "" {
		return nil
	}
	hint := "begin with: " + first
	if len(a.Next) > 0 {
		hint = a.Next[0]
	}
	return &fault.Error{Code: fault.Conflict, Message: fmt.Sprintf("a sample of %s would not count now: %s has to come first", tag, first), Hint: hint}
}

// readingsSince returns the readings of a scope that stand, by their sample.
func (v DayView) readingsSince(tag string, from, to unit.Instant) (map[string][]JobReading, error) {
	all := map[string][]JobReading{}
	err := v.tx.Events(tag, from, to, store.Forever, func(k store.Kept) error {
		return fold(k, func(x reading.Reading) {
			all[x.Sample] = append(all[x.Sample], JobReading{
				ID:      k.ID,
				At:      k.At,
				By:      k.By,
				Meter:   x.Meter,
				Value:   x.Value.String(),
				Outcome: x.Judgement.Outcome,
				Why:     x.Judgement.Why,
				Near:    x.Judgement.Near,
			})
		})
	}, record.Reading)
	return all, err
}

// usualOver is from how far back the usual values of a point are taken, usualMost how many at most.
const (
	usualOver = 365
	usualMost = 20
)

// Retype says why a value should be typed a second time before it is recorded, empty when it need not be
// (reading.Retype).
func (v DayView) Retype(in Reading) (string, error) {
	s, _, err := v.sample(in.Sample)
	if err != nil {
		return "", err
	}
	m, err := v.Measuring().meter(in.Meter)
	if err != nil {
		return "", err
	}
	x, err := v.judge(s, in, m.System)
	if err != nil {
		return "", err
	}
	var usual []unit.Number
	if in.Value.Unit == reading.RLU {
		err = v.tx.Numbers().ReadingsAt(s.Scope, s.Point, in.At.AddDays(-usualOver, v.Zone()), in.At, func(m store.Measured) error {
			key := trend.Key{Scope: m.Scope, Point: m.Point, System: m.System, Kit: m.Kit}
			if key == (trend.Key{Scope: s.Scope, Point: s.Point, System: x.With.System, Kit: s.Kit}) {
				usual = append(usual, unit.Number(m.Value))
			}
			return nil
		})
		usual = usual[max(0, len(usual)-usualMost):]
	}
	return reading.Retype(x.Judgement, usual), err
}
