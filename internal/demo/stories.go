package demo

import (
	"bytes"
	"cmp"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"slices"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
)

// telling is what is told of a hospital: what happens in it by design.
type telling struct{ *hospital }

func (h *hospital) telling() telling { return telling{h} }

// The names of the planted stories.
const (
	WornChannel   = "worn channel"
	AfterLeave    = "after leave"
	BadLot        = "bad lot"
	DriftingMeter = "drifting meter"
	FailedCheck   = "failed check"
	Culture       = "positive culture"
	RepairCures   = "repair that cures"
	DelayedNight  = "delayed night"
	Escalation    = "escalation"
	ExpiredSample = "expired sample"
	Voided        = "voided entry"
	Corrected     = "corrected entry"
	LateEntry     = "late entry"
	Request       = "request"
	Exposure      = "exposure"
	MissingRecord = "missing record"
	Smell         = "odd smell"
	Strips        = "failed strip"
	FinalRinse    = "final rinse"
	OldStrips     = "old strips"
	Recalled      = "recalled part"
	AtTheEnd      = "at the end"
)

// Story is something planted in the data, as it truly is. Where a field that names something is
// set, the story is about that alone; Shift is then added to log10 of its readings while the story
// lasts.
type Story struct {
	Name string `json:"name"`
	// What is the truth in a sentence.
	What   string          `json:"what"`
	From   unit.Instant    `json:"from"`
	To     unit.Instant    `json:"to"`
	Scope  string          `json:"scope,omitempty"`
	Point  scope.PointKind `json:"point,omitempty"`
	Person string          `json:"person,omitempty"`
	Kit    string          `json:"kit,omitempty"`
	Lot    string          `json:"lot,omitempty"`
	Meter  string          `json:"meter,omitempty"`
	// Shift is in log10 RLU. One with Full grows evenly from nothing at From to all of it at Full.
	Shift float64      `json:"shift,omitempty"`
	Full  unit.Instant `json:"full,omitzero"`
	// Passing says that no reading in the story is over the action level.
	Passing bool `json:"passing,omitempty"`
	// Hurried says that manual cleanings in the story are too short.
	Hurried bool `json:"hurried,omitempty"`
	// Scopes are the scopes of a story about several.
	Scopes []string `json:"scopes,omitempty"`
	// Positive are the instants at which cultures were taken that were positive.
	Positive []unit.Instant `json:"positive,omitempty"`
	// Records are those that show the story, where it is one of single records.
	Records []ledger.ID `json:"records,omitempty"`
	// Held is the kind of hold that the story is about, Hold the hold and Lift what ended it, empty while nothing has.
	Held reprocessing.HoldKind `json:"held,omitempty"`
	Hold ledger.ID             `json:"hold,omitempty"`
	Lift ledger.ID             `json:"lift,omitempty"`
}

// covers says whether a reading made in these circumstances belongs to the story.
func (s Story) covers(c circumstances) bool {
	same := func(mine, its string) bool { return mine == "" || mine == its }
	return c.at >= s.From && c.at < s.To && same(s.Scope, c.scope) && same(string(s.Point), string(c.point)) &&
		same(s.Person, c.person) && same(s.Kit, c.kit) && same(s.Lot, c.lot) && same(s.Meter, c.meter)
}

// At returns the shift at an instant of the story.
func (s Story) At(at unit.Instant) float64 {
	if at < s.Full {
		return s.Shift * float64(at-s.From) / float64(s.Full-s.From)
	}
	return s.Shift
}

// story returns the first story of a name.
func (h telling) story(name string) *Story { return &h.stories[h.index(name)] }

// index returns the place of the first story of a name.
func (h telling) index(name string) int {
	return slices.IndexFunc(h.stories, func(s Story) bool { return s.Name == name })
}

// hurried says whether a person cleans too fast at an instant.
func (h telling) hurried(person string, at unit.Instant) bool {
	return slices.ContainsFunc(h.stories, func(s Story) bool {
		return s.Hurried && s.Person == person && at >= s.From && at < s.To
	})
}

// wearDays is how many days it takes until a channel is worn.
const wearDays = 8

// The times of the stories, as fractions of the whole time.
const (
	repairSent     = 0.40
	repairBack     = 0.43
	leaveBegins    = 0.46
	leaveEnds      = 0.52
	cultureTaken   = 0.53
	cultureResult  = 0.56
	cultureCleared = 0.60
	loanerComes    = 0.35
	checkFails     = 0.66
	limitsAdopted  = 0.145
	limitsRevised  = 0.30
)

// tell writes the stories that change readings, and the delayed night.
func (h telling) tell() []Story {
	lot, from, to := h.lotAt(palewick.kit, h.at(0.33))
	night := h.at(0.22)
	for weekday := night.Time().In(h.zone).Weekday(); weekday == time.Saturday || weekday == time.Sunday; weekday = night.Time().In(h.zone).Weekday() {
		night = night.AddDays(1, h.zone)
	}
	return []Story{
		{
			Name: WornChannel, Scope: "D-02", Point: scope.InstrumentLumen, From: h.at(0.60), To: h.today, Shift: 0.55,
			Full: min(h.at(0.60).AddDays(wearDays, h.zone), h.today),
			What: "the instrument channel of D-02 wears out: its readings rise within days and stay high, those of its other points do not",
		},
		{
			Name: AfterLeave, Person: "T-07", From: h.at(leaveEnds), To: h.today, Shift: 0.28, Hurried: true,
			What: "T-07 is back from leave and cleans too fast: manual cleanings of 6 to 9 minutes and higher readings",
		},
		{
			Name: BadLot, Kit: palewick.kit, Lot: lot, From: from, To: to, Shift: 0.28,
			What: "a bad lot of the kit reads too high on every scope",
		},
		{
			Name: DriftingMeter, Meter: "M-2", From: h.at(0.50), To: h.today, Shift: -0.40, Full: h.today,
			What: "meter M-2 loses light: it reads lower and lower, and M-1 beside it does not",
		},
		{
			Name: Culture, Scope: "D-05", From: h.at(0.33), To: h.at(cultureResult), Shift: 0.15, Passing: true,
			What: "D-05 has a positive culture although every ATP reading passes: they are a little raised and show nothing",
			Positive: []unit.Instant{
				h.hour(h.at(cultureTaken), 6.5),
			},
		},
		{
			Name:  RepairCures,
			Scope: "B-03",
			From:  h.at(0.15),
			To:    h.at(repairSent),
			Shift: 0.38,
			What:  "a crease in the channel of B-03 keeps residue until a leak test fails and the channel is replaced; then its readings are like those of its kind",
		},
		{
			Name:   DelayedNight,
			From:   h.hour(night, 18),
			To:     h.hour(night.AddDays(1, h.zone), 12),
			Scopes: []string{"G-01", "G-02", "C-01", "D-01"},
			What: "four scopes used in the evening were cleaned only in the morning, over 60 minutes after point-of-use treatment; all but D-01 were soaked " +
				"before that",
		},
	}
}

// mark adds a story of single records and returns its index.
func (h telling) mark(s Story) int {
	if !s.To.Known() {
		s.To = s.From
	}
	h.stories = append(h.stories, s)
	return len(h.stories) - 1
}

// shows adds a record to a story.
func (h telling) shows(story int, id ledger.ID) {
	h.stories[story].Records = append(h.stories[story].Records, id)
}

// on plans something for an instant.
func (h telling) on(at unit.Instant, do func(at unit.Instant)) {
	h.plans = append(h.plans, plan{at, do})
}

// cycle plans a use and a cycle out of the ordinary.
func (h telling) cycle(tag string, fraction, hour float64, change func(*cycle)) {
	s := h.scope(tag)
	h.on(h.hour(h.at(fraction), hour), func(at unit.Instant) {
		t := h.travel(s, max(at, s.free.Add(10*time.Minute)))
		change(t)
		t.whole()
	})
}

// plant plans everything that does not follow from the day's cases.
func (h telling) plant() {
	h.plantRepair()
	h.plantCulture()
	h.plantNight()
	h.plantLoaner()
	h.plantSlips()
	h.plantHolds()
	h.plantEnd()
	h.metering().plantLimits()
	h.metering().plantFailedCheck()
	h.cycle("D-03", 0.70, 9, func(t *cycle) {
		t.push = map[int]float64{1: 1.1, 2: 1.0, 3: 0.9}
		t.story = h.mark(Story{
			Name: Escalation, Scope: "D-03", From: t.at,
			What: "the tests after three cleanings over the action level: the hold is escalated and lifted later by two people",
		})
	})
	h.on(h.hour(h.at(0.25), 7.2), func(at unit.Instant) {
		g := h.scope("G-03")
		g.asked = []scope.PointKind{scope.WaterLumen, scope.AirLumen}
		e := h.entry(infectionPrevention)
		h.shows(
			h.mark(Story{Name: Request, Scope: g.Tag, From: at, What: "infection prevention asks for G-03 to be sampled at its air and water channels too"}),
			e.ID,
		)
		h.add(at, 0, func(w *desk.Work) error {
			return h.count(
				w.Ask(
					e,
					sampling.Request{
						Scope:  g.Tag,
						Points: append(g.model.Routine(), scope.WaterLumen, scope.AirLumen),
						Reason: "baseline of the small channels",
						By:     infectionPrevention,
						At:     at,
					},
				),
			)
		})
	})
}

func (h telling) plantRepair() {
	s := h.scope("B-03")
	h.on(h.hour(h.at(repairSent), 9), func(at unit.Instant) {
		t := h.travel(s, max(at, s.free.Add(10*time.Minute)))
		t.use()
		t.pointOfUse()
		t.pause(10*time.Minute, 20*time.Minute)
		leak := new(ledger.ID)
		t.placed = leak
		t.step(reprocessing.LeakTest, 3*time.Minute, 3*time.Minute, func(x *reprocessing.Step) {
			x.Result, x.Note = reprocessing.Fail, "bubbles at the bending section"
		})
		t.pause(2*time.Hour, 3*time.Hour)
		away := scope.Repair{Scope: s.Tag, Sent: t.at, Fault: "leak at the bending section"}
		sent, back := h.entry(leads[0]), h.entry(leads[0])
		story := h.story(RepairCures)
		story.To, story.Records = t.at, []ledger.ID{sent.ID, back.ID}
		t.add(t.at, func(w *desk.Work) error { return h.count(w.RecordRepair(sent, away, "")) })
		t.at = max(h.hour(h.at(repairBack), 10), h.hour(t.at.AddDays(1, h.zone), 10))
		cured := away
		cured.Returned, cured.Work = t.at, "bending section and instrument channel replaced; a crease was found in the channel"
		t.add(t.at, func(w *desk.Work) error { return h.count(w.RecordRepair(back, cured, string(sent.ID))) })
		t.cleaning, t.soaked = 0, true // it was away with residue of its last use
		t.arrive()
		t.tells(h.index(RepairCures), reprocessing.LeakHold)
		t.lift(leak, leads[0], "", "bending section replaced; the leak test after it passed")
	})
}

func (h telling) plantCulture() {
	s := h.scope("D-05")
	h.on(h.hour(h.at(cultureResult), 6), func(at unit.Instant) {
		story := h.story(Culture)
		at = max(at, s.free.Add(10*time.Minute))
		hold, lift := h.entry(infectionPrevention), h.entry(leads[0])
		story.To, story.Records = at, []ledger.ID{hold.ID, lift.ID}
		story.Held, story.Hold, story.Lift = reprocessing.CultureHold, hold.ID, lift.ID
		why := "surveillance culture taken on " + story.Positive[0].In(h.zone) + ": a high-concern organism"
		h.add(at, time.Minute, func(w *desk.Work) error {
			return h.count(w.PlaceHold(hold, reprocessing.Hold{
				Scope: s.Tag, Kind: reprocessing.CultureHold, At: at, By: infectionPrevention, Reason: why,
			}))
		})
		cleared := max(h.hour(h.at(cultureCleared), 15), at.Add(8*time.Hour))
		t := h.travel(s, cleared.Add(-5*time.Hour))
		t.tame = true
		t.arrive()
		cleared = max(cleared, t.at)
		h.fileReport(s.Tag, cleared, infectionPrevention, "repeat cultures of D-05: negative")
		cleared = cleared.Add(afterFiling)
		h.add(cleared, time.Minute, func(w *desk.Work) error {
			return h.count(w.LiftHold(lift, reprocessing.Lift{
				Hold: string(hold.ID), At: cleared, By: leads[0], Second: infectionPrevention,
				Reason: "channel inspected, reprocessed twice, two repeat cultures negative",
			}))
		})
		s.free = cleared.Add(5 * time.Minute)
	})
}

func (h telling) plantNight() {
	story := *h.story(DelayedNight)
	for i, tag := range story.Scopes {
		s := h.scope(tag)
		start := story.From.Add(70*time.Minute + time.Duration(i)*25*time.Minute)
		h.on(story.From, func(unit.Instant) {
			t := h.travel(s, max(start, s.free.Add(10*time.Minute)))
			t.delayed = h.hour(story.To, 6.6).Add(time.Duration(i) * 12 * time.Minute)
			if tag != "D-01" {
				t.soaked = true
			}
			t.whole()
			s.exposed = tag == "D-01"
		})
	}
}

// plantLoaner lets a gastroscope come on loan.
func (h telling) plantLoaner() {
	at := h.hour(h.at(loanerComes), 8)
	s := h.instrument("X-01", "Quillet G1", scope.Loan, at)
	h.on(at, func(at unit.Instant) {
		h.register(at, s)
		t := h.travel(s, at.Add(20*time.Minute))
		t.arrive()
	})
}

// plantSlips plans what goes wrong in keeping records.
func (h telling) plantSlips() {
	for i, fraction := range []float64{0.12, 0.45, 0.81} {
		tag := []string{"D-04", "B-02", "E-01"}[i]
		h.cycle(tag, fraction, 8.5, func(t *cycle) {
			t.forgotten = scope.OuterDistalEnd
			t.story = h.mark(
				Story{
					Name:  ExpiredSample,
					Scope: tag,
					Point: t.forgotten,
					From:  t.at,
					What:  "a swab lay for over 4 hours: its reading is void, a new sample was taken, and the scope was cleaned again, since it had lain for hours",
				},
			)
		})
	}
	h.cycle("Y-01", 0.20, 8.2, func(t *cycle) {
		t.doubled = true
		t.story = h.mark(Story{Name: Voided, Scope: "Y-01", From: t.at, What: "a leak test was recorded twice; one of the two was voided"})
	})
	h.cycle("D-06", 0.30, 8.2, func(t *cycle) {
		t.mistyped = true
		t.story = h.mark(Story{Name: Corrected, Scope: "D-06", From: t.at, What: "a reading was typed wrong and corrected"})
	})
	late := h.scope("E-02")
	h.on(h.hour(h.at(0.50), 9), func(at unit.Instant) {
		t := h.travel(late, max(at, late.free.Add(10*time.Minute)))
		t.tardy = true
		t.story = h.mark(Story{Name: LateEntry, Scope: "E-02", From: t.at, What: "drying and storage were recorded five hours late"})
		t.whole()
		again := h.travel(late, t.at.Add(time.Hour))
		missing := h.mark(Story{
			Name: MissingRecord, Scope: "E-02", From: again.at,
			What: "used before its drying was on record: on hold until the record was there, and lifted with it",
		})
		hold := again.use()
		again.begin()
		again.finish()
		again.at = max(again.at, t.recorded.Add(5*time.Minute))
		again.tells(missing, reprocessing.RecordHold)
		again.lift(hold, leads[0], "", "drying and storage were done in time and recorded late")
	})
	s := h.scope("C-03")
	h.on(h.hour(h.at(0.42), 7), func(at unit.Instant) {
		start := max(at, s.free.Add(10*time.Minute))
		end := start.Add(25 * time.Minute)
		wrong, void := h.entry(nurses[0]), both(h.hospital)
		void.Corrects, void.Reason = wrong.ID, "entered for the wrong scope: C-03 hung in the cabinet"
		story := h.mark(Story{Name: Voided, Scope: s.Tag, From: start, What: "a use was entered for the wrong scope and voided"})
		h.shows(story, wrong.ID)
		h.shows(story, void.ID)
		patient := h.patient()
		h.add(end, time.Minute, func(w *desk.Work) error {
			return h.count(w.RecordUse(wrong, reprocessing.Use{Scope: s.Tag, Start: start, End: end, Procedure: "colonoscopy", Room: "Room 2"}, patient))
		})
		h.add(end, 12*time.Minute, func(w *desk.Work) error {
			h.summary.Cycles--
			return h.count(w.Void(void))
		})
		s.free = end.Add(15 * time.Minute)
	})
}

// plantHolds plans the holds that people place, each ended as its kind asks for, and one that a failed test strip places.
func (h telling) plantHolds() {
	h.plantHold(Story{
		Name: Smell, Scope: "G-04", Held: reprocessing.OtherHold,
		What: "a technician puts G-04 on hold for its smell; it is reprocessed, and two people let it go",
	}, 0.62, "", "an odd smell at the sink", (*cycle).arrive, leads[1], infectionPrevention, "the detergent had been changed; no smell after another cycle")
	h.plantHold(Story{
		Name: FinalRinse, Scope: "C-04", Held: reprocessing.WaterHold,
		What: "the final rinse of W-2 was over its limit: C-04, which had gone through it, is reprocessed with water that is good again",
	}, 0.64, infectionPrevention, "final rinse of W-2, sample of Tuesday: over its limit", (*cycle).arrive, infectionPrevention, "",
		"reprocessed in W-1; the latest results of the water of both are within their limits")
	h.plantHold(Story{
		Name: OldStrips, Scope: "Y-02", Held: reprocessing.MeansHold,
		What: "a bottle of test strips was found open for too long: Y-02, which was tested with it, is reprocessed with a new one",
	}, 0.68, "", "the bottle of strips had been open for too long", (*cycle).arrive, "", "", "reprocessed with strips of a new bottle that passed its control")
	h.plantHold(Story{
		Name: Recalled, Scope: "U-02", Held: reprocessing.RecallHold,
		What: "a recall of valves: U-02 waits until its valves are replaced",
	}, 0.72, leads[1], "recall of suction valves, notice 7 of the maker (invented)", func(t *cycle) { t.pause(2*time.Hour, 3*time.Hour) }, leads[1], "",
		"all suction valves replaced as the notice asks for")
	s := h.scope("Y-01")
	h.on(h.hour(h.at(0.48), 10), func(at unit.Instant) {
		t := h.travel(s, max(at, s.free.Add(10*time.Minute)))
		t.tame = true
		story := h.mark(Story{
			Name: Strips, Scope: s.Tag, From: t.at,
			What: "a test strip shows that the solution is too weak: Y-01 is on hold until it has gone through everything again",
		})
		t.use()
		t.begin()
		hold := new(ledger.ID)
		t.placed, t.weak = hold, true
		t.pause(3*time.Minute, 12*time.Minute)
		t.disinfect()
		t.weak = false
		t.clean()
		t.verify(t.model.Routine())
		t.finish()
		t.tells(story, reprocessing.DisinfectionHold)
		t.lift(hold, t.by, "", "reprocessed with a new solution whose strip passed")
	})
}

// plantHold plans that somebody, whoever reprocesses where nobody is named, puts a scope on hold, what is done then, and
// who ends that.
func (h telling) plantHold(story Story, fraction float64, places, why string, then func(*cycle), by, second, reason string) {
	s := h.scope(story.Scope)
	h.on(h.hour(h.at(fraction), 9), func(at unit.Instant) {
		t := h.travel(s, max(at, s.free.Add(10*time.Minute)))
		t.tame = true
		story.From = t.at
		told := h.mark(story)
		hold, begun := new(ledger.ID), t.at
		e := h.entry(cmp.Or(places, t.by))
		t.recorded = begun.Add(time.Minute)
		h.add(begun, time.Minute, func(w *desk.Work) error {
			r, err := w.PlaceHold(e, reprocessing.Hold{Scope: t.Tag, Kind: story.Held, At: begun, By: e.By, Reason: why})
			*hold = r.Record.ID
			return h.count(r, err)
		})
		t.pause(5*time.Minute, 10*time.Minute)
		then(t)
		if paper := reports[story.Held]; paper != "" {
			h.fileReport(t.Tag, t.at, e.By, paper)
			t.at = t.at.Add(afterFiling)
		}
		t.tells(told, story.Held)
		t.lift(hold, cmp.Or(by, t.by), second, reason)
	})
}

// reports are what is filed before a hold that somebody places can end, by its kind.
var reports = map[reprocessing.HoldKind]string{ //nolint:exhaustive // the others end without a report
	reprocessing.WaterHold:  "final rinse of W-1 and W-2: within their limits",
	reprocessing.RecallHold: "suction valves replaced, as notice 7 asks for",
}

// afterFiling is long enough that a report is on record before what rests on it.
const afterFiling = 2 * window

// fileReport files a report with a scope.
func (h telling) fileReport(tag string, at unit.Instant, by, title string) {
	h.file(dossier.Attachment{Scope: tag, Kind: dossier.Report, Title: title, At: at}, by, time.Minute)
}

// file files a picture with a scope some time after it was taken; it is blank, since there is nothing to see.
func (h telling) file(a dossier.Attachment, by string, delay time.Duration) {
	e := h.entry(by)
	h.add(a.At, delay, func(w *desk.Work) error {
		var sheet bytes.Buffer
		blank := image.NewGray(image.Rect(0, 0, 210, 297))
		draw.Draw(blank, blank.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
		if err := png.Encode(&sheet, blank); err != nil {
			return err
		}
		return h.count(w.Attach(e, a, sheet.Bytes()))
	})
}

// plantEnd plans how things stand at the end, whatever the hour.
func (h telling) plantEnd() {
	const day = 24 * time.Hour
	end := func(tag, what string, reserved, before time.Duration, do func(t *cycle)) {
		s := h.scope(tag)
		s.reserved = h.today.Add(-reserved)
		h.mark(Story{Name: AtTheEnd, Scope: tag, From: h.today.Add(-before), To: h.today, What: what})
		if do != nil {
			h.on(h.today.Add(-before), func(at unit.Instant) { do(h.travel(s, at)) })
		}
	}
	end("D-04", "on hold: a reading is over the action level and the scope was not sampled again", day, 190*time.Minute, func(t *cycle) {
		t.push, t.once = map[int]float64{1: 1.7}, true // far enough above what the scope reads otherwise to be a signal, whatever is drawn
		t.use()
		t.begin()
	})
	end(
		"C-02",
		"in the middle of its cycle: treated at the point of use and leak-tested, the clock to manual cleaning runs",
		day,
		70*time.Minute,
		func(t *cycle) {
			t.during(25*time.Minute, 25*time.Minute)
			t.use()
			t.pointOfUse()
			t.pause(10*time.Minute, 12*time.Minute)
			t.step(reprocessing.LeakTest, 3*time.Minute, 3*time.Minute, passed)
		},
	)
	end("E-03", "swabbed and not yet read: the clock of a sample runs", day, 170*time.Minute, func(t *cycle) {
		t.during(45*time.Minute, 45*time.Minute)
		t.use()
		t.pointOfUse()
		t.clean()
		// Right after midnight a little later, so that there is a sample of today.
		t.at = max(h.today.Add(-25*time.Minute), h.hour(h.today, 0)+(h.today-h.hour(h.today, 0))/2).Add(-time.Minute)
		t.collect(scope.OuterDistalEnd, 1, false)
	})
	end("B-04", "on hold by a lead: damage was seen at an inspection", 40*time.Hour, 20*time.Hour, func(t *cycle) {
		e, at := h.entry(leads[1]), t.at
		story := &h.stories[slices.IndexFunc(h.stories, func(s Story) bool { return s.Name == AtTheEnd && s.Scope == t.Tag })]
		story.Held, story.Hold = reprocessing.DamageHold, e.ID
		t.add(at, func(w *desk.Work) error {
			return h.count(
				w.PlaceHold(e, reprocessing.Hold{
					Scope: t.Tag, Kind: reprocessing.DamageHold, At: at, By: leads[1], Reason: "a scratch at the distal end: to be looked at with a borescope",
				}),
			)
		})
	})
	end("Y-03", "its storage time is over", 9*day, 2*day, nil)
	h.scope("G-05").unsampled = h.today.Add(-20 * day)
	loaner := h.instrument("X-02", "Marrow D4", scope.Loan, h.today.Add(-2*time.Hour))
	end("X-02", "on loan, just arrived, and due", 9*usualDays*day, 2*time.Hour, func(t *cycle) { h.register(t.at, loaner) })
}

// escalate lets two people lift an escalated hold after the scope was looked at and has passed. hold
// is filled in when the hold is placed.
func (t *cycle) escalate(points []scope.PointKind, hold *ledger.ID) {
	failed := t.cleaning
	t.pause(3*time.Hour, 5*time.Hour)
	// Where that is in the night it waits until the meters were checked: no reading of a day counts before.
	if t.at >= t.h.hour(t.at, 22) {
		t.at = t.h.hour(t.at.AddDays(1, t.h.zone), 0)
	}
	t.at = max(t.at, t.h.hour(t.at, checkHour+0.5))
	t.tame = true
	t.by = leads[0]
	t.clean()
	t.cleaning++
	t.verification(points, t.cleaning)
	t.pause(10*time.Minute, 30*time.Minute)
	at, e := t.at, t.h.entry(leads[0])
	t.show(e.ID)
	t.add(at, func(w *desk.Work) error {
		if *hold == "" {
			return fmt.Errorf("demo: the test after cleaning %d of %s placed no hold", failed, t.Tag)
		}
		if t.story >= 0 {
			story := &t.h.stories[t.story]
			story.Held, story.Hold, story.Lift = reprocessing.CleaningHold, *hold, e.ID
		}
		return t.h.count(w.LiftHold(e, reprocessing.Lift{
			Hold: string(*hold), At: at, By: leads[0], Second: infectionPrevention,
			Reason: "channel inspected with a borescope, new brushes, soaked and cleaned again; passed",
		}))
	})
}

// tells says that the next lift ends the hold that a story is about.
func (t *cycle) tells(story int, kind reprocessing.HoldKind) {
	t.h.stories[story].Held = kind
	t.ends = story
}

// show adds a record to the story that the cycle belongs to.
func (t *cycle) show(id ledger.ID) {
	if t.story >= 0 {
		t.h.telling().shows(t.story, id)
	}
}

// held returns the hold among the records that followed on an act, empty when there is none.
func held(r desk.Receipt) ledger.ID {
	for _, f := range r.Followed {
		if record.KindOf(f) == record.Hold {
			return f.ID
		}
	}
	return ""
}
