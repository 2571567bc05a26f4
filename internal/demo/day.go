package demo

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// planDay plans what begins on a day: first what is out of the ordinary, then the cases.
func (h *hospital) planDay(midnight unit.Instant) {
	next := midnight.AddDays(1, h.zone)
	for len(h.plans) > 0 && h.plans[0].at < next {
		p := h.plans[0]
		h.plans = h.plans[1:]
		p.do(p.at)
	}
	h.metering().checkMeters(midnight)
	for _, c := range h.cases(midnight) {
		h.take(c)
	}
}

// procedure is one patient's appointment.
type procedure struct {
	service int
	start   unit.Instant
}

// cases draws the appointments of a day in the order of their starts.
func (h *hospital) cases(midnight unit.Instant) []procedure {
	load := 1.0
	weekday := midnight.Time().In(h.zone).Weekday()
	emergency := weekday == time.Saturday || weekday == time.Sunday
	if emergency {
		load = 0.1
	}
	var list []procedure
	for i, s := range h.services {
		for range int(s.weekday*load + h.rng.Float64()) {
			hour := 7.75 + 7.25*h.rng.Float64()
			if emergency || h.rng.Float64() < 0.04 {
				hour = 8 + 13*h.rng.Float64()
			}
			list = append(list, procedure{i, h.hour(midnight, hour).Add(h.between(0, time.Minute))})
		}
	}
	slices.SortStableFunc(list, func(a, b procedure) int { return int(a.start - b.start) })
	return list
}

const quietHours = 3 * time.Hour

// take gives a case the scope of its service that has been ready for the longest time; when none is
// ready the case waits, and in the evening it is put off.
func (h *hospital) take(c procedure) {
	// The last hours are quiet, so that most of the fleet is ready when the data end.
	if c.start > h.today.Add(-quietHours) && h.rng.Float64() < 0.75 {
		return
	}
	var chosen *endoscope
	for _, s := range h.scopes {
		if !slices.Contains(h.services[c.service].models, s.Model) || s.InService > c.start || c.start >= s.reserved {
			continue
		}
		if s.expires <= c.start && s.free <= c.start { // to be reprocessed before any use
			h.travel(s, c.start).arrive()
		}
		if chosen == nil || s.free < chosen.free {
			chosen = s
		}
	}
	if chosen == nil {
		return
	}
	start := max(c.start, chosen.free.Add(h.between(5*time.Minute, 20*time.Minute)))
	if start.Sub(c.start) > 6*time.Hour || start >= chosen.reserved || start > h.hour(c.start, 23) {
		return
	}
	h.travel(chosen, start).whole()
}

// cycle is one while it is planned. at is how far it has come.
type cycle struct {
	*endoscope
	h       *hospital
	service service
	at      unit.Instant
	// recorded is when the last record of the cycle is written; the next comes after it.
	recorded unit.Instant
	by       string
	// left is what the cleaning left behind, kept what each point kept, in log10 RLU.
	left float64
	kept map[scope.PointKind]float64

	// What is out of the ordinary.
	push      map[int]float64 // by cleaning, in log10 RLU; such a cleaning is over the action level
	tame      bool            // every reading is below the alert level
	once      bool            // no further cleaning is made
	delayed   unit.Instant    // when manual cleaning begins
	soaked    bool            // before it, as delayed reprocessing asks for
	forgotten scope.PointKind // its sample lies for too long
	doubled   bool            // the leak test is recorded twice
	mistyped  bool            // a reading is corrected
	tardy     bool            // drying and storage are recorded late
	story     int             // that single records belong to, -1 for none
	late      time.Duration
	weak      bool // the strip of the disinfection fails
	// wrong says what of the cycle was not done right, as it truly is; empty where everything was.
	wrong string
	// placed is filled in with the hold that the latest use or step places.
	placed *ledger.ID
	// ends is the story about the hold that the next lift ends, -1 for none.
	ends int
}

// travel begins a cycle of a scope.
func (h *hospital) travel(s *endoscope, at unit.Instant) *cycle {
	t := &cycle{
		endoscope: s, h: h, service: h.serviceOf(s.Model), at: at, by: h.onDuty(at.Add(time.Hour)),
		left: h.normal(cleaningLeft), kept: make(map[scope.PointKind]float64), story: -1,
		placed: new(ledger.ID), ends: -1,
	}
	// Shortly before a scope takes part in what the data end with, nothing may come between.
	t.tame = at > s.reserved.Add(-3*24*time.Hour) && at < s.reserved
	return t
}

// add plans the record of something that happened in the cycle, after its earlier records.
func (t *cycle) add(happened unit.Instant, do func(*desk.Work) error) {
	delay := t.late + t.h.between(15*time.Second, 100*time.Second)
	if after := t.recorded.Add(time.Second).Sub(happened); after > delay {
		delay = after
	}
	t.recorded = happened.Add(delay)
	t.h.add(happened, delay, do)
}

func (t *cycle) pause(shortest, longest time.Duration) {
	t.at = t.at.Add(t.h.between(shortest, longest))
}

// during fixes how long the use takes.
func (t *cycle) during(shortest, longest time.Duration) {
	t.service.shortest, t.service.longest = shortest, longest
}

// whole is an ordinary cycle from the use to the cabinet. Where the scope was not ready when the use began, infection
// prevention and a lead look into that.
func (t *cycle) whole() {
	exposed := t.exposed
	t.exposed = false
	hold := t.use()
	t.begin()
	t.finish()
	if exposed {
		t.tells(t.h.telling().mark(Story{
			Name: Exposure, Scope: t.Tag, From: t.at,
			What: "used although its last cycle was not complete: on hold until it was reprocessed and two people had signed",
		}), reprocessing.ExposureHold)
		t.lift(hold, infectionPrevention, leads[0], "reprocessed since; the patient is on the list to be followed up")
	}
}

// lift plans the end of a hold that the cycle placed, by one person or two. It draws no random numbers.
func (t *cycle) lift(hold *ledger.ID, by, second, reason string) {
	e, at := t.h.entry(by), t.at
	delay := max(time.Minute, t.recorded.Add(time.Second).Sub(at))
	t.recorded = at.Add(delay)
	story := t.ends
	t.ends = -1
	t.h.add(at, delay, func(w *desk.Work) error {
		if *hold == "" {
			return fmt.Errorf("demo: nothing put %s on hold that ends with: %s", t.Tag, reason)
		}
		if story >= 0 {
			t.h.stories[story].Hold, t.h.stories[story].Lift = *hold, e.ID
		}
		return t.h.count(w.LiftHold(e, reprocessing.Lift{Hold: string(*hold), At: at, By: by, Second: second, Reason: reason}))
	})
	t.free = max(t.free, t.recorded.Add(time.Minute))
}

// holds counts what an act left behind and keeps which hold it placed.
func (t *cycle) holds(hold *ledger.ID, r desk.Receipt, err error) error {
	if id := held(r); id != "" {
		*hold = id
	}
	return t.h.count(r, err)
}

// arrive reprocesses and samples a scope without a use before: nothing is done at a bedside.
func (t *cycle) arrive() {
	// The same numbers are drawn as for the treatment after a use, so that what follows is as it was tuned.
	t.pause(time.Minute, 4*time.Minute)
	t.h.rng.IntN(len(nurses))
	t.pause(3*time.Minute, 5*time.Minute)
	t.h.between(15*time.Second, 100*time.Second)
	t.clean()
	t.verify(t.model.Routine())
	t.finish()
}

// begin is the part of a cycle up to a verification that passed or was not due.
func (t *cycle) begin() {
	t.pointOfUse()
	t.clean()
	if t.due() {
		t.verify(t.points())
	}
}

// patient returns the number of a patient, one who was here before now and then.
func (h *hospital) patient() string {
	if h.patients > 50 && h.rng.Float64() < 0.2 {
		return "P" + strconv.Itoa(700000+h.rng.IntN(h.patients))
	}
	h.patients++
	return "P" + strconv.Itoa(700000+h.patients)
}

// use plans the record of a use. What it returns is filled in when that places a hold.
func (t *cycle) use() *ledger.ID {
	u := reprocessing.Use{Scope: t.Tag, Start: t.at, Procedure: t.service.procedure, Room: t.service.room}
	t.pause(t.service.shortest, t.service.longest)
	t.uses++
	t.cleaning = 0
	happened := t.at
	if u.End = t.at; u.End >= t.h.today {
		u.End, happened = 0, u.Start
	}
	e, patient := t.h.entry(nurses[t.h.rng.IntN(len(nurses))]), t.h.patient()
	hold := new(ledger.ID)
	t.add(happened, func(w *desk.Work) error {
		r, err := w.RecordUse(e, u, patient)
		return t.holds(hold, r, err)
	})
	return hold
}

// step plans the record of a step that begins now and takes a random time.
func (t *cycle) step(kind reprocessing.StepKind, shortest, longest time.Duration, fill func(*reprocessing.Step)) ledger.ID {
	return t.stepBy(t.by, kind, t.h.between(shortest, longest), fill)
}

// stepBy is a step of a given person and length; at the end of the data it may still go on.
func (t *cycle) stepBy(by string, kind reprocessing.StepKind, takes time.Duration, fill func(*reprocessing.Step)) ledger.ID {
	s := reprocessing.Step{Scope: t.Tag, Kind: kind, Start: t.at, By: by}
	t.at = t.at.Add(takes)
	happened := t.at
	switch {
	case takes == 0:
	case t.at >= t.h.today:
		happened, fill = s.Start, nil
	default:
		s.End = t.at
	}
	if fill != nil {
		fill(&s)
	}
	e := t.h.entry(by)
	hold := t.placed
	t.add(happened, func(w *desk.Work) error {
		r, err := w.RecordStep(e, s)
		return t.holds(hold, r, err)
	})
	return e.ID
}

func passed(s *reprocessing.Step) { s.Result = reprocessing.Pass }

func (t *cycle) pointOfUse() {
	t.pause(time.Minute, 4*time.Minute)
	t.stepBy(nurses[t.h.rng.IntN(len(nurses))], reprocessing.PointOfUse, t.h.between(3*time.Minute, 5*time.Minute), nil)
}

// clean is a leak test, the manual cleaning and the inspection; now and then the inspection finds
// residue and the scope is cleaned again.
func (t *cycle) clean() {
	t.pause(5*time.Minute, 35*time.Minute)
	if t.delayed.Known() {
		t.at = max(t.at, t.delayed)
	}
	test := t.at
	first := t.step(reprocessing.LeakTest, 2*time.Minute, 4*time.Minute, passed)
	if t.doubled {
		t.doubled = false
		t.double(test, first)
	}
	t.pause(time.Minute, 4*time.Minute)
	if t.delayed.Known() && !t.soaked {
		t.wrong = "cleaned too late and not soaked"
	}
	if t.soaked {
		t.step(reprocessing.Soak, 30*time.Minute, 30*time.Minute, nil)
	}
	t.scrub()
	residue := !t.tame && t.h.rng.Float64() < 0.01
	hold := new(ledger.ID)
	if residue {
		t.placed = hold
		t.step(reprocessing.Inspection, 2*time.Minute, 4*time.Minute, func(s *reprocessing.Step) {
			s.Result, s.Note = reprocessing.Fail, "residue at the distal end"
		})
		t.pause(time.Minute, 3*time.Minute)
		t.scrub()
	}
	t.step(reprocessing.Inspection, 2*time.Minute, 4*time.Minute, passed)
	if residue {
		seen := t.at
		t.at = t.pictured("nothing found at the second inspection")
		t.lift(hold, leads[0], "", "residue and no damage: cleaned again, nothing found at the second inspection")
		t.at = seen // nobody waits for that
	}
}

// pictured files a photograph of what was just looked at, and returns from when on something may rest on it.
func (t *cycle) pictured(title string) unit.Instant {
	after := max(t.at.Add(time.Minute), t.recorded.Add(afterFiling))
	t.h.telling().file(dossier.Attachment{Scope: t.Tag, Kind: dossier.Photograph, Title: title, At: t.at}, t.by, after.Sub(t.at))
	t.recorded = after
	return after.Add(afterFiling)
}

// scrub is a manual cleaning: 17 minutes on average, and less for who hurries.
func (t *cycle) scrub() {
	shortest, longest := 14*time.Minute, 20*time.Minute
	if t.h.telling().hurried(t.by, t.at) { // longer than the rules ask for at least
		shortest, longest = 6*time.Minute, 9*time.Minute
	}
	t.step(reprocessing.ManualCleaning, shortest, longest, nil)
	t.pause(time.Minute, 2*time.Minute)
}

// double records the leak test once more and voids that.
func (t *cycle) double(start unit.Instant, first ledger.ID) {
	again, void := t.h.entry(t.by), both(t.h)
	void.Corrects, void.Reason = again.ID, "recorded twice"
	t.show(first)
	t.show(again.ID)
	t.show(void.ID)
	s := reprocessing.Step{Scope: t.Tag, Kind: reprocessing.LeakTest, Start: start, End: t.at, By: t.by, Result: reprocessing.Pass}
	t.add(t.at, func(w *desk.Work) error { return t.h.count(w.RecordStep(again, s)) })
	t.h.add(t.at, 9*time.Minute, func(w *desk.Work) error { return t.h.count(w.Void(void)) })
}

// due says whether the scope is sampled in this cycle.
func (t *cycle) due() bool {
	switch {
	case t.model.Risk == scope.HighRisk || len(t.asked) > 0:
		return true
	case t.at >= t.unsampled:
		return false
	}
	return t.uses >= periodicUses || t.passed.AddDays(periodicDays, t.h.zone) <= t.at
}

// points are what is sampled in this cycle.
func (t *cycle) points() []scope.PointKind {
	points := t.model.Routine()
	for _, p := range scope.PointKinds {
		if slices.Contains(t.asked, p) && !slices.Contains(points, p) {
			points = append(points, p)
		}
	}
	t.asked = nil
	return points
}

// verify samples until a verification passes; after the last cleaning the lead decides.
func (t *cycle) verify(points []scope.PointKind) {
	for {
		t.cleaning++
		waited := t.forgotten != ""
		passes, hold := t.verification(points, t.cleaning)
		switch {
		case passes && waited: // the scope lay clean and wet for hours
		case passes:
			t.passed, t.uses = t.at, 0
			return
		case t.once:
			return
		case t.cleaning >= cleanings:
			t.escalate(points, hold)
			t.passed, t.uses = t.at, 0
			return
		}
		t.pause(5*time.Minute, 15*time.Minute)
		t.scrub()
		t.step(reprocessing.Inspection, 2*time.Minute, 4*time.Minute, passed)
	}
}

// verification samples and reads every point once, and points near a level twice. hold is filled in when a
// reading places a hold.
func (t *cycle) verification(points []scope.PointKind, cleaning int) (passes bool, hold *ledger.ID) {
	h := t.h
	if cleaning > 1 {
		t.left -= cleanedAgain
	}
	meter := t.service.system.meters[h.rng.IntN(len(t.service.system.meters))]
	passes, hold = true, new(ledger.ID)
	for _, p := range points {
		fresh := h.normal(pointKept)
		if cleaning > 1 {
			fresh = keptAgain*t.kept[p] + (1-keptAgain)*fresh
		}
		t.kept[p] = fresh
		r := reader{cycle: t, point: p, cleaning: cleaning, meter: meter, hold: hold}
		if p == t.forgotten {
			t.forgotten = ""
			r.forget()
		}
		j := r.read()
		over := j.Outcome == reading.Action
		if j.Near && !over {
			over = r.read().Outcome == reading.Action
		}
		passes = passes && !over
	}
	if t.at < h.today {
		h.summary.Verifications++
		if !passes {
			h.summary.ActionVerifications++
		}
	}
	return passes, hold
}

// collect plans the record of a sample. Its marks are part of it unless it is left lying.
func (t *cycle) collect(p scope.PointKind, cleaning int, used bool) (sampling.Sample, ledger.ID) {
	t.pause(30*time.Second, 75*time.Second)
	rinsed := sampling.MethodOf(p) == sampling.Rinsate
	lot, _, _ := t.h.lotAt(t.service.system.kit, t.at)
	s := sampling.Sample{Scope: t.Tag, Point: p, Cleaning: cleaning, Kit: t.service.system.kit, Lot: lot, By: t.by, Collected: t.at}
	if rinsed {
		s.Flushed = flush(p)
		s.Recovered = unit.Millilitres(int(float64(s.Flushed)*(8.7+1.1*t.h.rng.Float64()))) / 10
	}
	if used {
		if rinsed {
			t.pause(15*time.Second, 90*time.Second)
			s.Dipped = t.at
		}
		t.pause(5*time.Second, 40*time.Second)
		s.Activated, s.Shaken = t.at, unit.Span(5+t.h.rng.IntN(5))*unit.Second
	}
	e := t.h.entry(t.by)
	t.add(t.at, func(w *desk.Work) error { return t.h.count(w.Collect(e, s)) })
	return s, e.ID
}

// reader reads one point in one cleaning.
type reader struct {
	*cycle
	point    scope.PointKind
	cleaning int
	meter    string
	hold     *ledger.ID
}

// read samples the point, reads the sample and says what the reading means.
func (r reader) read() reading.Judgement {
	s, id := r.collect(r.point, r.cleaning, true)
	r.pause(12*time.Second, 30*time.Second)
	return r.reading(s, id)
}

func (r reader) reading(s sampling.Sample, sample ledger.ID) reading.Judgement {
	h, at := r.h, r.at
	c := circumstances{
		scope: r.Tag, person: r.by, kit: s.Kit, lot: s.Lot, meter: r.meter, system: r.service.system.name, point: r.point, at: at,
	}
	value := h.draw(c, r.left+r.kept[r.point], r.push[r.cleaning], r.tame)
	j := h.judge(c, value)
	e := h.entry(r.by)
	first := value
	if slip := value + 9; r.mistyped && j.Outcome == reading.OK && !j.Near && h.judge(c, slip).Outcome == reading.OK {
		r.mistyped, first = false, slip
	}
	r.add(at, func(w *desk.Work) error { return r.enter(w, e, sample, first, at) })
	if first != value {
		r.correct(e.ID, sample, value)
	}
	return j
}

// judge says what a value means by the level in force.
func (h *hospital) judge(c circumstances, value int) reading.Judgement {
	v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: unit.Number(value)}
	return h.levelOf(c.system, c.point).Judge(v, reading.Circumstances{})
}

func (r reader) enter(w *desk.Work, e desk.Entry, sample ledger.ID, value int, at unit.Instant) error {
	v, err := reading.ParseValue(reading.ATP, reading.RLU, strconv.Itoa(value))
	if err != nil {
		return err
	}
	receipt, err := w.Read(e, desk.Reading{Sample: sample, Meter: r.meter, Value: v, At: at})
	if id := held(receipt); id != "" {
		*r.hold = id
	}
	return r.h.count(receipt, err)
}

// correct plans the correction of a reading that was typed wrong: a slip, which its author sees before the next act.
func (r reader) correct(wrong, sample ledger.ID, value int) {
	e, at := r.h.entry(r.by), r.at
	e.Corrects, e.Reason = wrong, "typed wrong: the display showed "+strconv.Itoa(value)
	r.show(wrong)
	r.show(e.ID)
	r.h.add(at, r.recorded.Add(time.Second/2).Sub(at), func(w *desk.Work) error { return r.enter(w, e, sample, value, at) })
}

// forget takes a sample that is used only after its clock has run out: the reading is void.
func (r reader) forget() {
	s, id := r.collect(r.point, r.cleaning, false)
	r.pause(4*time.Hour+8*time.Minute, 4*time.Hour+40*time.Minute)
	e, at := r.h.entry(r.by), r.at
	r.add(at, func(w *desk.Work) error {
		return r.h.count(w.Mark(e, sampling.Moment{Sample: string(id), Mark: sampling.Activated, At: at, Shaken: 6 * unit.Second, By: e.By}))
	})
	r.show(id)
	r.pause(12*time.Second, 30*time.Second)
	r.reading(s, id)
	r.pause(2*time.Minute, 4*time.Minute)
}

// disinfect disinfects the scope; where the solution is weak its strip says so.
func (t *cycle) disinfect() {
	h := t.h
	a := t.service.disinfectants[h.rng.IntN(len(t.service.disinfectants))]
	lot, filled, expires := h.solution(a, t.at)
	warmer, weak, run := h.rng.IntN(20), t.weak, h.runs.next(a)
	t.step(reprocessing.Disinfection, 26*time.Minute, 36*time.Minute, func(s *reprocessing.Step) {
		s.Result, s.Disinfectant, s.DisinfectantLot, s.DisinfectantExpires, s.MEC, s.Contact = reprocessing.Pass, a.name, lot, expires, reprocessing.Pass, a.contact
		s.Coldest, s.HasTemperature, s.Reprocessor, s.CycleNumber = unit.Celsius(a.warm*10+float64(warmer))/10, true, a.reprocessor, run
		s.Warmest, s.DisinfectantFilled = unit.Celsius(a.warm*10+float64(warmer+6))/10, filled
		if weak {
			s.Result, s.MEC, s.Note = reprocessing.Fail, reprocessing.Fail, "the strip shows a solution that is too weak"
		}
	})
}

// finish disinfects, dries and stores the scope.
func (t *cycle) finish() {
	h := t.h
	t.pause(3*time.Minute, 12*time.Minute)
	t.disinfect()
	t.pause(time.Minute, 4*time.Minute)
	if t.tardy {
		t.late = 5 * time.Hour
	}
	dried := t.step(reprocessing.Drying, 12*time.Minute, 20*time.Minute, nil)
	t.pause(time.Minute, 4*time.Minute)
	stored := t.stepBy(t.by, reprocessing.Storage, 0, func(s *reprocessing.Step) { s.Cabinet = t.service.cabinet })
	if t.tardy {
		t.show(dried)
		t.show(stored)
	}
	t.free = t.at.Add(t.late + 5*time.Minute)
	if t.at < h.today {
		h.trips = append(h.trips, Trip{Scope: t.Tag, Stored: t.at, Wrong: t.wrong})
	}
	t.expires = t.at.AddDays(6, h.zone)
	if t.service.cabinet == "drying-cabinet" {
		t.expires = t.at.AddDays(29, h.zone)
	}
}
