package web

import (
	"fmt"
	"net/http"
	"slices"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// dossierPage is everything about one scope in a period, to be printed.
type dossierPage struct {
	scopeFacts
	// From and To are the first and the last day.
	From, To string
	Problem  string
	// Site, Printed and By say where, when and for whom the pages were made.
	Site, Printed, By string
	Cycles            []cycleLine
	Files             []fileLine
	History           []historyLine
	// Cut says of what the period holds more than is printed.
	Cut    []string
	Ledger ledgerLine
}

// ledgerLine is the state of the ledger that the pages rest on.
type ledgerLine struct {
	Origin, Root, VKey, Note string
	Size                     int64
}

// What a dossier holds at most, so that it can be printed at all.
const (
	dossierDays    = 90 // when no period is asked for
	dossierCycles  = 400
	dossierRecords = 5000
	cyclesAtOnce   = 50
)

func (s scopePages) dossier(x *kit.Exchange) error {
	zone := s.Desk.DB.Zone()
	now := s.Now()
	page := dossierPage{Site: s.Desk.DB.Site().Name, Printed: now.In(zone), By: x.Who.Code}
	status := http.StatusOK
	from, to, err := s.period(x, &page)
	if err != nil {
		shown := x.Shown(err)
		status, page.Problem = shown.Status, shown.Message+" "+shown.Hint
		from, to = now.AddDays(-dossierDays, zone), now // something to begin with
	}
	err = s.View(x.R.Context(), func(v desk.View) error {
		i, err := tagged(v, x.R.PathValue("tag"))
		if err != nil {
			return err
		}
		if _, err := s.facts(&page.scopeFacts, v, i, now); err != nil {
			return err
		}
		return s.fillDossier(&page, v, from, min(to, now))
	})
	if err != nil {
		return err
	}
	// Signed after everything was read, so that the ledger of the checkpoint holds all of it.
	if page.Ledger, err = s.sealed(x); err != nil {
		return err
	}
	return x.Show(status, "dossier", false, page)
}

// period reads the days that a dossier is about, the last ones when none are named.
func (s scopePages) period(x *kit.Exchange, page *dossierPage) (from, to unit.Instant, err error) {
	zone, q := s.Desk.DB.Zone(), x.R.URL.Query()
	day := func(text string, usual unit.Instant) (time.Time, error) {
		if text == "" {
			text = usual.Time().In(zone).Format(time.DateOnly)
		}
		t, err := time.ParseInLocation(time.DateOnly, text, zone)
		if err != nil {
			err = &kit.PageError{
				Status:  http.StatusBadRequest,
				Message: fmt.Sprintf("%q is no day.", text),
				Hint:    "Write it like " + usual.Time().In(zone).Format(time.DateOnly) + ".",
			}
		}
		return t, err
	}
	last, err := day(q.Get("to"), s.Now())
	if err != nil {
		return 0, 0, err
	}
	first, err := day(q.Get("from"), unit.At(last).AddDays(-dossierDays, zone))
	if err != nil {
		return 0, 0, err
	}
	page.From, page.To = first.Format(time.DateOnly), last.Format(time.DateOnly)
	if last.Before(first) {
		return 0, 0, &kit.PageError{Status: http.StatusBadRequest, Message: "The period ends before it begins.", Hint: "Exchange the two days."}
	}
	return unit.At(first), unit.At(last).AddDays(1, zone) - 1, nil
}

// fillDossier fills in what happened in a period.
func (s scopePages) fillDossier(page *dossierPage, v desk.View, from, to unit.Instant) error {
	zone := v.Zone()
	clock := words.Dated(zone)
	cycles, cut, err := cyclesBetween(v, page.Tag, from, to)
	if err != nil {
		return err
	}
	if cut {
		page.Cut = append(page.Cut, fmt.Sprintf("more than %d cycles", dossierCycles))
	}
	for _, t := range cycles {
		page.Cycles = append(page.Cycles, s.cycleLine(t, clock))
	}
	page.Inspections = s.inspections(cycles, clock)
	repairs, err := v.Records().Repairs(page.Tag, 0, to)
	if err != nil {
		return err
	}
	for _, r := range slices.Backward(repairs) {
		if !r.Returned.Known() || r.Returned >= from {
			page.Repairs = append(page.Repairs, s.repairLine(r, clock))
		}
	}
	if page.Files, err = s.fileLines(v, page.Tag, from, to, clock); err != nil {
		return err
	}
	if page.History, err = s.historyLines(v, page.Tag, from, to, dossierRecords, clock); err != nil {
		return err
	}
	if len(page.History) == dossierRecords {
		page.Cut = append(page.Cut, fmt.Sprintf("more than %d records", dossierRecords))
	}
	return nil
}

// cyclesBetween returns the cycles that went on in a period, the newest first; cut says that there
// are more.
func cyclesBetween(v desk.View, tag string, from, to unit.Instant) (all []desk.Cycle, cut bool, err error) {
	for to >= from {
		next, err := v.Records().Cycles(tag, to, cyclesAtOnce)
		if err != nil {
			return nil, false, err
		}
		for _, t := range next {
			if t.End < from {
				return all, false, nil
			}
			if len(all) == dossierCycles {
				return all, true, nil
			}
			all = append(all, t)
		}
		oldest := next[len(next)-1]
		if oldest.Cause == reprocessing.OnArrival {
			break
		}
		to = oldest.From - 1
	}
	return all, false, nil
}

// sealed signs the ledger as it stands and says how it can be told again.
func (s scopePages) sealed(x *kit.Exchange) (ledgerLine, error) {
	site := s.Desk.DB.Site()
	note, err := s.Desk.DB.Checkpoint(x.R.Context())
	if err != nil {
		return ledgerLine{}, err
	}
	c, err := ledger.Open(note, []string{site.VKey})
	return ledgerLine{Origin: c.Origin, Root: c.Root.String(), VKey: site.VKey, Note: string(note), Size: c.Size}, err
}
