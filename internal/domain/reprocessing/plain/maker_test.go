package plain_test

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // the zone tests must not depend on the machine

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

const (
	second = unit.Instant(1_000_000)
	minute = 60 * second
	hour   = 60 * minute
	day    = 24 * hour
)

const tag = "D-01"

// maker makes one history: first as a careful department would leave it, then with faults.
type maker struct {
	*rand.Rand
	house
	h reprocessing.History
	// t is when the next thing happens, n how many entries there are.
	t unit.Instant
	n int
	// points are what a verification samples here.
	points []scope.PointKind
	// came is when it came into service, arrived when it came back, zero while it was never away.
	came, arrived unit.Instant
	// classes are the hazards that the history holds.
	classes map[string]bool
	// lastly says whether the cycle that is made is the last, lifting whether people end escalated holds.
	lastly, lifting bool
	clock           reprocessing.Clock
}

// between draws a whole number of seconds.
func (m *maker) between(lo, hi unit.Instant) unit.Instant {
	return lo + unit.Instant(m.Int64N(int64((hi-lo)/second)+1))*second
}

func (m *maker) pass(lo, hi unit.Instant) { m.t += m.between(lo, hi) }

// one says whether something happens that happens once in n times.
func (m *maker) one(n int) bool { return m.IntN(n) == 0 }

func (m *maker) stamp(what string, at unit.Instant) reprocessing.Stamp {
	m.n++
	return reprocessing.Stamp{ID: fmt.Sprintf("%s %d", what, m.n), Recorded: at}
}

// houses are the facilities that histories are made for: the rules that ship, and changes of them.
func houses() ([]house, error) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		return nil, err
	}
	var all []house
	for i := range 12 {
		set, err := policy.Parse("general.yaml", policy.Preset())
		if err != nil {
			return nil, err
		}
		o := house{nil, set.Reprocessing, set.Reading, zone}
		o.rules.Cabinets = append(o.rules.Cabinets, reprocessing.Cabinet{Name: "shelf", Hours: 12})
		step := func(kind reprocessing.StepKind) *reprocessing.StepRule {
			return &o.rules.Steps[slices.IndexFunc(o.rules.Steps, func(r reprocessing.StepRule) bool { return r.Step == kind })]
		}
		switch i {
		case 1: // only what failed is sampled again
			o.judging.Retest = reading.FailingPoints
		case 2: // time between two steps is limited, and every step is asked for
			step(reprocessing.Disinfection).Within, step(reprocessing.Disinfection).From = 4*unit.Hour, reprocessing.ManualCleaning
			step(reprocessing.Drying).Within, step(reprocessing.Drying).From = 30*unit.Minute, reprocessing.Disinfection
			step(reprocessing.FinalRinse).Required, step(reprocessing.Storage).Required = true, true
		case 3: // no scope is sampled in every cycle, but all are from time to time
			for j := range o.rules.Due {
				o.rules.Due[j].Blocks = true
				if o.rules.Due[j].When == sampling.EveryCycle {
					o.rules.Due[j] = sampling.Rule{When: sampling.Periodic, Uses: 2, Days: 9, Blocks: true, Source: o.rules.Due[j].Source}
				}
			}
			o.rules.Unstored = unit.Hour
		case 4: // the rules have no soak of their own, and one cleaning is all that they provide for
			o.rules.Steps = slices.DeleteFunc(o.rules.Steps, func(r reprocessing.StepRule) bool { return r.Step == reprocessing.Soak })
			o.judging.Cleanings = 1
		case 5: // steps of the model's own
			o.rules.Models = map[string][]reprocessing.StepRule{"duodenoscope A": slices.Clone(o.rules.Steps)}
			o.rules.Models["duodenoscope A"][4].AtLeast = 6 * unit.Minute
			o.judging.Retest = reading.FailingPoints
		case 6: // short routes, steps that may not last too long, and a time by which a scope is stored
			o.ways = []string{"own routes", "stored in time"}
			short := []reprocessing.StepKind{reprocessing.ManualCleaning, reprocessing.Verification, reprocessing.Disinfection, reprocessing.Drying}
			o.rules.Routes = []reprocessing.Route{
				{After: reprocessing.OfRepair, Steps: append([]reprocessing.StepKind{reprocessing.LeakTest}, short...)},
				{After: reprocessing.OfRunOut, Steps: short},
			}
			step(reprocessing.Drying).AtMost, step(reprocessing.ManualCleaning).AtMost = 19*unit.Minute, 14*unit.Minute
			step(reprocessing.Storage).Within, step(reprocessing.Storage).From = 20*unit.Minute, reprocessing.Drying
		case 7: // no routes at all, as older rules have them, and one cleaning
			o.ways = []string{"no routes"}
			o.rules.Routes = nil
			o.judging.Cleanings = 1
		case 8: // some of what is asked for is kept elsewhere, and some starts later
			o.ways = []string{"kept elsewhere", "starts later"}
			keep(step(reprocessing.LeakTest), "2026-06-30")
			keep(step(reprocessing.Inspection), "2026-10-24")
			step(reprocessing.Drying).Starts, step(reprocessing.PointOfUse).Starts = "2026-05-01", "2026-03-29"
		case 9: // storage is kept elsewhere, and verifications start later
			o.ways = []string{"storage kept elsewhere", "starts later"}
			keep(step(reprocessing.Storage), "2026-08-15")
			keep(step(reprocessing.Disinfection), "2026-02-15")
			step(reprocessing.Verification).Starts, step(reprocessing.ManualCleaning).Starts = "2026-07-01", "2026-02-01"
		case 10: // an edition that asks for less than one that counts for the trip under way
			o.ways = []string{"a laxer edition"}
			o.judging.Cleanings = 1
			then := o.rules
			then.Steps = slices.Clone(o.rules.Steps)
			then.Unstored = 2 * unit.Hour
			step(reprocessing.Inspection).Required, step(reprocessing.Drying).AtLeast = false, 0
			keep(step(reprocessing.LeakTest), "2026-04-30")
			then.Steps[slices.IndexFunc(then.Steps, func(r reprocessing.StepRule) bool { return r.Step == reprocessing.Drying })].AtLeast = 12 * unit.Minute
			o.rules.Earlier = []reprocessing.Rules{then}
		case 11: // what is done at the bedside has no limit, and only what failed is sampled again
			o.judging.Retest = reading.FailingPoints
			step(reprocessing.PointOfUse).Within = 0
		}
		all = append(all, o)
	}
	return all, nil
}

// keep has a step kept elsewhere until a day.
func keep(r *reprocessing.StepRule, until unit.Date) {
	r.KeptIn, r.KeptBy, r.KeptReview = "the log of the other house", "L1", until
}

// made returns the history of a seed.
func made(all []house, seed uint64) *maker {
	m := &maker{Rand: rand.New(rand.NewPCG(seed, 11)), classes: map[string]bool{}}
	m.house = all[m.IntN(len(all))]
	for _, way := range m.ways {
		m.class(way)
	}
	begin := unit.At(time.Date(2026, time.January, 5, 7, 0, 0, 0, time.UTC)) + m.between(0, 300*day)
	m.h.Instrument = scope.Instrument{Tag: tag, Owner: scope.Own, InService: begin - m.between(day, 20*day)}
	m.h.Model = scope.Model{
		Name: "duodenoscope A", Kind: scope.Duodenoscope, Risk: scope.HighRisk, Elevator: true, OuterDiameter: 13, SampledLength: 100,
		Channels: []scope.Channel{
			{Kind: scope.InstrumentChannel, Diameter: 4.2, Length: 1350}, {Kind: scope.ElevatorWireChannel, Diameter: 0.85, Length: 1500},
		},
	}
	if m.one(3) {
		m.h.Model = scope.Model{
			Name: "gastroscope B", Kind: scope.Gastroscope, Risk: scope.StandardRisk, OuterDiameter: 10, SampledLength: 100,
			Channels: []scope.Channel{
				{Kind: scope.InstrumentChannel, Diameter: 2.8, Length: 1350},
				{Kind: scope.AirChannel, Diameter: 1.2, Length: 2000},
				{Kind: scope.WaterChannel, Diameter: 1.2, Length: 2000, Sealed: true},
			},
		}
	}
	m.h.Instrument.Model = m.h.Model.Name
	m.points = m.h.Model.Routine()
	m.lifting = m.one(2)
	m.t = begin
	if seed%14 == 5 {
		m.listed()
		return m
	}
	before := m.IntN(3)
	for range before {
		m.cycle(false)
		m.pass(2*hour, 2*day)
	}
	if before == 0 && m.one(4) {
		m.class("never used")
		m.h.Instrument.InService = m.t
		if m.one(2) {
			m.class("arrival")
			m.h.Instrument.Owner = scope.Loan
		}
		m.pass(10*minute, hour)
		m.reprocess()
	} else {
		m.cycle(true)
	}
	for range m.faultsWanted() {
		f := faults[m.IntN(len(faults))]
		if f.spoil(m) {
			m.class(f.class)
		}
	}
	m.came = m.h.Instrument.InService
	m.decideAll()
	if m.arrived.Known() {
		m.h.Instrument.InService = m.arrived
	}
	m.afterwards()
	if seed%30 == 7 {
		m.class("stock-take of a scope with acts on record")
		m.stockTake(m.latest()+minute, 3*day)
	}
	return m
}

// listed is a scope of which nothing is on record but a stock-take, and what may be wrong with that or come after it.
func (m *maker) listed() {
	t := m.stockTake(m.t, m.between(hour, 6*day))
	m.class("stock-take")
	if m.one(2) {
		return
	}
	at := m.t + m.between(-hour, 2*hour)
	switch m.IntN(12) {
	case 0:
		t.Second, t.SecondRoles = []string{"", " l1", "L2"}[m.IntN(3)], []access.Role{access.Lead}
	case 1:
		t.Papers = nil
	case 2:
		t.Replaced = t.At + hour // taken back
	case 3:
		t.Unsure = t.At + hour
	case 4:
		t.Until = t.At + m.between(-hour, hour)
	case 5:
		m.h.Instrument.InService = at
	case 6:
		m.h.Instrument.Owner = scope.Loan
	case 7:
		m.h.Holds = append(m.h.Holds, reprocessing.Hold{Stamp: m.stamp("hold", at), Scope: tag, At: at, By: "L1", Reason: "something bent"})
	case 8: // a second list, which shows less or more
		m.stockTake(m.t+m.between(0, hour), m.between(minute, 6*day))
	case 9:
		u := reprocessing.Use{Stamp: m.stamp("use", at), Scope: tag, Start: at}
		if m.one(2) {
			u.End = at + 20*minute
		}
		m.h.Uses = append(m.h.Uses, u)
	case 10:
		kind := reprocessing.StepKinds[m.IntN(len(reprocessing.StepKinds))]
		m.h.Steps = append(m.h.Steps, reprocessing.Step{Stamp: m.stamp("step", at), Scope: tag, Kind: kind, Start: at, End: at + 5*minute, Result: reprocessing.Pass})
	case 11: // and a cycle since, which counts by itself
		m.lastly = true
		m.pass(hour, 5*hour)
		m.reprocess()
		m.came = m.h.Instrument.InService
		m.decideAll()
	}
	m.class("stock-take, and more")
}

// stockTake has two people sign for the scope at an instant, over paper that shows storage for some time.
func (m *maker) stockTake(at, lasts unit.Instant) *reprocessing.StockTake {
	m.h.StockTakes = append(m.h.StockTakes, reprocessing.StockTake{
		Stamp: m.stamp("list", at), Scope: tag, At: at, By: "L1", Second: "I1", ByRoles: roles("L1"), SecondRoles: roles("I1"),
		Cabinet: "drying-cabinet", Until: at + lasts, Papers: []string{"photograph"},
	})
	return &m.h.StockTakes[len(m.h.StockTakes)-1]
}

func (m *maker) faultsWanted() int {
	switch n := m.IntN(10); {
	case n < 3:
		return 0
	case n < 8:
		return 1
	case n < 9:
		return 2
	}
	return 3
}

func (m *maker) class(name string) { m.classes[name] = true }

// cycle is a use and what follows it.
func (m *maker) cycle(last bool) {
	m.lastly = last
	u := reprocessing.Use{Scope: tag, Start: m.t, Room: "1"}
	m.pass(10*minute, 40*minute)
	u.End = m.t
	u.Stamp = m.stamp("use", u.End)
	m.h.Uses = append(m.h.Uses, u)
	m.reprocess()
}

// unlucky says whether something goes wrong that people then put right; it is a class of its own in the last cycle.
func (m *maker) unlucky(n int, class string) bool {
	if !m.one(n) {
		return false
	}
	if m.lastly {
		m.class(class)
	}
	return true
}

func (m *maker) step(kind reprocessing.StepKind, lo, hi unit.Instant, result reprocessing.Result) *reprocessing.Step {
	s := reprocessing.Step{Scope: tag, Kind: kind, Start: m.t, Result: result, By: "T1"}
	m.pass(lo, hi)
	s.End = m.t
	s.Stamp = m.stamp(string(kind), s.End)
	m.h.Steps = append(m.h.Steps, s)
	m.pass(0, 3*minute)
	return &m.h.Steps[len(m.h.Steps)-1]
}

// reprocess is a route as it ought to be, with what may go wrong and be put right in it.
func (m *maker) reprocess() {
	used := len(m.h.Uses) > 0
	delayed := false
	switch {
	case !used:
	case m.unlucky(20, "late, with a soak"):
		m.pass(20*minute, 3*hour)
		delayed = true
	default:
		m.pass(0, 10*minute)
	}
	if used && (!delayed || m.one(2)) {
		m.step(reprocessing.PointOfUse, minute, 4*minute, reprocessing.NotStated)
	}
	if m.one(2) {
		m.step(reprocessing.Transport, 2*minute, 8*minute, reprocessing.NotStated)
	}
	if m.unlucky(25, "leak, repaired") {
		m.step(reprocessing.LeakTest, 2*minute, 4*minute, reprocessing.Fail)
		m.repair()
		delayed = used
	}
	m.step(reprocessing.LeakTest, 2*minute, 4*minute, reprocessing.Pass)
	if used && !delayed && m.unlucky(20, "cleaned late, with a soak") {
		m.pass(80*minute, 5*hour)
		delayed = true
	}
	if delayed {
		m.step(reprocessing.Soak, 10*minute, 20*minute, reprocessing.NotStated)
	}
	m.clean()
	if m.unlucky(20, "looked dirty, cleaned again") {
		m.step(reprocessing.Inspection, minute, 3*minute, reprocessing.Fail)
		m.clean()
	}
	m.step(reprocessing.Inspection, minute, 3*minute, reprocessing.Pass)
	m.verify()
	m.disinfect()
	if m.lastly && m.one(40) { // a drying that broke off
		m.class("failed and repeated")
		m.step(reprocessing.Drying, minute, 5*minute, reprocessing.Fail)
	}
	m.dry()
	m.store()
}

// follow does what an occasion asks for, as far as somebody has to.
func (m *maker) follow(o reprocessing.Occasion) {
	for _, r := range m.rules.RouteOf(o, m.h.Model.Name) {
		switch r.Step {
		case reprocessing.ManualCleaning:
			m.clean()
		case reprocessing.Inspection, reprocessing.LeakTest:
			m.step(r.Step, 2*minute, 4*minute, reprocessing.Pass)
		case reprocessing.Verification:
			m.sample(m.points, reading.OK)
		case reprocessing.Disinfection:
			m.disinfect()
		case reprocessing.Drying:
			m.dry()
		case reprocessing.PointOfUse, reprocessing.Transport, reprocessing.Soak, reprocessing.FinalRinse, reprocessing.Storage, reprocessing.Issue:
		}
	}
	m.store()
}

func (m *maker) clean() {
	m.step(reprocessing.ManualCleaning, 7*minute, 15*minute, reprocessing.NotStated)
}

func (m *maker) repair() {
	r := reprocessing.Repair{Repair: scope.Repair{Scope: tag, Sent: m.t}}
	m.pass(hour, 4*day)
	r.Returned = m.t
	r.Stamp = m.stamp("repair", m.t)
	m.h.Repairs = append(m.h.Repairs, r)
	m.pass(0, 30*minute)
}

// verify samples the scope, as often as it takes.
func (m *maker) verify() {
	if m.h.Model.Risk != scope.HighRisk && m.one(3) {
		return // not due, most of the time
	}
	points := m.points
	for round := range 3 {
		outcome := reading.OK
		if m.one(20) {
			outcome = reading.Alert
		}
		samples := m.sample(points, outcome)
		if round == 2 || !m.unlucky(12, "over the action level, cleaned again") {
			return
		}
		bad := samples[m.IntN(len(samples))]
		m.h.Samples[bad].Judgements[0] = reading.Judgement{Outcome: reading.Action}
		m.clean()
		m.step(reprocessing.Inspection, minute, 3*minute, reprocessing.Pass)
		if m.judging.Retest == reading.FailingPoints {
			points = []scope.PointKind{m.h.Samples[bad].Point}
			if m.lastly {
				m.class("points carried over")
			}
		}
	}
}

// sample takes and reads samples and returns where they stand.
func (m *maker) sample(points []scope.PointKind, outcome reading.Outcome) (places []int) {
	for _, p := range points {
		places = append(places, len(m.h.Samples))
		m.h.Samples = append(m.h.Samples, reprocessing.Taken{
			Stamp: m.stamp("sample", m.t), Sample: sampling.Sample{Scope: tag, Point: p, Cleaning: 1, Kit: "kit", Lot: "L7", By: "T1", Collected: m.t},
		})
		m.pass(30*second, 90*second)
	}
	for _, i := range places {
		m.h.Samples[i].AddReading(reading.Judgement{Outcome: outcome}, m.t, nil)
		m.pass(20*second, 60*second)
	}
	return places
}

func (m *maker) disinfect() {
	d := m.rules.Disinfectants[m.IntN(len(m.rules.Disinfectants))]
	lasts := unit.Instant(d.Contact) + 10*minute
	s := m.step(reprocessing.Disinfection, lasts, lasts+10*minute, reprocessing.Pass)
	s.Disinfectant, s.DisinfectantLot, s.DisinfectantExpires = d.Name, fmt.Sprintf("A%d", m.n), s.End+m.between(hour, 20*day)
	s.Reprocessor, s.CycleNumber = "W-1", strconv.Itoa(m.n)
	s.Contact, s.HasTemperature, s.Coldest, s.Warmest = d.Contact, true, d.Coldest, d.Warmest
	if d.ReuseDays > 0 { // it may as well be known by the date of the solution alone
		if s.DisinfectantFilled = s.Start - m.between(0, unit.Instant(d.ReuseDays)*day-2*hour); m.one(3) {
			s.DisinfectantFilled, s.DisinfectantExpires = 0, s.End+m.between(hour, unit.Instant(d.ReuseDays)*day-2*hour)
		}
	}
	if d.MEC {
		s.MEC = reprocessing.Pass
	}
	if m.one(2) || m.rules.Steps[len(m.rules.Steps)-3].Required {
		m.step(reprocessing.FinalRinse, 2*minute, 4*minute, reprocessing.NotStated)
	}
}

func (m *maker) dry() { m.step(reprocessing.Drying, 10*minute, 20*minute, reprocessing.NotStated) }

func (m *maker) store() { m.storeIn(m.rules.Cabinets[m.IntN(len(m.rules.Cabinets))].Name) }

func (m *maker) storeIn(cabinet string) {
	m.h.Steps = append(m.h.Steps, reprocessing.Step{
		Stamp: m.stamp("storage", m.t), Scope: tag, Kind: reprocessing.Storage, Start: m.t, Cabinet: cabinet, By: "T1",
	})
}

// decideAll decides on the verifications as the readings come in, and places and lifts the holds that follow.
func (m *maker) decideAll() {
	h := m.h.AsKnown(ever)
	type event struct {
		at   unit.Instant
		read bool
		i    int
	}
	var events []event
	all := h.Samples
	h.Samples = nil
	for i, t := range all {
		events = append(events, event{t.Collected, false, i})
		if len(t.Judgements) > 0 {
			events = append(events, event{t.Read, true, i})
		}
	}
	slices.SortStableFunc(events, func(a, b event) int { return cmp.Compare(a.at, b.at) })
	place := map[int]int{}
	for _, e := range events {
		t := all[e.i]
		if h.Instrument.InService = m.came; m.arrived.Known() && t.Collected >= m.arrived {
			h.Instrument.InService = m.arrived // it was registered anew then
		}
		if !e.read {
			t.Cleaning = reprocessing.Cleaning(h, t.Collected)
			all[e.i].Cleaning = t.Cleaning
			t.Read, t.Judgements = 0, nil
			place[e.i] = len(h.Samples)
			h.Samples = append(h.Samples, t)
			continue
		}
		h.Samples[place[e.i]] = t
		if m.decide(&h, reprocessing.Cleaned{Cleaning: t.Cleaning, At: t.Collected}, e.at) {
			for _, later := range h.Later(t.Collected, t.Cleaning) {
				m.decide(&h, later, e.at)
			}
		}
	}
	// The samples that were voided stay as they were.
	for i := range m.h.Samples {
		for j := range all {
			if all[j].ID == m.h.Samples[i].ID {
				m.h.Samples[i].Cleaning = all[j].Cleaning
			}
		}
	}
}

// decide decides on one cleaning, and says whether that was new. h holds what counts by then.
func (m *maker) decide(h *reprocessing.History, c reprocessing.Cleaned, at unit.Instant) bool {
	d, prior := reprocessing.Decide(*h, m.rules, m.judging, c.At, c.Cleaning, m.zone)
	if !d.New(prior) {
		return false
	}
	d.Stamp, d.Rules = m.stamp("verification", at), "rules"
	held := d.HoldsAfter(prior)
	if prior != nil {
		d.Supersedes = prior.ID
		i := slices.IndexFunc(m.h.Decisions, func(x reprocessing.Decision) bool { return x.ID == prior.ID })
		m.h.Decisions[i].Replaced = at
		h.Decisions = slices.DeleteFunc(h.Decisions, func(x reprocessing.Decision) bool { return x.ID == d.Supersedes })
	}
	h.Decisions = append(h.Decisions, d)
	m.h.Decisions = append(m.h.Decisions, d)
	switch {
	case held:
		x := d.Hold(d.ID, "T1")
		x.Stamp = m.stamp("hold", at)
		m.h.Holds = append(m.h.Holds, x)
	case d.Passed():
		for _, x := range m.h.Holds {
			switch {
			case !x.AnsweredBy(d):
			case x.EndsByVerification():
				m.lift(*h, x, at, "T1", "", d.ID)
			case x.Escalated && m.lifting: // people look into it, and two of them end it
				m.class("escalated, lifted by two")
				m.lift(*h, x, at+minute, "L1", "I1", d.ID)
			}
		}
	}
	return true
}

// roles are what the people of the histories are, by the first letter of their codes.
func roles(code string) []access.Role {
	switch strings.ToUpper(strings.TrimSpace(code) + " ")[0] {
	case 'L':
		return []access.Role{access.Lead}
	case 'I':
		return []access.Role{access.InfectionPrevention}
	case 'T':
		return []access.Role{access.Technician}
	}
	return nil
}

// lift has somebody lift a hold, over what is on record for it where that is enough.
func (m *maker) lift(known reprocessing.History, x reprocessing.Hold, at unit.Instant, by, second, verification string) {
	l := reprocessing.Lift{
		Stamp: m.stamp("lift", at), Hold: x.ID, Scope: tag, At: at, By: by, Second: second, Verification: verification, Reason: "settled",
		ByRoles: roles(by), SecondRoles: roles(second),
	}
	if lifted, err := x.Lifted(l, reprocessing.Grounds{Since: known, Rules: &m.rules, Zone: m.zone}); err == nil {
		l = lifted
	}
	m.h.Lifts = append(m.h.Lifts, l)
}

// latest is the last instant that anything names but an end that lies ahead.
func (m *maker) latest() unit.Instant {
	var last unit.Instant
	for _, u := range m.h.Uses {
		last = max(last, u.Start, u.End)
	}
	for _, s := range m.h.Steps {
		last = max(last, s.Start, s.End)
	}
	for _, t := range m.h.Samples {
		last = max(last, t.Collected, t.Read)
	}
	for _, d := range m.h.Decisions {
		last = max(last, d.Last)
	}
	for _, x := range m.h.Holds {
		last = max(last, x.At)
	}
	for _, l := range m.h.Lifts {
		last = max(last, l.At)
	}
	for _, r := range m.h.Repairs {
		last = max(last, r.Sent, r.Returned)
	}
	for _, q := range m.h.Requests {
		last = max(last, q.At)
	}
	for _, a := range m.h.Attestations {
		last = max(last, a.At)
	}
	for _, t := range m.h.StockTakes {
		last = max(last, t.At)
	}
	return max(last, m.h.Instrument.InService)
}
