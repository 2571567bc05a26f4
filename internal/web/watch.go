package web

import (
	"context"
	"log/slog"
	"slices"
	"strconv"
	"sync"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/store"
	"rinsate/internal/trend"
	"rinsate/internal/unit"
)

// alarmsShown are the alarms of the last day, as they were computed at some moment.
type alarmsShown struct {
	Lines []alarmLine
	// AsOf is when they were computed; empty before the first time.
	AsOf string
}

type alarmLine struct{ Tag, Point, Href, Words, With string }

// alarmWatch keeps the alarms of all streams up to date beside the pages, since looking at every stream
// takes longer than a page may.
type alarmWatch struct {
	mu   sync.Mutex
	last alarmsShown
}

func (w *alarmWatch) shown() alarmsShown {
	w.mu.Lock()
	defer w.mu.Unlock()
	last := w.last
	last.Lines = slices.Clone(last.Lines)
	return last
}

// How often the ledger is looked at for new readings, and since when alarms are shown.
const (
	watchEvery  = 10 * time.Second
	alarmsSince = 24 * time.Hour
)

// Watch looks at the streams whenever something was recorded, until the context ends.
func (s *Server) Watch(ctx context.Context) {
	ticker := time.NewTicker(watchEvery)
	defer ticker.Stop()
	seen := int64(-1)
	for {
		var size int64
		err := s.desk.DB.Read(ctx, func(tx *store.Tx) (err error) {
			size, err = tx.Size()
			return err
		})
		if err == nil && size != seen {
			if err = s.lookAtStreams(ctx); err == nil {
				seen = size
			}
		}
		if err != nil && ctx.Err() == nil {
			s.log.ErrorContext(ctx, "the alarms could not be computed", slog.Any("error", err))
		}
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
	}
}

func (s *Server) lookAtStreams(ctx context.Context) error {
	now := s.now()
	var list []desk.Stream
	if err := s.view(ctx, func(v desk.View) (err error) {
		list, err = v.Streams(now, desk.UsualWatching())
		return err
	}); err != nil {
		return err
	}
	shown := alarmsShown{AsOf: clockTime(now, now, s.desk.DB.Zone())}
	for _, a := range desk.Alarms(list, now.Add(-alarmsSince)) {
		if a.Provisional || !a.Open {
			continue
		}
		line := alarmLine{Tag: a.Key.Scope, Point: string(a.Key.Point), Href: s.scopeHref(a.Key.Scope), Words: s.alarmWords(a, now)}
		for i, c := range a.Coincides {
			if i > 0 {
				line.With += ", "
			}
			line.With += c
		}
		shown.Lines = append(shown.Lines, line)
	}
	s.alarms.mu.Lock()
	defer s.alarms.mu.Unlock()
	s.alarms.last = shown
	return nil
}

func (s *Server) alarmWords(a desk.Alarm, now unit.Instant) string {
	words := map[trend.Direction]string{trend.Higher: "higher", trend.Lower: "lower", trend.Spread: "scattering differently"}[a.Direction]
	if a.Since == nil {
		return words
	}
	return words + " since about " + clockTime(a.Since.At, now, s.desk.DB.Zone()) + ", from " +
		strconv.Itoa(int(a.Since.Before)) + " to " + strconv.Itoa(int(a.Since.Now)) + " RLU"
}
