package web

import (
	"crypto/rand"
	"net/http"
	"slices"
	"strings"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// todayPage is the department at a glance.
type todayPage struct {
	Wall bool
	// Live is where it hears of news.
	Live string
	// Clock says that the computer's clock is in doubt.
	Clock *clockDoubt
	// Emergencies says that some emergency uses are not settled.
	Emergencies *pendingEmergencies
	// Unproven is how many acts keep scopes from being ready until somebody attests them, Attest leads there; empty
	// for whoever may not.
	Unproven int
	Attest   string
	Counts   []count
	Tiles    []tile
	OnHold   []onHold
	Clocks   []running
	Due      []due
	Meters   []meterLine
	Lots     []lotLine
	Ends     []openEnd
	Signals  signalsShown
	Notes    []noteLine
	// Note is the form for a new note; nil for whoever may not write one.
	Note *noteForm
	// Also are the pages of the day that the navigation does not name, for whoever may open them.
	Also []kit.Link
}

// openEnd is what was begun and not ended.
type openEnd struct{ Tag, Href, What, Since, Age, By string }

type noteLine struct{ At, By, Text, Href string }

// noteForm is a note while it is written. ID is that of its record, so that sending it twice stores it
// once.
type noteForm struct{ ID, Text, Problem string }

// notesOver is how long hand-over notes are shown, notesShown how many at most.
const (
	notesOver  = 48 * time.Hour
	notesShown = 6
)

// count is how many scopes are in a state.
type count struct {
	Mark words.Mark
	N    int
}

// tile is one scope on the board.
type tile struct {
	Tag, Href   string
	Mark        words.Mark
	Until, Left string
	// Why is the first reason, and Plain the same without what a person typed.
	Why, Plain string
}

type onHold struct{ Tag, Href, Age, Why, By string }

// running is a clock that runs: a step that must begin, or a sample that must be read.
type running struct {
	Tag, Href, What string
	Deadline, Left  string
	At              unit.Instant
	Over            bool
}

// due is a scope that is due to be sampled, with every reason.
type due struct {
	Tag, Href, Points string
	Reasons           []dueReason
	Blocks            bool
}

type dueReason struct {
	// Plain is Why without who asked and what they said.
	Why, Plain, Since string
}

type meterLine struct {
	Code, System, Why string
	// Href is where it is checked; empty for whoever may not see it.
	Href string
	Good bool
}

type lotLine struct{ Kit, Lot, Why string }

func (s dayPages) today(x *kit.Exchange) error {
	return s.todayPage(x, http.StatusOK, noteForm{ID: string(ledger.NewID(s.Now(), rand.Reader))})
}

// first is the first page of whoever has signed in: the board, or the release check for whoever may not see that.
func (s dayPages) first(x *kit.Exchange) error {
	if !x.May(access.SeeBoard) {
		return x.Redirect("/ready")
	}
	return s.today(x)
}

func (s dayPages) todayPage(x *kit.Exchange, status int, note noteForm) error {
	return s.board(x, status, note, x.R.URL.Query().Has("wall"))
}

// wall shows the board on a screen that people look at from far away. It names no people, since nobody may
// have signed in at it.
func (s dayPages) wall(x *kit.Exchange) error { return s.board(x, http.StatusOK, noteForm{}, true) }

func (s dayPages) board(x *kit.Exchange, status int, note noteForm, wall bool) error {
	page := todayPage{Wall: wall, Live: s.URL("/live"), Signals: s.signalsShown()}
	if x.Who == nil || x.R.URL.Path == s.URL("/wall") {
		page.Live = s.URL("/wall/live")
	}
	if x.Can(desk.ToHandOver) && !page.Wall {
		page.Note = &note
	}
	if x.Can(desk.ToAttest) && !page.Wall {
		page.Attest = s.URL(attestPath)
	}
	now := s.Now()
	p, err := s.overview(x.R.Context())
	if err != nil {
		return err
	}
	if !page.Wall {
		page.Emergencies = urgentPages(s).pending(x, p.emergencies)
		page.Also = s.also(x)
	}
	err = s.View(x.R.Context(), func(v desk.View) error {
		if page.Clock, err = s.clockDoubt(v, now); err != nil {
			return err
		}
		s.tiles(&page, p.board, now, v)
		s.clocks(&page, p.open, now, v)
		s.ends(&page, p.ends, now, v)
		if err := s.handedOver(&page, v, now); err != nil {
			return err
		}
		if err := s.supplies(&page, v, now); err != nil {
			return err
		}
		for i, m := range page.Meters {
			if x.May(access.SeeScope) && !page.Wall {
				page.Meters[i].Href = s.MeterHref(m.Code)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if !x.May(access.SeeNumbers) {
		for i := range page.Signals.Lines {
			page.Signals.Lines[i].Signal = ""
		}
	}
	if x.Who == nil || page.Wall {
		page.nameless()
	}
	return x.Show(status, "today", page.Wall, page)
}

// also are the pages of the day that are looked for when nothing is pending as well.
func (s dayPages) also(x *kit.Exchange) (links []kit.Link) {
	add := func(may bool, path, text string) {
		if may {
			links = append(links, kit.Link{Href: s.URL(path), Text: text})
		}
	}
	add(x.May(access.SeeScope), emergenciesPath, "Emergency uses")
	add(x.Can(desk.ToAttest), attestPath, "Not proven: attest")
	add(x.Can(desk.ToCompareClock), clockPath, "The clock")
	return links
}

// nameless takes out who did what, links to pages that open to nobody, and notes, in which people may be
// named.
func (p *todayPage) nameless() {
	for i := range p.Tiles {
		p.Tiles[i].Href, p.Tiles[i].Why = "", p.Tiles[i].Plain
	}
	for i := range p.OnHold {
		p.OnHold[i].Href, p.OnHold[i].By, p.OnHold[i].Why = "", "", "" // a reason is free text
	}
	for i := range p.Clocks {
		p.Clocks[i].Href = ""
	}
	for i := range p.Due {
		p.Due[i].Href = ""
		for j := range p.Due[i].Reasons {
			p.Due[i].Reasons[j].Why = p.Due[i].Reasons[j].Plain
		}
	}
	for i := range p.Ends {
		p.Ends[i].Href, p.Ends[i].By = "", ""
	}
	for i := range p.Signals.Lines {
		p.Signals.Lines[i].Href, p.Signals.Lines[i].With = "", ""
	}
	if p.Clock != nil {
		p.Clock.Href = ""
	}
	p.Notes = nil
}

// handOver writes a note for the next shift.
func (s dayPages) handOver(x *kit.Exchange) error {
	form := noteForm{ID: x.R.PostFormValue("id"), Text: x.R.PostFormValue("text")}
	id, err := ledger.ParseID(form.ID)
	if err != nil {
		return &kit.PageError{Status: http.StatusBadRequest, Message: err.Error()}
	}
	err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		_, err := w.HandOver(desk.Entry{ID: id, By: x.Who.Code}, dossier.Handover{Text: strings.TrimSpace(form.Text)})
		return err
	})
	if err == nil {
		return x.Redirect("/today#notes")
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	form.Problem = words
	return s.todayPage(x, status, form)
}

// handedOver adds the notes of the last shifts.
func (s dayPages) handedOver(page *todayPage, v desk.View, now unit.Instant) error {
	notes, err := v.Records().Handover(now.Add(-notesOver), notesShown)
	if err != nil {
		return err
	}
	for _, n := range notes {
		page.Notes = append(page.Notes, noteLine{At: words.Short(n.At, now, v.Zone()), By: n.By, Text: n.Text, Href: s.RecordHref(string(n.ID))})
	}
	return nil
}

// ends adds what was begun and not ended.
func (s dayPages) ends(page *todayPage, ends []desk.OpenEnd, now unit.Instant, v desk.View) {
	for _, o := range ends {
		page.Ends = append(page.Ends, openEnd{o.Scope, s.ScopeHref(o.Scope), o.What, words.Short(o.Begun, now, v.Zone()), words.Age(now.Sub(o.Begun)), o.By})
	}
}

// boardOrder is the order of states on the board: what wants somebody comes first.
var boardOrder = []reprocessing.State{
	reprocessing.OnHold, reprocessing.NotKnown, reprocessing.InReprocessing, reprocessing.OutOfService,
	reprocessing.PaperDecides, reprocessing.NothingAgainst, reprocessing.Ready,
}

// tiles fills in what the release check says of every scope.
func (s dayPages) tiles(page *todayPage, board []reprocessing.Answer, now unit.Instant, v desk.View) {
	clock := words.Seen(now, v.Zone())
	for _, state := range boardOrder {
		n := 0
		for _, a := range board {
			if a.State != state {
				continue
			}
			n++
			page.Unproven += len(a.Wanting)
			a = clock.Answer(s.Terms.Answer(a))
			t := tile{Tag: a.Scope, Href: s.ScopeHref(a.Scope), Mark: s.Terms.State(a.State), Until: clock(a.Until)}
			if a.Until.Known() {
				t.Left = words.Age(a.Until.Sub(now))
			}
			for _, r := range a.Reasons {
				if r.Blocks && t.Why == "" {
					t.Why, t.Plain = r.Whole(), r.Public()
				}
				if state == reprocessing.OnHold && r.Since.Known() {
					page.OnHold = append(page.OnHold, onHold{Tag: a.Scope, Href: t.Href, Age: words.Age(now.Sub(r.Since)), Why: r.Whole(), By: r.By})
				}
			}
			if t.Why == "" {
				t.Why = a.NotChecked()
				t.Plain = t.Why
			}
			page.Tiles = append(page.Tiles, t)
			if len(a.Due) > 0 && state != reprocessing.OutOfService { // what is away is sampled when it is back
				page.Due = append(page.Due, dueOf(a, t.Href, clock))
			}
			for _, p := range a.Steps {
				if a.State == reprocessing.OutOfService || a.State == reprocessing.NotKnown {
					break // nobody is at work on it
				}
				if p.Status == reprocessing.MissingStep && p.Deadline.Known() {
					page.Clocks = append(page.Clocks, running{
						Tag: a.Scope, Href: t.Href, What: "begin " + s.Terms.Step(p.Step), At: p.Deadline,
						Deadline: words.Short(p.Deadline, now, v.Zone()), Left: words.Age(p.Deadline.Sub(now)), Over: p.Deadline < now,
					})
				}
			}
		}
		if n > 0 || state != reprocessing.PaperDecides && state != reprocessing.NothingAgainst { // which most departments have none of
			page.Counts = append(page.Counts, count{s.Terms.State(state), n})
		}
	}
}

// dueOf brings together why a scope is due.
func dueOf(a reprocessing.Answer, href string, clock words.Clock) due {
	line := due{Tag: a.Scope, Href: href}
	var points []scope.PointKind
	for _, d := range a.Due {
		line.Reasons = append(line.Reasons, dueReason{Why: d.Whole(), Plain: d.Why, Since: clock(d.Since)})
		line.Blocks = line.Blocks || d.Blocks
		for _, p := range d.Points {
			if !slices.Contains(points, p) {
				points = append(points, p)
			}
		}
	}
	line.Points = scope.Named(points)
	return line
}

// clocks adds the samples that were taken and not read, and puts all clocks in order of urgency.
func (s dayPages) clocks(page *todayPage, open []desk.OpenSample, now unit.Instant, v desk.View) {
	for _, o := range open {
		line := running{Tag: o.Scope, Href: s.ScopeHref(o.Scope), What: o.Point.Words() + ": " + o.Next, Over: o.State == sampling.Void, At: o.Deadline}
		if o.Deadline.Known() {
			line.Deadline, line.Left, line.Over = words.Short(o.Deadline, now, v.Zone()), words.Age(o.Deadline.Sub(now)), line.Over || o.Deadline < now
		}
		page.Clocks = append(page.Clocks, line)
	}
	slices.SortStableFunc(page.Clocks, func(a, b running) int { return int(a.At - b.At) })
}

// supplies adds the meters that may not be used and the lots that expire soon.
func (s dayPages) supplies(page *todayPage, v desk.View, now unit.Instant) error {
	meters, err := v.Day().MeterStandings(now)
	if err != nil {
		return err
	}
	for _, m := range meters {
		page.Meters = append(page.Meters, meterLine{Code: m.Code, System: m.System, Why: s.ClockOf(v).Said(m.State.Why), Good: m.State.Condition == quality.Checked})
	}
	lots, err := v.Day().Lots()
	if err != nil {
		return err
	}
	for _, l := range lots {
		if l.EndsSoon(now) {
			page.Lots = append(page.Lots, lotLine{l.Kit, l.Lot, "expires in " + words.Age(l.Expires.Sub(now))})
		}
	}
	return nil
}
