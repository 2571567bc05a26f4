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

// alarmsShown are the alarms of the last day, as they were computed at some moment.
type alarmsShown struct {
	Lines []alarmLine
	// AsOf is when they were computed; empty before the first time.
	AsOf string
}

// alarmLine is an alarm on the board. Href is the page of the scope, Alarm that of the alarm for whoever
// may see numbers.
type alarmLine struct{ Tag, Point, Href, Alarm, Words, With string }

// watched is what the charts make of all streams, kept up to date beside the pages, since looking at every
// stream takes longer than a page may. It is never changed, only replaced.
type watched struct {
	shown   alarmsShown
	outlook desk.Outlook
}

// allStreams is the question that watched answers.
const allStreams = "all streams"

// alarmsShown are those of the last day for the board.
func (s *Server) alarmsShown() alarmsShown {
	w, _ := kit.Latest[*watched](&s.streams, allStreams)
	if w == nil {
		return alarmsShown{}
	}
	return alarmsShown{Lines: slices.Clone(w.shown.Lines), AsOf: w.shown.AsOf}
}

// outlook returns what the charts made of all streams when they were last looked at, nil before the first
// time. Pages show it and never wait for it.
func (s *Server) outlook() *desk.Outlook {
	if w, ok := kit.Latest[*watched](&s.streams, allStreams); ok {
		return &w.outlook
	}
	return nil
}

// How often the ledger is looked at for new readings, how many times as long as a look at the streams took
// the next one waits at least, so that looking takes a twentieth of one processor, and since when alarms
// are shown on the board.
const (
	watchEvery  = 10 * time.Second
	watchRest   = 19
	alarmsSince = 24 * time.Hour
)

// rest returns how long to wait after a look at the streams that took so long.
func rest(took time.Duration) time.Duration { return max(watchEvery, watchRest*took) }

// Watch looks at the streams whenever something was recorded, until the context ends.
func (s *Server) Watch(ctx context.Context) {
	seen := int64(-1)
	for {
		wait := watchEvery
		size, err := s.size(ctx)
		if err == nil && size != seen {
			begun := s.Clock()
			if err = s.LookAtStreams(ctx); err == nil {
				seen = size
			}
			wait = rest(s.Clock().Sub(begun))
		}
		if err != nil && ctx.Err() == nil {
			s.Log.ErrorContext(ctx, "the alarms could not be computed", slog.Any("error", err))
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
	}
}

// LookAtStreams keeps what the charts make of all streams now.
func (s *Server) LookAtStreams(ctx context.Context) error {
	size, err := s.size(ctx)
	if err != nil {
		return err
	}
	w, err := s.watch(ctx)
	if err != nil {
		return err
	}
	s.streams.Keep(kit.Question{Text: allStreams, Size: size}, w)
	return nil
}

func (s *Server) watch(ctx context.Context) (*watched, error) {
	now := s.Now()
	var w watched
	var raised []desk.Raised
	if err := s.View(ctx, func(v desk.View) (err error) {
		if w.outlook, err = v.Outlook(now, desk.UsualWatching()); err != nil {
			return err
		}
		raised, err = v.Raised(w.outlook.Alarms)
		return err
	}); err != nil {
		return nil, err
	}
	w.shown.AsOf = words.Short(now, now, s.Desk.DB.Zone())
	for _, r := range raised {
		a := r.Alarm
		if a == nil || a.Last < now.Add(-alarmsSince) || a.Provisional || !a.Open || r.State == trend.LifeClosed && !r.Again {
			continue
		}
		w.shown.Lines = append(w.shown.Lines, alarmLine{
			Tag: a.Key.Scope, Point: string(a.Key.Point), Href: s.ScopeHref(a.Key.Scope), Alarm: s.AlarmHref(r.ID), Words: s.alarmWords(*a, now),
			With: strings.Join(a.Coincides, ", "),
		})
	}
	return &w, nil
}

func (s *Server) alarmWords(a desk.Alarm, now unit.Instant) string {
	text := "scattering differently"
	if a.Direction != trend.Spread {
		text = terms.Direction(a.Direction).Word
	}
	if a.Since == nil {
		return text
	}
	return text + " since about " + words.Short(a.Since.At, now, s.Desk.DB.Zone()) + ", from " +
		strconv.Itoa(int(a.Since.Before)) + " to " + strconv.Itoa(int(a.Since.Now)) + " RLU"
}
