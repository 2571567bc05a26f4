package web

import (
	"context"
	"log/slog"
	"slices"
	"strconv"
	"strings"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// signalsShown are the signals of the last day, as they were computed at some moment.
type signalsShown struct {
	Lines []signalLine
	// AsOf is when they were computed; empty before the first time.
	AsOf string
}

// signalLine is a signal on the board. Href is the page of the scope, Signal that of the signal for whoever
// may see numbers.
type signalLine struct{ Tag, Point, Href, Signal, Words, With string }

// watched is what the charts make of all series, kept up to date beside the pages, since looking at every
// series takes longer than a page may. It is never changed, only replaced.
type watched struct {
	shown   signalsShown
	outlook desk.Outlook
}

// allSeries is the question that watched answers.
const allSeries = "all series"

// signalsShown are those of the last day for the board.
func (s *Server) signalsShown() signalsShown {
	w, _ := kit.Latest[*watched](&s.allSeries, allSeries)
	if w == nil {
		return signalsShown{}
	}
	return signalsShown{Lines: slices.Clone(w.shown.Lines), AsOf: w.shown.AsOf}
}

// outlook returns what the charts made of all series when they were last looked at, nil before the first
// time. Pages show it and never wait for it.
func (s *Server) outlook() *desk.Outlook {
	if w, ok := kit.Latest[*watched](&s.allSeries, allSeries); ok {
		return &w.outlook
	}
	return nil
}

// How often the ledger is looked at for new readings, how many times as long as a look at the series took
// the next one waits at least, so that looking takes a twentieth of one processor, and since when signals
// are shown on the board.
const (
	watchEvery   = 10 * time.Second
	watchRest    = 19
	signalsSince = 24 * time.Hour
)

// rest returns how long to wait after a look at the series that took so long.
func rest(took time.Duration) time.Duration { return max(watchEvery, watchRest*took) }

// Watch looks at the series whenever something was recorded, until the context ends.
func (s *Server) Watch(ctx context.Context) {
	seen := int64(-1)
	for {
		wait := watchEvery
		size, err := s.size(ctx)
		if err == nil && size != seen {
			begun := s.Clock()
			if err = s.LookAtSeries(ctx); err == nil {
				seen = size
			}
			wait = rest(s.Clock().Sub(begun))
		}
		if err != nil && ctx.Err() == nil {
			s.Log.ErrorContext(ctx, "the signals could not be computed", slog.Any("error", err))
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
	}
}

// LookAtSeries keeps what the charts make of all series now.
func (s *Server) LookAtSeries(ctx context.Context) error {
	size, err := s.size(ctx)
	if err != nil {
		return err
	}
	w, err := s.watch(ctx)
	if err != nil {
		return err
	}
	s.allSeries.Keep(kit.Question{Text: allSeries, Size: size}, w)
	return nil
}

func (s *Server) watch(ctx context.Context) (*watched, error) {
	now := s.Now()
	var w watched
	var raised []desk.Raised
	if err := s.View(ctx, func(v desk.View) (err error) {
		if w.outlook, err = v.Numbers().Outlook(now, desk.UsualWatching()); err != nil {
			return err
		}
		raised, err = v.Numbers().Raised(w.outlook.Signals)
		return err
	}); err != nil {
		return nil, err
	}
	w.shown.AsOf = words.Short(now, now, s.Desk.DB.Zone())
	for _, r := range raised {
		a := r.Signal
		if a == nil || a.Last < now.Add(-signalsSince) || a.Provisional || !a.Open || r.State == trend.LifeClosed && !r.Again {
			continue
		}
		w.shown.Lines = append(w.shown.Lines, signalLine{
			Tag: a.Key.Scope, Point: a.Key.Point.Words(), Href: s.ScopeHref(a.Key.Scope), Signal: s.SignalHref(r.ID), Words: s.signalWords(*a, now),
			With: strings.Join(a.Coincides, ", "),
		})
	}
	return &w, nil
}

func (s *Server) signalWords(a desk.Signal, now unit.Instant) string {
	text := "varying differently"
	if a.Direction != trend.Spread {
		text = s.Terms.Direction(a.Direction).Word
	}
	if a.Since == nil {
		return text
	}
	return text + " since about " + words.Short(a.Since.At, now, s.Desk.DB.Zone()) + ", from " +
		strconv.Itoa(int(a.Since.Before)) + " to " + strconv.Itoa(int(a.Since.Now)) + " RLU"
}
