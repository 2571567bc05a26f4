package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/web/kit"
)

// formPage is the form of something that is registered, empty, filled, or as it was sent.
type formPage struct {
	kit.Form
	Title, Action string
	// Back is where whoever does not want to change anything goes.
	Back, BackText string
	// Base is the edition that the form was made from; empty for something new.
	Base   string
	Groups []kit.Group
	// Changing asks why, Prove for the password of whoever signs.
	Changing, Prove bool
	// Second says when somebody else has to sign too, empty where nobody has to.
	Second string
	Button string
	// Look is where the form is looked at before it is sent; empty where there is nothing to see.
	Look     string
	Looked   bool
	Drawing  *kit.Picture
	Points   []samplingPointLine
	Warnings []string
	Conflict *conflict

	sheet *kit.Sheet
	wrong map[string]string
	since unit.Instant
}

// formOfRegistry returns the form for something new, or for changing what has a key.
func (s setUpPages) formOfRegistry(r registry, key string) *formPage {
	p := &formPage{Title: "Register a " + r.one, Action: s.URL("/set-up/" + r.path), Button: "Register the " + r.one}
	p.Back, p.BackText = p.Action, "All "+r.many
	if key != "" {
		p.Action, p.Changing, p.Button = r.href(s.Shell, key), true, "Store the change"
		p.Back, p.BackText = p.Action, "Back to "+key
	}
	return p
}

// fill reads what was sent into the form, or fills it from the edition that stands when nothing was sent.
// It returns what is changed, nil for something new.
func (p *formPage) fill(x *kit.Exchange, v desk.View, r registry, key string, values url.Values) (old any, err error) {
	zone := v.Zone()
	typed := map[string]string{}
	if key != "" {
		all, err := r.editions(v, key)
		if err != nil {
			return nil, err
		}
		if x.R.Method == http.MethodPost && values.Get("base") == "" {
			return nil, &kit.PageError{
				Status:  http.StatusBadRequest,
				Message: "The form does not say from which edition it was made.",
				Hint:    "Open the page anew and send it again.",
			}
		}
		e, err := edition(all, values.Get("base"))
		if err != nil {
			return nil, err
		}
		if old, err = r.body(e); err != nil {
			return nil, err
		}
		p.Title, p.BackText = "Change "+r.called(old), "Back to "+r.called(old)
		p.Base, typed = e.ID, r.values(old, zone)
	} else if r.blank != nil {
		typed = r.blank(x.Shell.Now(), zone)
	}
	p.sheet = &kit.Sheet{Typed: typed}
	if err := r.fields(p.sheet, v, old); err != nil {
		return nil, err
	}
	p.Form = *x.Form(kit.Sent{}, "new")
	if x.R.Method == http.MethodPost || values.Has("look") {
		p.Form = kit.FormOf(values, append(p.sheet.Names(), "reason", "second")...)
	} else {
		p.Typed = typed
	}
	return old, nil
}

// called is what a thing is called within a sentence.
func (r registry) called(body any) string {
	title := r.title(body)
	if word := capital(r.one); strings.HasPrefix(title, word+" ") {
		return r.one + strings.TrimPrefix(title, word)
	}
	return title
}

// complete refuses a form in which something cannot be read, and a change without a reason.
func (p *formPage) complete(key string) error {
	switch {
	case len(p.wrong) > 0:
		return &kit.PageError{Status: http.StatusBadRequest, Message: "Something cannot be read.", Hint: "Look at the marked fields; nothing was stored."}
	case key != "" && strings.TrimSpace(p.Typed["reason"]) == "":
		return &kit.PageError{Status: http.StatusBadRequest, Message: "Say why it is changed."}
	}
	return nil
}

// newThing shows the form for something new.
func (s setUpPages) newThing(x *kit.Exchange, r registry) error { return s.showForm(x, r, "") }

// editThing shows the form for changing something.
func (s setUpPages) editThing(x *kit.Exchange, r registry) error {
	return s.showForm(x, r, x.R.PathValue(r.wild))
}

// showForm shows a form, with what it would store when that was asked for.
func (s setUpPages) showForm(x *kit.Exchange, r registry, key string) error {
	p := s.formOfRegistry(r, key)
	err := s.View(x.R.Context(), func(v desk.View) error {
		old, err := p.fill(x, v, r, key, x.R.URL.Query())
		if err != nil {
			return err
		}
		if !x.R.URL.Query().Has("look") || r.preview == nil {
			return s.dress(x, v, r, p, key)
		}
		a := kit.Reply{Typed: p.Typed, Zone: v.Zone()}
		body := r.read(&a, old, x.Who.Code, s.Now())
		if p.wrong, p.Looked = a.Wrong, true; len(p.wrong) > 0 {
			p.Problem = "Something cannot be read. Look at the marked fields."
		} else if err := r.preview(x, v, p, body); err != nil {
			return err
		}
		return s.dress(x, v, r, p, key)
	})
	if err != nil {
		return err
	}
	status := http.StatusOK
	if p.Problem != "" {
		status = http.StatusBadRequest
	}
	return x.Show(status, "set-up-form", false, p)
}

// dress puts the fields around what is typed by now.
func (s setUpPages) dress(x *kit.Exchange, v desk.View, r registry, p *formPage, key string) error {
	p.sheet = &kit.Sheet{Typed: p.Typed, Wrong: p.wrong}
	var old any
	if key != "" {
		all, err := r.editions(v, key)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(all, func(e desk.Edition) bool { return e.ID == p.Base })
		if i < 0 {
			return kit.NotHere("There is no such edition.")
		}
		if old, err = r.body(all[i]); err != nil {
			return err
		}
	}
	if err := r.fields(p.sheet, v, old); err != nil {
		return err
	}
	p.Groups = p.sheet.Groups
	if r.preview != nil {
		p.Look = p.Action + "/edit"
		if key == "" {
			p.Look = s.URL("/set-up/register/" + r.word)
		}
	}
	p.Prove, p.Second = r.act.Signed && x.Unsigned(), r.second
	return nil
}

// again shows a form that was refused: with what is wrong, or with what somebody else has stored meanwhile.
func (s setUpPages) again(x *kit.Exchange, r registry, p *formPage, key string, refusal error) error {
	status, words, ok := kit.Refused(x, refusal)
	if !ok {
		return refusal
	}
	p.Problem = words
	changed, raced := changedMeanwhile(refusal)
	err := s.View(x.R.Context(), func(v desk.View) error {
		if raced {
			p.Problem = "Somebody else has changed it meanwhile; nothing was stored. Look at what is new, then send the form again."
			if err := s.meanwhile(v, r, p, changed); err != nil {
				return err
			}
		}
		return s.dress(x, v, r, p, key)
	})
	if err != nil {
		return err
	}
	return x.Show(status, "set-up-form", false, p)
}

// changedMeanwhile returns what somebody else stored, when that is why something was refused.
func changedMeanwhile(err error) (*desk.ChangedError, bool) {
	return errors.AsType[*desk.ChangedError](err)
}
