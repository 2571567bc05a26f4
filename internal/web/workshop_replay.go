package web

import (
	"fmt"
	"math"
	"strconv"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/present/figure"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// replayView is the past under two levels.
type replayView struct {
	// First and Second name the levels, Columns are the two with what differs.
	First, Second string
	Tallies       []tallyLine
	Kinds         []kindTallies
	Changed       int
	Changes       []changeLine
	Notes         []string
	Picture       kit.Picture
	Exports       kit.Exports
	all           []desk.ChangedVerification
	at            func(desk.ChangedVerification) string
}

// tallyLine is one figure under both levels.
type tallyLine struct{ Name, First, Second, Difference string }

type kindTallies struct {
	Kind  string
	Lines []tallyLine
}

// changeLine is one verification whose outcome differs.
type changeLine struct {
	Scope, Href, At, Record string
	Cleaning                int
	First, Second           words.Mark
}

// Bounds of the list of changes: on the page, and in a file.
const (
	mostChanges     = 50
	mostFileChanges = 10_000
)

func (s levelPages) fillReplay(x *kit.Exchange, page *workshopPage, d desk.Studied, l reading.Level) error {
	r := &replayView{First: "today", Second: "proposed", Exports: page.exports(x, replayStep)}
	page.Replay = r
	return s.View(x.R.Context(), func(v desk.View) error {
		past, err := s.past(page.q, v, d.From, d.To)
		if err != nil {
			return err
		}
		costs, err := page.q.costs()
		if err != nil {
			return err
		}
		costs.MostChanges = mostFileChanges
		found, err := v.Studies().Replay(past, l, costs)
		if err != nil {
			return err
		}
		if err := s.fillTallies(r, v, past, found); err != nil {
			return err
		}
		if past.Begin > d.From {
			r.Notes = append(
				r.Notes,
				fmt.Sprintf(
					"There are more readings than are replayed at once: the latest %d are, from %s on.",
					len(past.Rows),
					words.Full(past.Begin, v.Zone()),
				),
			)
		}
		today, err := v.Registry().Levels()
		if err != nil {
			return err
		}
		t := d.Plan.Target
		levels := []figure.NamedLevel{{Name: "proposed", Level: l}}
		if now, ok := reading.Find(today, reading.ATP, reading.Circumstances{System: t.System, Kit: t.Kit, Point: t.Point, Kind: t.Kind, At: v.Now()}); ok {
			levels = append(levels, figure.NamedLevel{Name: "today", Level: now})
		}
		r.Picture = kit.Pictured("replay", figure.BaselineUnder(d.Samples, d.Derivation, levels...))
		return nil
	})
}

// past reads the past of a period with the cultures that are asked about.
func (s levelPages) past(q asked, v desk.View, from, to unit.Instant) (desk.Past, error) {
	cultures, err := q.cultures()
	if err != nil {
		return desk.Past{}, err
	}
	costs, err := q.costs()
	if err != nil {
		return desk.Past{}, err
	}
	past, err := v.Studies().LatestPast(from, to, mostReplayed, costs.SampleMinutes, cultures)
	if err == nil && len(past.Rows) == 0 {
		err = mistyped("There is no reading in that time. Choose another period.")
	}
	return past, err
}

// fillTallies fills in the two pasts, what differs, and what to keep in mind.
func (s levelPages) fillTallies(r *replayView, v desk.View, past desk.Past, found level.Replay) error {
	r.Tallies = tallyLines(found.Today, found.Proposed)
	for _, k := range found.Kinds {
		r.Kinds = append(r.Kinds, kindTallies{k.Kind.Words(), tallyLines(k.Today, k.Proposed)})
	}
	r.Changed, r.all = found.Changed, past.Changed(found)
	r.at = func(c desk.ChangedVerification) string { return words.Full(c.First, v.Zone()) }
	for _, c := range r.all[:min(mostChanges, len(r.all))] {
		line, err := s.changeLine(v, c)
		if err != nil {
			return err
		}
		r.Changes = append(r.Changes, line)
	}
	unknown := max(found.Today.Unknown, found.Proposed.Unknown)
	if unknown > 0 {
		r.Notes = append(
			r.Notes,
			fmt.Sprintf(
				"Up to %d cleanings would have been asked for that never took place, so that nobody knows their result: kits and minutes are lower bounds there.",
				unknown,
			),
		)
	}
	if past.Unlinked > 0 {
		r.Notes = append(
			r.Notes,
			fmt.Sprintf("%d cultures have no sampled cycle in the %d days before them and are not counted.", past.Unlinked, desk.CultureDays),
		)
	}
	return nil
}

// changeLine links a verification whose outcome differs to where it is on the page of its scope, and to the
// record of the decision.
func (s levelPages) changeLine(v desk.View, c desk.ChangedVerification) (changeLine, error) {
	id, err := v.Studies().VerificationOf(c)
	return changeLine{
		Scope: c.Scope, Href: s.CycleHref(c.Scope, c.First), At: words.Full(c.First, v.Zone()), Record: s.RecordHref(string(id)), Cleaning: c.Cleaning,
		First: verificationMark(s.Terms, c.Today), Second: verificationMark(s.Terms, c.Then),
	}, err
}

// verificationMark is the outcome of a verification under a level; a verification that would not have happened has none.
func verificationMark(t words.Terms, o reading.Outcome) words.Mark {
	if o == level.Spared {
		return t.Mark(words.NotAsked)
	}
	return t.Outcome(o)
}

// signed writes a difference.
func signed(x float64) string {
	if math.Round(x) == 0 {
		return "0"
	}
	return fmt.Sprintf("%+.0f", x)
}

func tallyLines(a, b level.Tally) []tallyLine {
	var lines []tallyLine
	add := func(name string, x, y int) {
		lines = append(lines, tallyLine{name, strconv.Itoa(x), strconv.Itoa(y), signed(float64(y - x))})
	}
	add("cycles with samples", a.Cycles, b.Cycles)
	add("cleaning verifications", a.Verifications, b.Verifications)
	add("of them not needed", a.Spared, b.Spared)
	add("of them over the action level", a.Over, b.Over)
	add("of them at or over the alert level", a.Alerts, b.Alerts)
	add("of them not decided", a.Undecided, b.Undecided)
	add("further cleanings", a.Recleans, b.Recleans)
	add("of those with a result that nobody knows", a.Unknown, b.Unknown)
	add("scopes on hold after the last cleaning", a.Holds, b.Holds)
	add("kits", a.Kits, b.Kits)
	lines = append(
		lines,
		tallyLine{
			"minutes of sampling and further cleaning",
			fmt.Sprintf("%.0f", float64(a.Minutes)),
			fmt.Sprintf("%.0f", float64(b.Minutes)),
			signed(float64(b.Minutes - a.Minutes)),
		},
	)
	if a.Caught+a.Missed+a.Unjudged > 0 {
		add("cycles with a positive culture, over the action level", a.Caught, b.Caught)
		add("cycles with a positive culture that passed", a.Missed, b.Missed)
		add("cycles with a positive culture, undecided", a.Unjudged, b.Unjudged)
	}
	return lines
}

func (r *replayView) listing() kit.Listing {
	l := kit.Listing{
		Name:    "changed-verifications",
		Columns: []table.SheetColumn{{Name: "scope"}, {Name: "cycle sampled at"}, {Name: "cleaning", Number: true}, {Name: r.First}, {Name: r.Second}},
	}
	for _, c := range r.all {
		l.Rows = append(l.Rows, []string{c.Scope, r.at(c), strconv.Itoa(c.Cleaning), string(c.Today), string(c.Then)})
	}
	return l
}

// rows is what the step has to be taken away as a file.
func (p workshopPage) rows() (kit.Listing, bool) {
	switch {
	case p.Baseline != nil && p.Baseline.Given > 0:
		return p.Baseline.listing(), true
	case p.Candidates != nil:
		return p.Candidates.listing(), true
	case p.Known != nil:
		return p.Known.listing(), true
	case p.Replay != nil && p.Replay.at != nil:
		return p.Replay.listing(), true
	}
	return kit.Listing{}, false
}
