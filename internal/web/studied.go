package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"time"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store"
	"rinsate/internal/web/kit"
)

// studiedDays is the time that statistics look at when nothing is said, studiedMost the longest: pages
// must not take minutes. The command line has no such bound.
const (
	studiedDays = 90
	studiedMost = 400
)

// readStudied is the time that a page of statistics is about, in whole days.
type studied struct {
	// From and To are its first and last day.
	From, To   string
	start, end unit.Instant // start <= at < end
}

// readStudied reads the time of a page.
func readStudied(x *kit.Exchange) (studied, error) {
	return studiedIn(x.R.URL.Query(), x.Shell.Now(), x.Shell.Desk.DB.Zone())
}

func studiedIn(q url.Values, now unit.Instant, zone *time.Location) (p studied, err error) {
	day := func(text string, usual unit.Instant) (time.Time, error) {
		if text == "" {
			text = usual.Time().In(zone).Format(time.DateOnly)
		}
		t, err := time.ParseInLocation(time.DateOnly, text, zone)
		if err != nil {
			err = &kit.PageError{
				Status:  http.StatusBadRequest,
				Message: fmt.Sprintf("%q is no day.", text),
				Hint:    "Write it like " + now.Time().In(zone).Format(time.DateOnly) + ".",
			}
		}
		return t, err
	}
	last, err := day(q.Get("to"), now)
	if err != nil {
		return p, err
	}
	first, err := day(q.Get("from"), unit.At(last).AddDays(1-studiedDays, zone))
	if err != nil {
		return p, err
	}
	p = studied{From: first.Format(time.DateOnly), To: last.Format(time.DateOnly), start: unit.At(first), end: unit.At(last).AddDays(1, zone)}
	switch {
	case last.Before(first):
		return p, &kit.PageError{Status: http.StatusBadRequest, Message: "The time ends before it begins.", Hint: "Exchange the two days."}
	case p.start.AddDays(studiedMost, zone) < p.end:
		return p, &kit.PageError{
			Status:  http.StatusBadRequest,
			Message: fmt.Sprintf("This is longer than %d days.", studiedMost),
			Hint:    "Choose a shorter time; for a longer one use the command line.",
		}
	}
	return p, nil
}

// query returns the time as part of an address.
func (p studied) query() url.Values { return url.Values{"from": {p.From}, "to": {p.To}} }

// size returns how many records there are.
func (s *Server) size(ctx context.Context) (size int64, err error) {
	err = s.Desk.DB.Read(ctx, func(tx *store.Tx) (err error) {
		size, err = tx.Size()
		return err
	})
	return size, err
}

// firsts returns the first readings of a time, which all statistics of variation and failures count.
func (s *Server) firsts(ctx context.Context, size int64, p studied) ([]desk.Measured, error) {
	return kit.Ask(ctx, &s.readings, kit.Question{Text: p.From + " " + p.To, Size: size}, func(ctx context.Context) (all []desk.Measured, err error) {
		err = s.View(ctx, func(v desk.View) error {
			all, err = v.Numbers().Firsts(p.start, p.end)
			return err
		})
		return all, err
	})
}

// pointWord is a kind of point as a person reads it.
type pointWord struct{ Value, Word string }

func pointWords() []pointWord {
	all := make([]pointWord, len(scope.PointKinds))
	for i, p := range scope.PointKinds {
		all[i] = pointWord{string(p), text.Spaced(p)}
	}
	return all
}
