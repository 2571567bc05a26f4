package web

import (
	"cmp"
	"fmt"
	"net/http"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
)

// adoptView puts the level in force.
type adoptView struct {
	// Form is nil for whoever may not adopt.
	Form *form
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
var adoptFields = []string{"edition", "source", "note", "at", "seen-alert", "seen-action"}

func (s *Server) fillAdopt(x *exchange, page *workshopPage, d desk.Studied, l reading.Level, sent form) error {
	zone := s.desk.DB.Zone()
	a := &adoptView{Period: fmt.Sprintf("%s to %s", dated(d.From, zone), dated(d.To-1, zone)), Readings: d.Baseline.Counted, Source: ownSource, Warnings: sentences(d.Warnings), Alert: l.Alert.String(), Action: l.Action.String()}
	page.Adopt = a
	cultures, err := page.q.cultures()
	if err != nil {
		return err
	}
	a.Cultures = len(cultures)
	if x.can(desk.ToAdoptDerived) {
		a.Form, a.Prove = &sent, x.unsigned()
		if sent.ID == "" {
			a.Form = x.form(sentNone, "adopt")
		}
	}
	t := d.Plan.Target
	return s.view(x.r.Context(), func(v desk.View) error {
		all, err := v.Levels()
		if now, ok := reading.Find(all, reading.ATP, reading.Circumstances{System: t.System, Kit: t.Kit, Point: t.Point, Kind: t.Kind, At: v.Now()}); ok {
			a.Now = levelSaid(now) + ": " + now.Name()
		}
		return err
	})
}

// sentNone stands for no form that was sent.
var sentNone sent

// adopt puts the level in force that the form asks for. The derivation, the replay and the judgement by
// cultures are computed anew and become part of the record, as the command line does.
func (s *Server) adopt(x *exchange) error {
	f, q := x.read(adoptFields...), askedOf(x.r.PostForm)
	id, err := s.adopted(x, f, q)
	if err == nil {
		return x.redirect("/levels/" + id + "?done=adopted")
	}
	status, words, ok := refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.showWorkshop(x, status, q, adoptStep, f)
}

func (s *Server) adopted(x *exchange, f form, q asked) (id string, err error) {
	e, err := x.entry(f)
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
	from := s.now()
	if text := strings.TrimSpace(f.Typed["at"]); text != "" {
		if from, err = s.instant(text); err != nil {
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
	if err := x.sign(x.r.PostFormValue("secret")); err != nil {
		return "", err
	}
	if s.adoptedBefore(x, e, edition) {
		return string(e.ID), nil
	}
	var l reading.Level
	var g desk.Grounds
	// Computed before and not while others wait to write: what is recorded meanwhile is not part of it.
	err = s.view(x.r.Context(), func(v desk.View) error {
		d, err := v.Study(study)
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
			return &pageError{status: http.StatusConflict, message: "Readings have come or gone since you looked: " + levelSaid(l) + " is what they give now.", hint: "Nothing was stored. Look at it and sign again if you still want it."}
		}
		g, err = v.GroundsOf(d, l, study, costs, cultures)
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
	err = x.acting().Do(x.r.Context(), func(w *desk.Work) error {
		r, err := w.AdoptDerived(e, l, g)
		id = string(r.Record.ID)
		return err
	})
	return id, err
}

// adoptedBefore says whether the form was sent before and its level is on record: nothing is computed and
// compared again then.
func (s *Server) adoptedBefore(x *exchange, e desk.Entry, edition string) (stored bool) {
	err := s.view(x.r.Context(), func(v desk.View) error {
		l, _, err := v.LevelOf(string(e.ID))
		stored = err == nil && l.Record == e.ID && l.Edition == edition && l.Adopter == e.By
		return err
	})
	return err == nil && stored
}
