package web

import (
	"cmp"
	"fmt"
	"net/http"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// adoptView puts the level in force.
type adoptView struct {
	// Form is nil for whoever may not adopt.
	Form *kit.Form
	// Prove asks for the password or PIN.
	Prove bool
	// Now is the level that is in force, in words; empty when there is none.
	Now string
	// Period, Readings and Cultures are what the record will rest on.
	Period   string
	Readings int
	Cultures int
	Source   string
	Warnings []string
	// Alert and Action are what is signed: another level that the same readings give meanwhile is not.
	Alert, Action string
}

// ownSource is where a level comes from that was derived here.
const ownSource = "facility's own baseline"

// adoptFields are what the form asks for; the reason is kept with the record.
var adoptFields = []string{"edition", "source", "note", "at", "seen-alert", "seen-action", "second"}

func (s levelPages) fillAdopt(x *kit.Exchange, page *workshopPage, d desk.Studied, l reading.Level, sent kit.Form) error {
	zone := s.Desk.DB.Zone()
	a := &adoptView{
		Period:   fmt.Sprintf("%s to %s", words.Full(d.From, zone), words.Full(d.To-1, zone)),
		Readings: d.Baseline.Counted,
		Source:   ownSource,
		Warnings: sentences(d.Warnings),
		Alert:    l.Alert.String(),
		Action:   l.Action.String(),
	}
	page.Adopt = a
	cultures, err := page.q.cultures()
	if err != nil {
		return err
	}
	a.Cultures = len(cultures)
	if x.Can(desk.ToAdoptDerived) {
		a.Form, a.Prove = &sent, x.Unsigned()
		if sent.ID == "" {
			a.Form = x.Form(sentNone, "adopt")
		}
	}
	t := d.Plan.Target
	return s.View(x.R.Context(), func(v desk.View) error {
		all, err := v.Registry().Levels()
		if now, ok := reading.Find(all, reading.ATP, reading.Circumstances{System: t.System, Kit: t.Kit, Point: t.Point, Kind: t.Kind, At: v.Now()}); ok {
			a.Now = levelSaid(now) + ": " + now.Name()
		}
		return err
	})
}

// sentNone stands for no form that was sent.
var sentNone kit.Sent

// adopt puts the level in force that the form asks for. The derivation, the replay and the judgement by
// cultures are computed anew and become part of the record, as the command line does.
func (s levelPages) adopt(x *kit.Exchange) error {
	f, q := x.Read(adoptFields...), askedOf(x.R.PostForm)
	id, err := s.adopted(x, f, q)
	if err == nil {
		return x.Redirect("/levels/" + id + "?done=adopted")
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.showWorkshop(x, status, q, adoptStep, f)
}

func (s levelPages) adopted(x *kit.Exchange, f kit.Form, q asked) (id string, err error) {
	e, err := x.Entry(f)
	if err != nil {
		return "", err
	}
	t, ok, err := q.target()
	if err == nil && !ok {
		err = mistyped("Choose first what the level is for.")
	}
	if err != nil {
		return "", err
	}
	study, err := s.study(q, t)
	if err != nil {
		return "", err
	}
	costs, err := q.costs()
	if err != nil {
		return "", err
	}
	cultures, err := q.cultures()
	if err != nil {
		return "", err
	}
	from := s.Now()
	if text := strings.TrimSpace(f.Typed["at"]); text != "" {
		if from, err = s.Instant(text); err != nil {
			return "", err
		}
	}
	edition, note := strings.TrimSpace(f.Typed["edition"]), lineFeeds(strings.TrimSpace(f.Typed["note"]))
	switch {
	case edition == "":
		return "", mistyped("Give the edition a name, such as 2026-2.")
	case note == "":
		return "", mistyped("Say why this level.")
	}
	if err := signedByTwo(x, f, &e); err != nil {
		return "", err
	}
	if s.adoptedBefore(x, e, edition) {
		return string(e.ID), nil
	}
	var l reading.Level
	var g desk.Grounds
	// Computed before and not while others wait to write: what is recorded meanwhile is not part of it.
	err = s.View(x.R.Context(), func(v desk.View) error {
		d, err := v.Studies().Study(study)
		if err != nil {
			return err
		}
		if l, ok, err = q.level(d.Derivation); err == nil && !ok {
			err = mistyped("Choose a candidate first, or type a level.")
		}
		if err != nil {
			return err
		}
		if l.Alert.String() != f.Typed["seen-alert"] || l.Action.String() != f.Typed["seen-action"] {
			return &kit.PageError{
				Status:  http.StatusConflict,
				Message: "Readings have come or gone since you looked: " + levelSaid(l) + " is what they give now.",
				Hint:    "Nothing was stored. Look at it and sign again if you still want it.",
			}
		}
		g, err = v.Studies().GroundsOf(d, l, study, costs, cultures)
		return err
	})
	if err != nil {
		return "", err
	}
	if q.get("method") != typedLevel {
		g.Method = level.Method(q.get("method"))
	}
	g.Note = note
	l.Source, l.Edition, l.Adopter, l.Adopted = cmp.Or(strings.TrimSpace(f.Typed["source"]), ownSource), edition, e.By, from
	err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		r, err := w.OnSignals().AdoptDerived(e, l, g)
		id = string(r.Record.ID)
		return err
	})
	return id, err
}

// adoptedBefore says whether the form was sent before and its level is on record: nothing is computed and
// compared again then.
func (s levelPages) adoptedBefore(x *kit.Exchange, e desk.Entry, edition string) (stored bool) {
	err := s.View(x.R.Context(), func(v desk.View) error {
		l, _, err := v.Studies().LevelOf(string(e.ID))
		stored = err == nil && l.Record == e.ID && l.Edition == edition && l.Adopter == e.By
		return err
	})
	return err == nil && stored
}
