package web

import (
	"fmt"
	"net/http"
	"slices"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/quality"
	"rinsate/internal/scope"
	"rinsate/internal/turnaround"
	"rinsate/internal/unit"
)

// todayPage is the department at a glance.
type todayPage struct {
	Wall   bool
	Counts []count
	Tiles  []tile
	Held   []held
	Clocks []running
	Due    []due
	Meters []meterLine
	Lots   []lotLine
	Alarms alarmsShown
}

// count is how many scopes are in a state.
type count struct {
	Mark mark
	N    int
}

// tile is one scope on the board.
type tile struct {
	Tag, Href   string
	Mark        mark
	Until, Left string
	Why         string
}

type held struct{ Tag, Href, Since, Age, Why, By string }

// running is a clock that runs: a step that must begin, or a sample that must be read.
type running struct {
	Tag, Href, What string
	Deadline, Left  string
	At              unit.Instant
	Over            bool
}

type due struct {
	Tag, Href, Why, Points, Since string
	Blocks                        bool
}

type meterLine struct {
	Code, System, Why string
	Good              bool
}

type lotLine struct{ Kit, Lot, Why string }

// lotsSoon is how long before its expiry a lot is shown.
const lotsSoon = 14 * 24 * time.Hour

func (s *Server) today(x *exchange) error {
	page := todayPage{Wall: x.r.URL.Query().Has("wall"), Alarms: s.alarms.shown()}
	now := s.now()
	err := s.view(x.r.Context(), func(v desk.View) error {
		board, err := v.Board(now)
		if err != nil {
			return err
		}
		s.board(&page, board, now, v)
		if err := s.clocks(&page, v, now); err != nil {
			return err
		}
		return s.supplies(&page, v, now)
	})
	if err != nil {
		return err
	}
	return x.show(http.StatusOK, "today", page.Wall, page)
}

// boardOrder is the order of states on the board: what wants somebody comes first.
var boardOrder = []turnaround.State{turnaround.Held, turnaround.Unknown, turnaround.InWork, turnaround.Out, turnaround.Ready}

// board fills in what the gate says of every scope.
func (s *Server) board(page *todayPage, board []turnaround.Answer, now unit.Instant, v desk.View) {
	for _, state := range boardOrder {
		n := 0
		for _, a := range board {
			if a.State != state {
				continue
			}
			n++
			t := tile{Tag: a.Scope, Href: s.scopeHref(a.Scope), Mark: markOf(a.State), Until: clockTime(a.Until, now, v.Zone())}
			if a.Until.Known() {
				t.Left = age(a.Until.Sub(now))
			}
			for _, r := range a.Reasons {
				if r.Blocks && t.Why == "" {
					t.Why = r.Text
				}
				if state == turnaround.Held && r.By != "" {
					page.Held = append(page.Held, held{Tag: a.Scope, Href: t.Href, Why: r.Text, By: r.By})
				}
			}
			page.Tiles = append(page.Tiles, t)
			for _, d := range a.Due {
				page.Due = append(page.Due, due{
					Tag: d.Scope, Href: t.Href, Why: d.Why, Points: scope.Words(d.Points), Since: clockTime(d.Since, now, v.Zone()), Blocks: d.Blocks,
				})
			}
			for _, p := range a.Steps {
				if a.State == turnaround.Out || a.State == turnaround.Unknown {
					break // nobody is at work on it
				}
				if p.Status == turnaround.MissingStep && p.Deadline.Known() {
					page.Clocks = append(page.Clocks, running{
						Tag: a.Scope, Href: t.Href, What: "begin " + string(p.Step), At: p.Deadline,
						Deadline: clockTime(p.Deadline, now, v.Zone()), Left: age(p.Deadline.Sub(now)), Over: p.Deadline < now,
					})
				}
			}
		}
		page.Counts = append(page.Counts, count{markOf(state), n})
	}
}

// clocks adds the samples that were taken and not read, and puts all clocks in order of urgency.
func (s *Server) clocks(page *todayPage, v desk.View, now unit.Instant) error {
	open, err := v.OpenSamples(now)
	if err != nil {
		return err
	}
	for _, o := range open {
		line := running{Tag: o.Scope, Href: s.scopeHref(o.Scope), What: fmt.Sprintf("%s of %s", o.Next, o.Point), At: o.Deadline}
		if o.Deadline.Known() {
			line.Deadline, line.Left, line.Over = clockTime(o.Deadline, now, v.Zone()), age(o.Deadline.Sub(now)), o.Deadline < now
		}
		page.Clocks = append(page.Clocks, line)
	}
	slices.SortStableFunc(page.Clocks, func(a, b running) int { return int(a.At - b.At) })
	return nil
}

// supplies adds the meters that may not be used and the lots that expire soon.
func (s *Server) supplies(page *todayPage, v desk.View, now unit.Instant) error {
	meters, err := v.Meters()
	if err != nil {
		return err
	}
	for _, m := range meters {
		state, err := v.MeterState(m.Code, now)
		if err != nil {
			return err
		}
		page.Meters = append(page.Meters, meterLine{Code: m.Code, System: m.System, Why: state.Why, Good: state.Condition == quality.Checked})
	}
	lots, err := v.Lots()
	if err != nil {
		return err
	}
	for _, l := range lots {
		switch {
		case l.Recalled.Known() && l.Recalled <= now:
		case l.Expires <= now:
		case l.Expires.Sub(now) < lotsSoon:
			page.Lots = append(page.Lots, lotLine{l.Kit, l.Lot, "expires in " + age(l.Expires.Sub(now))})
		}
	}
	return nil
}
