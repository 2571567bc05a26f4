package web

import (
	"context"
	"log/slog"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/figure"
	"rinsate/internal/store"
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

// alarmWatch keeps what the charts make of all streams up to date beside the pages, since looking at every
// stream takes longer than a page may.
type alarmWatch struct {
	mu   sync.Mutex
	last alarmsShown
	// outlook is nil before the first time. It is never changed, only replaced.
	outlook *desk.Outlook
}

func (w *alarmWatch) shown() alarmsShown {
	w.mu.Lock()
	defer w.mu.Unlock()
	last := w.last
	last.Lines = slices.Clone(last.Lines)
	return last
}

// outlook returns what the charts made of all streams when they were last looked at, nil before the first
// time. Pages show it and never wait for it.
func (s *Server) outlook() *desk.Outlook {
	s.alarms.mu.Lock()
	defer s.alarms.mu.Unlock()
	return s.alarms.outlook
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
		var size int64
		err := s.desk.DB.Read(ctx, func(tx *store.Tx) (err error) {
			size, err = tx.Size()
			return err
		})
		if err == nil && size != seen {
			begun := s.clock()
			if err = s.LookAtStreams(ctx); err == nil {
				seen = size
			}
			wait = rest(s.clock().Sub(begun))
		}
		if err != nil && ctx.Err() == nil {
			s.log.ErrorContext(ctx, "the alarms could not be computed", slog.Any("error", err))
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
	}
}

// LookAtStreams looks at them once, so that pages can show what the charts make of them.
func (s *Server) LookAtStreams(ctx context.Context) error {
	now := s.now()
	var o desk.Outlook
	var raised []desk.Raised
	if err := s.view(ctx, func(v desk.View) (err error) {
		if o, err = v.Outlook(now, desk.UsualWatching()); err != nil {
			return err
		}
		raised, err = v.Raised(o.Alarms)
		return err
	}); err != nil {
		return err
	}
	shown := alarmsShown{AsOf: clockTime(now, now, s.desk.DB.Zone())}
	for _, r := range raised {
		a := r.Alarm
		if a == nil || a.Last < now.Add(-alarmsSince) || a.Provisional || !a.Open || r.State == trend.LifeClosed && !r.Again {
			continue
		}
		shown.Lines = append(shown.Lines, alarmLine{
			Tag: a.Key.Scope, Point: string(a.Key.Point), Href: s.scopeHref(a.Key.Scope), Alarm: s.alarmHref(r.ID), Words: s.alarmWords(*a, now),
			With: strings.Join(a.Coincides, ", "),
		})
	}
	s.alarms.mu.Lock()
	defer s.alarms.mu.Unlock()
	s.alarms.last, s.alarms.outlook = shown, &o
	return nil
}

func (s *Server) alarmWords(a desk.Alarm, now unit.Instant) string {
	words := "scattering differently"
	if a.Direction != trend.Spread {
		_, words = figure.Direction(a.Direction)
	}
	if a.Since == nil {
		return words
	}
	return words + " since about " + clockTime(a.Since.At, now, s.desk.DB.Zone()) + ", from " +
		strconv.Itoa(int(a.Since.Before)) + " to " + strconv.Itoa(int(a.Since.Now)) + " RLU"
}
